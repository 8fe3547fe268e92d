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

PACK = 'name = "{name}"\ntitle = "Shop"\nsummary = "Our own."\n'
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
    """A folder of packs: two that are well, one that takes its process down, and one that is no pack."""
    made = tmp_path / "packs"
    write(made / "shop", 3)
    write(made / "second", 3)
    write(made / "broken", 3)
    (made / "broken" / "hole_too_small.toml").write_text("this is no TOML")
    write(made / "hostile", 3)
    # Native code that ends the process, or never comes back, looks the same from outside.
    (made / "hostile" / "hostile.py").write_text("import os\nos._exit(3)")
    return made


def write(pack: Path, limit: float, words: str = "hole.diameter") -> None:
    """Write a pack with one rule, of the pack's name."""
    pack.mkdir(parents=True, exist_ok=True)
    (pack / "pack.toml").write_text(PACK.format(name=pack.name))
    (pack / "hole_too_small.toml").write_text(RULE.format(limit=limit).replace("hole.diameter", words))


@pytest.fixture
def served(folder: Path, tmp_path: Path) -> Iterator[Running]:
    running = Running(tmp_path / "state", {"LINTSVC_RULES": str(folder), "LINTSVC_REQUESTS_A_MINUTE": "0"})
    yield running
    if running.process is not None:
        assert running.stop() == 0, running.words()
        assert running.children() == []


def catalogue(running: Running) -> Any:
    return running.get("/api/v1/rules").json


def waited(running: Running, wanted: Any, seconds: float = 240.0) -> Any:
    """The catalogue, once it is as wanted."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        if wanted(found := catalogue(running)):
            return found
        time.sleep(0.5)
    raise AssertionError(f"the catalogue does not change:\n{running.words()}")


def checked(running: Running) -> Any:
    """What is said of a plate with a hole of 4 mm."""
    return running.check("plate.dxf", plate_dxf(hole=4.0), material="steel-mild", thickness="2mm")["report"]["parts"][0]


def limits_found(part: Any) -> list[float]:
    """The limits of the shop's rule that the part breaks."""
    return [x["limit"]["value"] for x in part["findings"] if x["rule"] == "shop/hole-too-small"]


def test_changed_rules_are_used_without_a_restart_and_a_broken_pack_is_left_out_and_told(
    served: Running, folder: Path
) -> None:
    served.start()
    served.wait_ready()
    first = catalogue(served)
    assert "sheet/hole-too-small" in {x["id"] for x in first["rules"]}
    # A folder with a pack that takes the process down can only be left out whole.
    assert first["left_out"]
    assert "shop/hole-too-small" not in {x["id"] for x in first["rules"]}
    assert limits_found(checked(served)) == []

    # One that only raises is left out alone, as is the one that is no pack. (What is waited for is written last: on a
    # busy machine the service may look in between.)
    write(folder / "shop", 5)
    (folder / "hostile" / "hostile.py").write_text("raise ValueError('not today')")
    changed = waited(served, lambda x: x["version"] != first["version"])
    assert {"shop/hole-too-small", "second/hole-too-small", "sheet/hole-too-small"} <= {
        x["id"] for x in changed["rules"]
    }
    assert {x["name"] for x in changed["left_out"]} == {"hostile", "broken"}
    assert limits_found(checked(served)) == [5.0]

    # Packs go, come and are mended, and in one a mistake is made: the service goes on, says so, and says in every
    # report what was not checked.
    shutil.rmtree(folder / "hostile")
    write(folder / "broken", 3)
    write(folder / "shop", 6)
    write(folder / "second", 3, words="hole.diamter")
    (folder / "more").mkdir()
    (folder / "more" / "pack.toml").write_text(PACK.format(name="more") + '[levels]\n"shop/*" = "note"\n')
    last = waited(served, lambda x: x["version"] != changed["version"] and "more" in {y["name"] for y in x["packs"]})
    rules = {x["id"] for x in last["rules"]}
    assert {"shop/hole-too-small", "broken/hole-too-small"} <= rules
    assert "second/hole-too-small" not in rules
    (left_out,) = last["left_out"]
    assert left_out["name"] == "second"
    assert "hole_too_small.toml, line 2" in left_out["why"] and "hole.diameter" in left_out["why"]
    assert str(folder) not in left_out["why"]
    part = checked(served)
    assert limits_found(part) == [6.0]
    told = [x for x in part["not_checked"] if x["rule"] == "second/*"]
    assert len(told) == 1 and "could not load this pack" in told[0]["why"]
