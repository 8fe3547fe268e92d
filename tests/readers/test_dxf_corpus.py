"""Real DXF files of others: entities, units and extents agree with what was observed, and with ezdxf."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from parts import flatfiles as made
from parts.reading import read_file

from lintsvc.model.part import Part

pytestmark = pytest.mark.needs_shared

UNITS = {1: "in", 4: "mm"}
#: Observed with a strict library that refused or mangled them; what is true is said here, from the file's text.
BY_HAND = {
    # ezdxf refuses the missing subclass marker; the five vertices span -10 … 10 (five, the last is the first).
    "dxf/square10x10.dxf": ({"LWPOLYLINE": 1}, (20.0, 20.0)),
    # Recovery cuts numbers at the comma and finds 2 x 2; written are 0,1 to 2,5.
    "dxf/nothing-decimal-comma-separated.dxf": ({"LINE": 4}, (2.5, 2.5)),
}
#: The observed extents include a view's frame, which is no cut line.
LARGER = {"dxf/recover02.dxf"}


@pytest.fixture(scope="module")
def parts(shared: Path) -> dict[str, tuple[Part, dict[str, Any]]]:
    return {
        name: (read_file(shared / "corpus/open" / name), facts) for name, facts in made.facts_of(shared, "dxf").items()
    }


def test_every_file_is_read(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    assert len(parts) == 17


def test_entities_are_those_of_the_index(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    for name, (part, facts) in parts.items():
        kinds: dict[str, int] = {}
        assert part.sheet is not None
        for entity in part.sheet.entities:
            kinds[entity.kind.upper()] = kinds.get(entity.kind.upper(), 0) + 1
        assert kinds == (BY_HAND[name][0] if name in BY_HAND else facts["entities"]), name


def test_units_are_those_of_the_index(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    for name, (part, facts) in parts.items():
        stated = facts.get("INSUNITS")
        assert part.units.stated == (stated in UNITS), name
        if stated in UNITS:
            assert part.units.value == UNITS[stated], name


def test_layers_and_line_types_are_those_of_the_index(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    for name, (part, facts) in parts.items():
        if name in BY_HAND:
            continue
        assert part.sheet is not None
        layers: dict[str, int] = {}
        for entity in part.sheet.entities:
            layers[entity.layer] = layers.get(entity.layer, 0) + 1
        assert layers == facts["layers_used"], name


def test_extents_are_those_of_ezdxf(shared: Path, parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    """The index gives the extents of control points, an upper bound; ezdxf's flattened ones are asked here."""
    from ezdxf import recover
    from ezdxf.bbox import extents

    for name, (part, facts) in parts.items():
        size = [x / part.units.mm_per_unit for x in part.size_mm[:2]]
        if name in BY_HAND:
            assert size == pytest.approx(BY_HAND[name][1]), name
            continue
        assert size[0] <= facts["extents"][0] * 1.00001, name
        assert size[1] <= facts["extents"][1] * 1.00001, name
        path = shared / "corpus/open" / name
        document = __import__("ezdxf").readfile(path) if facts["binary"] else recover.readfile(path)[0]
        if name not in LARGER:
            box = extents(document.modelspace())
            assert size == pytest.approx(list(box.size)[:2], rel=1e-5, abs=2e-3), name


def test_circles_keep_their_radius(shared: Path, parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    import ezdxf

    compared = 0
    for name in ("dxf/1002_tray_bottom.DXF", "dxf/MechParts-v14.01.dxf", "dxf/250_Deck_Panel.dxf"):
        part, _ = parts[name]
        theirs = sorted(
            e.dxf.radius for e in ezdxf.readfile(shared / "corpus/open" / name).modelspace().query("CIRCLE")
        )
        mine = sorted(
            s.radius_mm / part.units.mm_per_unit
            for e in made.drawn(part)
            if e.kind == "circle"
            for s in e.shapes  # type: ignore[union-attr]
        )
        assert mine == pytest.approx(theirs, rel=1e-12)
        compared += len(mine)
    assert compared == 22 + 103 + 1


def test_dashed_lines_of_a_laser_job_are_not_taken_as_bends(parts: dict[str, tuple[Part, dict[str, Any]]]) -> None:
    # They are the hidden edges of a nozzle, seen in the drawing: none runs from edge to edge.
    part, _ = parts["dxf/job-nozzle-14.03.dxf"]
    assert [x.role for x in made.drawn(part) if x.line_type == "DASHED"] == ["unclear"] * 5
