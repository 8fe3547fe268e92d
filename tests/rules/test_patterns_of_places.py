"""Places that are alike, as in a pattern of holes, are one finding with their number, all faces and all spans."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from manifold3d import Manifold, OpType
from parts import bodies
from parts.planted_bodies import block, cylinder, mesh_of

from lintsvc.model.choices import Choices
from lintsvc.model.finding import Finding
from lintsvc.model.part import Part
from lintsvc.model.units import Units
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.packs import load_pack

RULES = load_pack(Path(__file__).resolve().parents[2] / "rules" / "powder-bed").rules
#: What stands or is cut out, the rule that tells it, and its value.
FEATURES: dict[str, tuple[Manifold, Manifold, str, float]] = {
    "hole": (Manifold(), cylinder(0.7, 9).translate([0, 0, -1]), "powder-bed/small-hole", 0.7),
    "deep hole": (Manifold(), cylinder(2.1, 12).translate([0, 0, 1.2]), "powder-bed/deep-hole", 0.0),
    "slot": (Manifold(), block(2.5, 0.4, 9).translate([0, 0, -1]), "powder-bed/narrow-slot", 0.4),
    "pin": (cylinder(0.7, 5).translate([0, 0, 2]), Manifold(), "powder-bed/thin-pin", 0.7),
    "wall": (block(5, 0.6, 5).translate([0, 0, 2]), Manifold(), "powder-bed/thin-wall", 0.6),
}


def plate(name: str, count: int) -> bodies.Mesh:
    """A plate with so many of one feature in a row; a deep hole goes into a thick one."""
    more, less, _, _ = FEATURES[name]
    places = [[7.0 * k - 3.5 * (count - 1), 0.0, 0.0] for k in range(count)]
    part = block(7 * count + 4, 12, 12 if name == "deep hole" else 2.9)
    part = Manifold.batch_boolean([part, *(more.translate(x) for x in places)], OpType.Add)
    return mesh_of(Manifold.batch_boolean([part, *(less.translate(x) for x in places)], OpType.Subtract))


def findings(mesh: bodies.Mesh) -> list[Finding]:
    body = bodies.body(mesh)
    x, y, z = np.ptp(body.vertices, axis=0).tolist()
    part = Part("part.stl", "0" * 64, "STL", "body", Units("mm", True, "a test"), (x, y, z), body)
    return list(check_part(part, Choices(process="powder-bed", material="pa12"), RULES).report.findings)


@pytest.mark.parametrize("name", FEATURES)
def test_pattern_is_one_finding_with_all_places(name: str) -> None:
    _, _, rule, value = FEATURES[name]
    # The thick plate is told besides.
    one, two, five = ([x for x in findings(plate(name, n)) if x.rule != "powder-bed/thick-section"] for n in (1, 2, 5))
    assert [[x.rule for x in found] for found in (one, two, five)] == [[rule], [rule] * 2, [rule]]
    (told,) = five
    assert "5 like" in told.message
    assert "like" not in one[0].message
    assert told.measured is not None and one[0].measured is not None and one[0].where is not None
    assert told.measured.value == pytest.approx(value or one[0].measured.value, rel=0.01)
    assert told.where is not None and len(told.where.lines) == 4
    assert len(told.where.faces) == 5 * len(one[0].where.faces)


def test_other_sizes_and_other_bodies_are_told_apart() -> None:
    sizes = [0.5, 0.5, 0.5, 0.6, 0.6, 0.6]
    holes = [cylinder(d, 9).translate([5.0 * k - 12, 0, -1]) for k, d in enumerate(sizes)]
    part = Manifold.batch_boolean([block(34, 10, 2.9), *holes], OpType.Subtract)
    assert [x.message[:6] for x in findings(mesh_of(part))] == ["3 like"] * 2
    apart = bodies.join(plate("hole", 2), mesh_of(block(20, 20, 3).translate([0, 30, 0])), plate("hole", 2))
    apart[0][-len(plate("hole", 2)[0]) :, 1] -= 30
    assert [x.rule for x in findings(apart)] == ["powder-bed/small-hole"] * 4


def test_walls_of_one_thickness_that_reach_about_as_far_are_one_cause() -> None:
    walls = [block(5 + 0.5 * k, 0.6, 5).translate([9.0 * k - 18, 0, 2]) for k in range(5)]
    far = block(20, 0.6, 5).translate([0, 10, 2])
    (first, other) = findings(mesh_of(Manifold.batch_boolean([block(60, 30, 2.9), *walls, far], OpType.Add)))
    assert {"5 like" in x.message for x in (first, other)} == {True, False}
