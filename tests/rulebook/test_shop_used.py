"""What parts that arrived have shown is used by the next check of a single file, and named with how much it is."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts.fixture_folders import rectangle

from lintsvc.model.choices import Choices, ThreadChoice
from lintsvc.model.report import PartReport
from lintsvc.project.config import parse_config
from lintsvc.rulebook.adjust import Adjustments, changes_from_dict, changes_to_dict
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.shop import parse_shop

SMALL = """
[[measured]]
what = "hole"
process = "sheet"
offset = -0.15
spread = 0.02
sizes = 24
parts = 6

[[measured]]
what = "bend"
process = "sheet"
offset = -0.5
sizes = 12
parts = 6
"""
THREADS = Choices(process="sheet", material="steel-mild", thickness_mm=3.0, threads=(ThreadChoice("M4", (20.0, 20.0)),))


def check(folder: Path, diameter: float, changes: Adjustments) -> PartReport:
    """A plate with one hole to be tapped M4, against the rule of pilot holes."""
    path = folder / "plate.dxf"
    path.write_text(rectangle(60, 40).hole(20, 20, diameter).text())
    rules = [x for pack in load_packs(installed=False) for x in pack.rules if x.id == "thread/pilot-hole-wrong"]
    return check_file(path, THREADS, rules, adjustments=changes).report


def test_a_pilot_hole_is_judged_as_it_comes_out(tmp_path: Path) -> None:
    assert check(tmp_path, 3.3, Adjustments()).findings == ()
    changes = parse_shop(SMALL).adjustments()
    report = check(tmp_path, 3.3, changes)
    (found,) = report.findings
    assert "is drawn 3.3 mm across, and comes out 3.15 mm; the tap drill is 3.3 mm" in found.message
    assert found.remedy.startswith(
        "Draw 3.45 mm across. The shop's own, shop.toml, line 2: 24 holes measured on 6 parts"
    )
    # What makes up for it is right, and is wrong without the shop's word.
    assert check(tmp_path, 3.45, changes).findings == ()
    assert check(tmp_path, 3.45, Adjustments()).findings != ()
    said = {x.what: (x.value, x.why) for x in report.assumed}
    assert said["holes"][0] == "-0.15 mm"
    assert said["bends"][0] == "-0.5°"
    assert "12 bends measured on 6 parts came out 0.5° open" in said["bends"][1]


def test_the_shop_s_file_is_named_in_lintsvc_toml_and_travels_to_a_service(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text(SMALL)
    config = parse_config('shop = "shop.toml"', tmp_path / "lintsvc.toml")
    assert [x.what for x in config.adjustments.measured] == ["hole", "bend"]
    assert changes_from_dict(changes_to_dict(config.adjustments)) == config.adjustments


@pytest.mark.parametrize(
    ("suppliers", "asked", "taken"),
    [(("laser",), None, 1), (("laser", "other"), None, 0), (("laser", "other"), "other", 1), ((), None, 0)],
)
def test_figures_of_another_supplier_do_not_count(suppliers: tuple[str, ...], asked: str | None, taken: int) -> None:
    text = "".join(f'[[measured]]\nwhat = "hole"\nsupplier = "{x}"\noffset = -0.1\n' for x in suppliers)
    assert len(parse_shop(text).adjustments(asked).measured) == taken
