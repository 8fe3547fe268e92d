"""Rule folders of a running service: changed files are picked up, and a broken pack costs nobody but itself."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from parts.service_parts import plate_dxf
from service.running import Running

PACK = 'name = "shop"\ntitle = "Shop"\nsummary = "Our own."\n'
RULE = """\
title = "Hole smaller than our punch."
faulty_when = "hole.diameter < {limit} mm"
message = "A hole is {{measured}} across; we punch from {{limit}} up."
remedy = "Open it to {{limit}}."
ignore_when = "it is drilled"
source = "our punch table"
level = "warning"
since = "1"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder of packs: one that is well, and two that cannot be loaded."""
    made = tmp_path / "packs"
    write(made / "shop", 3)
    for name, file, text in (
        ("raises", "raises.py", "raise ValueError('not today')"),
        ("broken", "broken.toml", "this is no TOML"),
    ):
        (made / name).mkdir()
        (made / name / "pack.toml").write_text(PACK.replace('"shop"', f'"{name}"'))
        (made / name / file).write_text(text)
    return made


def write(pack: Path, limit: float) -> None:
    pack.mkdir(parents=True, exist_ok=True)
    (pack / "pack.toml").write_text(PACK)
    (pack / "hole_too_small.toml").write_text(RULE.format(limit=limit))


@pytest.fixture
def served(folder: Path, tmp_path: Path) -> Iterator[Running]:
    running = Running(tmp_path / "state", {"LINTSVC_RULES": str(folder), "LINTSVC_REQUESTS_A_MINUTE": "0"})
    yield running
    if running.process is not None:
        assert running.stop() == 0, running.words()
        assert running.children() == []


def catalogue(running: Running) -> Any:
    return running.get("/api/v1/rules").json


def waited(running: Running, wanted: Any, seconds: float = 90.0) -> Any:
    """The catalogue, once it is as wanted."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        if wanted(found := catalogue(running)):
            return found
        time.sleep(0.3)
    raise AssertionError(f"the catalogue does not change:\n{running.words()}")


def limits_found(running: Running) -> list[float]:
    """The limits that the shop's rule finds broken in a plate with a hole of 4 mm."""
    part = running.check("plate.dxf", plate_dxf(hole=4.0), material="steel-mild", thickness="2mm")["report"]["parts"][0]
    return [x["limit"]["value"] for x in part["findings"] if x["rule"] == "shop/hole-too-small"]


def test_changed_rules_are_used_without_a_restart_and_a_broken_pack_is_left_out_and_told(
    served: Running, folder: Path
) -> None:
    served.start()
    served.wait_ready()
    first = catalogue(served)
    assert {"shop/hole-too-small", "sheet/hole-too-small"} <= {x["id"] for x in first["rules"]}
    assert {x["name"] for x in first["left_out"]} == {"raises", "broken"}
    assert limits_found(served) == []
    for name in ("raises", "broken"):
        shutil.rmtree(folder / name)

    write(folder / "shop", 5)
    changed = waited(served, lambda x: x["version"] != first["version"] and not x["left_out"])
    assert limits_found(served) == [5.0]

    # A mistake: the service goes on, says so, and says in every report what was not checked.
    (folder / "shop" / "hole_too_small.toml").write_text(RULE.format(limit=5).replace("diameter", "diamter"))
    broken = waited(served, lambda x: x["version"] != changed["version"])
    assert "shop/hole-too-small" not in {x["id"] for x in broken["rules"]}
    (left_out,) = broken["left_out"]
    assert left_out["name"] == "shop"
    assert "hole_too_small.toml, line 2" in left_out["why"] and "hole.diameter" in left_out["why"]
    assert str(folder) not in left_out["why"]
    report = served.check("plate.dxf", plate_dxf(hole=4.0), material="steel-mild", thickness="2mm")["report"]
    told = [x for x in report["parts"][0]["not_checked"] if x["rule"] == "shop/*"]
    assert len(told) == 1 and "could not load this pack" in told[0]["why"]
    assert report["parts"][0]["checked"]

    # Mended, and a second pack beside it.
    write(folder / "shop", 6)
    (folder / "more").mkdir()
    (folder / "more" / "pack.toml").write_text(PACK.replace('"shop"', '"more"') + '[levels]\n"shop/*" = "note"\n')
    mended = waited(served, lambda x: not x["left_out"] and len(x["packs"]) == len(first["packs"]) + 1)
    assert limits_found(served) == [6.0]
    assert mended["version"] not in (changed["version"], broken["version"])


def test_service_starts_with_a_pack_that_takes_its_process_down(served: Running, folder: Path) -> None:
    # Native code that ends the process, or never comes back, looks the same from outside.
    (folder / "raises" / "raises.py").write_text("import os\nos._exit(3)")
    served.start()
    served.wait_ready()
    found = catalogue(served)
    assert "sheet/hole-too-small" in {x["id"] for x in found["rules"]}
    # Such a folder can only be loaded or left out whole.
    assert found["left_out"]
    assert "shop/hole-too-small" not in {x["id"] for x in found["rules"]}
