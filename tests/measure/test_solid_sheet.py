"""Solids that are bent sheet: recognised, unfolded to the handbook's length, and others refused with the reason."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import bent_solids as made
from parts.no_sheets import NO_SHEETS
from parts.reading import read_file

from lintsvc.handbook.bending import bend_allowance, k_factor
from lintsvc.measure.solid_rest import skins_of
from lintsvc.measure.solid_sheet import SheetFound, as_sheet, sheet_of
from lintsvc.measure.solid_unfold import unfold
from lintsvc.model.sheet import Arc, Circle, Line, Polyline, Shape, Sheet

K = 0.44


def found(shape: Any, k: float | None = K, material: str | None = None) -> SheetFound:
    return sheet_of(tuple(x.wrapped for x in shape.solids()), material, k)


def sheet_from(shape: Any, k: float | None = K, material: str | None = None) -> Sheet:
    result = found(shape, k, material)
    assert result.sheet is not None, result.because
    return result.sheet


def points_of(shape: Shape) -> Iterator[tuple[float, float]]:
    """Points whose box is that of the shape, arcs by steps of a degree."""
    if isinstance(shape, Line):
        yield from (shape.start, shape.end)
    elif isinstance(shape, Polyline):
        yield from shape.points
    else:
        first, last = (0.0, 360.0) if isinstance(shape, Circle) else (shape.start_deg, shape.end_deg)
        steps = max(1, round((last - first) % 360 or 360))
        for i in range(steps + 1):
            angle = math.radians(first + ((last - first) % 360 or 360) * i / steps)
            x, y = shape.centre
            yield x + shape.radius_mm * math.cos(angle), y + shape.radius_mm * math.sin(angle)


def size(sheet: Sheet) -> tuple[float, float]:
    points = [p for e in sheet.entities if e.role == "cut" for s in e.shapes for p in points_of(s)]
    xs, ys = zip(*points, strict=True)
    assert min(xs) == pytest.approx(0, abs=1e-5)
    assert min(ys) == pytest.approx(0, abs=1e-5)
    return max(xs), max(ys)


def holes(sheet: Sheet) -> list[float]:
    return sorted(2 * s.radius_mm for e in sheet.entities for s in e.shapes if isinstance(s, Circle))


def directions(sheet: Sheet) -> list[str]:
    return sorted(str(b.direction) for b in sheet.bends)


@pytest.mark.parametrize("part", made.PARTS, ids=[p.name for p in made.PARTS])
def test_flat_has_the_length_of_straights_and_allowances(part: made.Bent) -> None:
    sheet = sheet_from(part.make())
    assert sheet.thickness_mm == pytest.approx(part.thickness_mm, abs=1e-6)
    assert sorted(size(sheet)) == pytest.approx(sorted(part.flat(K)), abs=1e-4)
    assert sorted(b.angle_deg or 0 for b in sheet.bends) == pytest.approx(sorted(part.angles_deg), abs=1e-3)
    assert [b.radius_mm for b in sheet.bends] == pytest.approx([part.radius_mm] * len(part.angles_deg), abs=1e-6)
    assert holes(sheet) == pytest.approx(sorted(part.holes_mm), abs=1e-4)
    # Seen from the side towards which most bends go; which way they go against each other is the part's own.
    ups = sum(d > 0 for d in part.directions)
    want = max(ups, len(part.directions) - ups)
    assert directions(sheet).count("up") == want


def test_there_are_enough_kinds_of_parts() -> None:
    assert len(made.PARTS) >= 20


@pytest.mark.parametrize("k", [0.33, 0.5])
def test_flat_follows_the_k_factor(k: float) -> None:
    part = next(p for p in made.PARTS if p.name == "hat with a tab")
    assert sorted(size(sheet_from(part.make(), k))) == pytest.approx(sorted(part.flat(k)), abs=1e-4)


def test_bend_lines_run_from_edge_to_edge_in_the_middle_of_their_bend() -> None:
    sheet = sheet_from(next(p for p in made.PARTS if p.name == "channel").make())
    half = made.allowance(90, K) / 2
    width = 120 + 2 * 2 * half
    across = 1 if size(sheet)[1] == pytest.approx(width, abs=1e-4) else 0
    at = sorted(b.start[across] for b in sheet.bends)
    assert at == pytest.approx([30 + half, width - 30 - half], abs=1e-5)
    for bend in sheet.bends:
        assert bend.start[across] == pytest.approx(bend.end[across], abs=1e-6)
        assert math.dist(bend.start, bend.end) == pytest.approx(100, abs=1e-5)
        assert bend.entity is not None
        assert sheet.entities[bend.entity].role == "bend"


@pytest.mark.parametrize("bend", [90, -90])
def test_flat_is_seen_from_the_side_it_folds_towards_and_not_in_a_mirror(bend: int) -> None:
    # The strip lies along x with its width along z and folds towards +y or -y. Seen from there, with x to the
    # right, z points down or up.
    solid = made.strip([40, 30], [bend], 40)
    solid = made.drill(made.drill(solid, (10, 1, 10), (0, 1, 0), 3), (30, 1, 10), (0, 1, 0), 4)
    y = (made.R + made.T + 15) * (1 if bend > 0 else -1)
    solid = made.drill(solid, (40 + made.R + 1, y, 30), (1, 0, 0), 5)
    sheet = sheet_from(solid)
    at = {round(2 * s.radius_mm): s.centre for e in sheet.entities for s in e.shapes if isinstance(s, Circle)}
    (ax, ay), (bx, by), (cx, cy) = (at[d] for d in (3, 4, 5))
    turn = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    assert math.copysign(1, turn) == (-1 if bend > 0 else 1)
    assert [b.direction for b in sheet.bends] == ["up"]
    # Along the strip: from the second hole to the tangent line, the allowance, and on to the third hole; a bend
    # towards -y begins its flange a thickness nearer.
    along = 10 + made.allowance(90, K) + 15 + (0 if bend > 0 else made.T)
    assert math.hypot(cx - bx, cy - by) == pytest.approx(math.hypot(along, 20), abs=1e-3)


def test_interrupted_bend_is_one_line_over_its_windows() -> None:
    for name in ("window in the bend", "two windows in the bend"):
        sheet = sheet_from(next(p for p in made.PARTS if p.name == name).make())
        assert len(sheet.bends) == 1
        assert math.dist(sheet.bends[0].start, sheet.bends[0].end) == pytest.approx(40, abs=1e-5)


def test_radius_of_corners_and_slots_comes_back_as_arcs() -> None:
    from build123d import Align, Axis, Box, Location, SlotCenterToCenter, extrude, fillet

    plate = Box(80, 50, 3, align=(Align.MIN, Align.MIN, Align.MIN))
    plate = fillet(plate.edges().filter_by(Axis.Z), 6)
    plate = plate - extrude(SlotCenterToCenter(12, 5), 3).moved(Location((40, 25, 0)))
    sheet = sheet_from(plate)
    outline, slot = (e.shapes for e in sheet.entities)
    assert sorted(type(s).__name__ for s in outline) == ["Arc"] * 4 + ["Line"] * 4
    assert sorted(type(s).__name__ for s in slot) == ["Arc"] * 2 + ["Line"] * 2
    assert {round(s.radius_mm, 5) for s in (*outline, *slot) if isinstance(s, Arc)} == {6, 2.5}
    assert sheet.bends == ()
    assert size(sheet) == pytest.approx((80, 50), abs=1e-5)


def test_curved_outline_stays_within_the_stated_tolerance() -> None:
    from build123d import Ellipse, extrude

    sheet = sheet_from(extrude(Ellipse(40, 25), 2))
    points = [p for s in sheet.entities[0].shapes for p in points_of(s)]
    for x, y in points:
        assert ((x - 40) / 40) ** 2 + ((y - 25) / 25) ** 2 == pytest.approx(1, abs=2e-3)
    # The area tells how far the chords cut in: an ellipse of 40 and 25 has pi * 40 * 25.
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True)) / 2
    assert abs(area) == pytest.approx(math.pi * 1000, abs=sheet.chord_tolerance_mm * 2 * math.pi * 33)


def test_inch_example_of_the_handbook() -> None:
    # Machinery's Handbook 31, p. 1421, Fig. 13: soft steel 0.125 in thick, bends of 180 degrees at 0.375 in and
    # 60 degrees at 0.625 in inside radius, straight pieces of 3.5 in together; its answer is 5.545 in.
    inch = 25.4
    t = 0.125 * inch
    k = k_factor("steel-mild", t, t).value
    total = 3.5 * inch
    for angle, radius in ((180, 0.375), (60, 0.625)):
        bent = made.strip([20, 25], [angle], 30, t, radius * inch)
        sheet = sheet_from(bent, None, "steel-mild")
        allowance = max(size(sheet)) - 45
        assert allowance == pytest.approx(bend_allowance(angle, radius * inch, t, k), abs=1e-4)
        total += allowance
    # The book takes pi/2 for 1.57 and cuts each length to three places.
    assert total / inch == pytest.approx(5.545, abs=0.0015)


def test_channel_of_the_aviation_handbook() -> None:
    # FAA-H-8083-31A vol. 1 ch. 4: 0.04 in, radius 0.16 in, outside legs 1.00, 2.00, 1.00: flats .80, 1.60, .80.
    # Its formula, (0.01743 R + 0.0078 T) a degree, is K = 0.0078 * 180 / pi = 0.4469; the width is then 3.758 in.
    inch = 25.4
    bent = made.strip([0.8 * inch, 1.6 * inch, 0.8 * inch], [90, 90], 50, 0.04 * inch, 0.16 * inch)
    sheet = sheet_from(bent, 0.0078 * 180 / math.pi)
    assert max(size(sheet)) / inch == pytest.approx(3.758, abs=0.001)


@pytest.mark.parametrize(("name", "make", "why"), NO_SHEETS, ids=[x[0] for x in NO_SHEETS])
def test_other_solids_are_refused_with_the_reason(name: str, make: Any, why: str) -> None:
    result = found(make())
    assert result.sheet is None
    assert any(word in result.because for word in why.split("|")), result.because


def test_several_solids_are_no_sheet() -> None:
    solid = made.strip([40, 30], [90], 40).solids()[0].wrapped
    assert "2 solids" in sheet_of((solid, solid)).because


def test_countersinks_are_named_and_their_through_hole_is_drawn() -> None:
    part = next(p for p in made.PARTS if p.name == "countersunk")
    result = found(part.make())
    assert result.asides == ("A countersink is part of the solid; the flat shows its through hole.",)


@pytest.mark.parametrize("turn", [90, 180])
def test_chamfered_sides_of_a_bend_are_no_countersinks(turn: float) -> None:
    from build123d import chamfer

    # The chamfer around a bend, and around a rounded inside corner, is a piece of a hollow cone.
    solid = made.strip([40, 30], [turn], 40, radius=1.0)
    sides = solid.edges().filter_by(lambda e: abs(abs(e.center().Z - 20) - 20) < 1e-6 and e.length > made.T + 0.5)
    assert found(chamfer(sides, 0.3)).asides == ()


def test_chamfered_rounded_inside_corner_is_no_countersink() -> None:
    from build123d import Axis, Box, Pos, chamfer, fillet

    plate = Box(60, 40, 3) - Pos(20, 10, 0) * Box(30, 30, 9)
    plate = fillet(plate.edges().filter_by(Axis.Z).sort_by_distance((5, -5, 0))[0], 6)
    top = plate.edges().filter_by(lambda e: abs(e.center().Z - 1.5) < 1e-6)
    assert found(chamfer(top, 0.4)).asides == ()


def test_counterbores_are_named_and_their_through_holes_are_drawn() -> None:
    from build123d import Box, Cylinder, Location

    plate = Box(60, 40, 6)
    for x in (-15, 15):
        plate -= Cylinder(2.75, 10).moved(Location((x, 0, 0))) + Cylinder(5, 3).moved(Location((x, 0, 3)))
    result = found(plate)
    assert result.sheet is not None
    assert holes(result.sheet) == pytest.approx([5.5, 5.5])
    assert result.asides == ("2 counterbores are part of the solid; the flat shows their through holes.",)


def test_small_pockets_are_told_since_the_flat_does_not_show_them() -> None:
    # Engraving, say: less of it than would make the part one that is milled.
    from build123d import Box, Location

    plate, sunk = Box(100, 60, 3), Box(5, 4, 1)
    one = plate - sunk.moved(Location((10, 5, 1)))
    assert found(one).asides == ("A pocket of 20 mm² is milled into the solid; the flat does not show it.",)
    two = one - sunk.moved(Location((-10, 5, -1)))
    (told,) = found(two).asides
    assert told == "2 pockets, 40 mm² in all, are milled into the solid; the flat does not show them."


def test_hole_countersunk_from_both_sides_stays_a_circle() -> None:
    from build123d import Box, Cylinder, Plane, Solid

    plate = Box(60, 40, 3) - Cylinder(2.5, 10)
    for z, way in ((1.5, -1), (-1.5, 1)):
        plate -= Solid.make_cone(3.3, 2.5, 0.8, plane=Plane(origin=(0, 0, z), z_dir=(0, 0, way)))
    assert holes(sheet_from(plate)) == pytest.approx([5.0])


#: Square walls all round: no sharp corners, no worked edges, no cones.
SQUARE = [
    p
    for p in made.PARTS
    if p.radius_mm > 0 and p.name.split()[0] not in ("rounded", "chamfered", "countersunk", "sunk")
]


@pytest.mark.parametrize("part", SQUARE, ids=[p.name for p in SQUARE])
def test_with_the_neutral_line_in_the_middle_the_flat_has_the_volume_of_the_solid(part: made.Bent) -> None:
    # At K = 0.5 the allowance is the length of the middle of a bend: flat area times thickness is the volume.
    shape = part.make()
    flat = unfold(skins_of(shape.solids()[0].wrapped), lambda radius, thickness: 0.5)
    assert flat.outline.area * part.thickness_mm == pytest.approx(shape.volume, rel=1e-4)


@settings(max_examples=15, deadline=None)
@given(
    turn=st.tuples(*[st.floats(-180, 180)] * 3),
    move=st.tuples(*[st.floats(-500, 500)] * 3),
    name=st.sampled_from(["angle", "offset", "tray", "countersunk", "sharp offset", "rounded sides"]),
)
def test_place_in_space_changes_nothing(
    turn: tuple[float, float, float], move: tuple[float, float, float], name: str
) -> None:
    from build123d import Location

    part = next(p for p in made.PARTS if p.name == name)
    sheet = sheet_from(part.make().moved(Location(move, turn)))
    assert sorted(size(sheet)) == pytest.approx(sorted(part.flat(K)), abs=2e-4)
    assert holes(sheet) == pytest.approx(sorted(part.holes_mm), abs=1e-4)
    assert directions(sheet).count("up") == max(part.directions.count(1), part.directions.count(-1))


@settings(max_examples=12, deadline=None)
@given(
    straights=st.lists(st.floats(12, 60), min_size=2, max_size=4),
    angles=st.lists(st.floats(10, 95), min_size=3, max_size=3),
    thickness=st.floats(0.5, 4),
    radius=st.floats(0.2, 5),
)
def test_strips_of_any_measure_unfold_to_their_length(
    straights: list[float], angles: list[float], thickness: float, radius: float
) -> None:
    # Bends alternate, so that the strip never runs into itself.
    bends = [a * (-1) ** i for i, a in enumerate(angles[: len(straights) - 1])]
    sheet = sheet_from(made.strip(straights, bends, 30, thickness, radius))
    want = sum(straights) + sum(made.allowance(abs(b), K, radius, thickness) for b in bends)
    assert sorted(size(sheet)) == pytest.approx(sorted((want, 30)), abs=1e-4)


@pytest.mark.parametrize("name", ["offset", "hat"])
def test_copy_in_inches_has_the_same_flat_in_the_same_order(tmp_path: Path, name: str) -> None:
    # Panels of one size: which of them comes first must not hang on the last digit of their areas.
    shape = next(p for p in made.PARTS if p.name == name).make()
    flats = []
    for unit in ("MM", "INCH"):
        sheet = as_sheet(read_file(made.written(shape, tmp_path / "a.step", unit)), None, K).sheet
        assert sheet is not None
        flats.append([(*(round(v, 3) for v in (*b.start, *b.end)), b.direction) for b in sheet.bends])
    assert flats[0] == flats[1]
