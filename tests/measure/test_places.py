"""Thin walls, pins, gaps and slots as places: one a place, told apart, the same however the part is written."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from parts import bodies
from parts.planted_bodies import block, cylinder, mesh_of

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.place import Place


def thin(mesh: bodies.Mesh, limit: float = 0.8, *, shared: bool = False) -> list[Place]:
    return BodyMeasurements(bodies.body(mesh, shared=shared)).thin_places(limit)


def narrow(mesh: bodies.Mesh, limit: float = 0.5) -> list[Place]:
    return BodyMeasurements(bodies.body(mesh)).narrow_places(limit)


def told(places: list[Place], limit: float) -> list[Place]:
    """What a rule tells: not the tips of other things."""
    return [x for x in places if not x.slight(limit)]


@pytest.mark.parametrize("seed", range(4))
def test_wall_of_exactly_the_limit_passes(seed: int) -> None:
    mesh = bodies.moved(bodies.turned(bodies.plate(0.8), seed), (100.0, -70.0, 33.0))
    assert thin(mesh, 0.8) == []
    assert len(thin(mesh, 0.81)) == 1


def test_twelve_triangles_make_one_wall_with_both_its_sides() -> None:
    (wall,) = thin(bodies.plate(0.7, (60.0, 40.0)))
    assert wall.width_mm == pytest.approx(0.7, rel=1e-4)
    assert not wall.round
    assert len(wall.faces) == 4
    assert np.linalg.norm(wall.span[1] - wall.span[0]) == pytest.approx(0.7, rel=1e-4)
    assert wall.area_mm2 == pytest.approx(60 * 40, rel=0.05)
    assert (wall.length_mm, wall.breadth_mm) == (pytest.approx(60, abs=1.5), pytest.approx(40, abs=1.5))
    # An even wall is shown in its middle.
    assert np.linalg.norm((wall.span[0] + wall.span[1])[:2] / 2) < 3


def test_taper_is_told_at_its_thin_end() -> None:
    (wall,) = thin(bodies.taper(0.6, 1.2))
    assert wall.width_mm == pytest.approx(0.6, rel=0.01)
    assert wall.span[0][0] < 0.6


@pytest.mark.parametrize("angle_deg", [3, 10, 25, 45])
def test_wedge_is_an_edge_and_no_wall(angle_deg: float) -> None:
    assert thin(bodies.wedge(angle_deg, cells=8)) == []


def test_blunt_wedge_is_a_wall() -> None:
    (wall,) = told(thin(bodies.taper(0.3, 3.0, length=20.0)), 0.8)
    assert wall.width_mm == pytest.approx(0.3, rel=0.1)


def test_cube_and_ball_have_no_thin_place() -> None:
    assert thin(bodies.box((10, 10, 10), (3, 3, 3))) == []
    assert thin(bodies.sphere(5.0, 3)) == []


def test_open_mesh_has_no_wall() -> None:
    assert thin(bodies.patch(np.stack(np.meshgrid([0.0, 9], [0.0, 9], [0.0], indexing="ij"), axis=-1)[:, :, 0])) == []


def test_edge_of_a_chamfered_plate_is_no_thin_wall() -> None:
    outline = CrossSection([[[0, 0], [20, 0], [20, 0.8], [19.5, 1.3], [0.5, 1.3], [0, 0.8]]])
    assert thin(mesh_of(Manifold.extrude(outline, 30))) == []


def test_edge_of_a_rounded_plate_is_no_thin_wall() -> None:
    outline = CrossSection.square([19, 0.01], True).offset(0.5, _round(), 2.0, 32)
    assert thin(mesh_of(Manifold.extrude(outline, 30))) == []


def _round() -> object:
    from manifold3d import JoinType

    return JoinType.Round


@pytest.mark.parametrize("wide", [0.3, 1.0, 4.0])
def test_groove_under_one_large_facet_is_found(wide: float) -> None:
    part = block(60, 60, 3) - block(70, wide, 2.5).translate([0, 7, -1e-9])
    (wall,) = thin(mesh_of(part))
    assert wall.width_mm == pytest.approx(0.5, rel=1e-3)
    assert wall.length_mm == pytest.approx(60, abs=2)


def test_line_at_the_bottom_of_a_sharp_groove_is_found() -> None:
    notch = Manifold.extrude(CrossSection([[[0.0, 0.5], [4.0, 4.5], [-4.0, 4.5]]]), 80)
    part = block(30, 60, 3) - notch.rotate([90, 0, 0]).translate([0, 40, 0])
    (wall,) = thin(mesh_of(part))
    assert wall.width_mm == pytest.approx(0.5, rel=0.01)
    assert wall.length_mm == pytest.approx(60, abs=2)


def test_ribs_close_together_are_told_one_by_one() -> None:
    part = block(40, 20, 3)
    for i in range(5):
        part += block(0.6, 18, 8).translate([-6 + 2.0 * i, 0, 2])
    assert [x.width_mm for x in thin(mesh_of(part))] == pytest.approx([0.6] * 5, rel=1e-3)


@pytest.mark.parametrize("segments", [12, 16, 32, 96])
@pytest.mark.parametrize("splits", [0, 1])
def test_rod_is_a_pin_of_its_diameter(segments: int, splits: int) -> None:
    mesh = bodies.rod(0.8, 6.0, segments, rows=1)
    for _ in range(splits):
        mesh = bodies.split(mesh)
    (pin,) = thin(mesh, 1.0)
    assert pin.slender
    assert pin.width_mm == pytest.approx(0.8, rel=5e-3)
    assert pin.length_mm == pytest.approx(6.0, abs=1.2)
    assert abs(pin.axis[2]) > 0.99


def test_octagonal_bar_is_a_pin_no_thicker_than_its_corners_and_about_as_thick_as_its_flats() -> None:
    for mesh in (bodies.rod(0.8, 6.0, 8, rows=1), bodies.split(bodies.rod(0.8, 6.0, 8, rows=1))):
        (pin,) = thin(mesh, 1.0)
        assert pin.slender
        assert 0.8 * np.cos(np.pi / 8) * 0.98 < pin.width_mm < 0.8 * 1.005


@pytest.mark.parametrize("sides", [(0.7, 0.7), (0.7, 1.1)])
def test_square_post_is_a_pin(sides: tuple[float, float]) -> None:
    (pin,) = thin(bodies.box((*sides, 6.0)), 1.0)
    assert pin.slender
    assert pin.width_mm == pytest.approx(0.7, rel=1e-3)


@pytest.mark.parametrize("splits", [0, 1, 2])
@pytest.mark.parametrize("wide", [0.4, 0.9])
def test_bump_longer_than_one_and_a_half_times_its_width_is_a_pin(wide: float, splits: int) -> None:
    for times_as_long, slender in ((1.4, False), (1.6, True), (2.2, True)):
        for bump in (cylinder(wide, 3 + times_as_long * wide, 32), block(wide, wide, 3 + times_as_long * wide)):
            mesh = mesh_of(block(10, 10, 3) + bump)
            for _ in range(splits):
                mesh = bodies.split(mesh)
            assert any(x.slender for x in told(thin(mesh, 1.0), 1.0)) is slender, times_as_long


@pytest.mark.parametrize(("narrow_side", "count"), [(0.9, 1), (1.1, 0)])
def test_oval_pin_and_hole_are_as_wide_as_the_circle_within(narrow_side: float, count: int) -> None:
    oval = cylinder(1.0, 11, 64).scale([narrow_side, 1.5 * narrow_side, 1.0])
    pins = thin(mesh_of(block(10, 10, 3) + oval), 1.0)
    holes = narrow(mesh_of(block(10, 10, 3) - oval.translate([0, 0, -1])), 1.0)
    for found in (pins, holes):
        assert [x.width_mm for x in told(found, 1.0) if x.slender] == pytest.approx([narrow_side] * count, rel=0.01)


def test_corners_of_a_thin_plate_are_no_pins() -> None:
    assert [x.round for x in thin(bodies.plate(0.7, (9.0, 9.0)))] == [False]
    gusset = Manifold.extrude(CrossSection([[[0, 0], [12, 0], [0, 12]]]), 0.7)
    found = told(thin(mesh_of(gusset)), 0.8)
    assert not any(x.slender for x in found)
    assert [x.width_mm for x in found if not x.round] == pytest.approx([0.7], rel=1e-3)


@pytest.mark.parametrize("wide", [0.5, 0.7])
@pytest.mark.parametrize("length", [3.0, 12.0])
def test_bar_up_to_as_high_as_wide_is_a_stroke_and_a_higher_one_a_rib(wide: float, length: float) -> None:
    for times_as_high, low in ((1.05, True), (1.15, False), (1.6, False), (6.0, False)):
        mesh = mesh_of(block(20, 20, 3) + block(length, wide, 3 + times_as_high * wide))
        assert [x.low for x in told(thin(mesh), 0.8)] == [low], times_as_high


def test_ring_higher_than_wide_is_a_rib_and_a_groove_deeper_than_wide_is_a_slot() -> None:
    for high, low in ((0.63, True), (0.69, False)):
        ring = (cylinder(10.6, 3 + high) - cylinder(9.4, 9)).trim_by_plane([0, 0, 1], 1)
        assert [x.low for x in told(thin(mesh_of(block(20, 20, 3) + ring)), 0.8)] == [low]
    for deep, low in ((0.42, True), (0.46, False)):
        groove = block(8, 0.4, 3).translate([0, 0, 3 - deep])
        assert [x.low for x in told(narrow(mesh_of(block(20, 20, 3) - groove)), 0.5)] == [low]


def test_bodies_that_touch_are_no_wall_of_each_other() -> None:
    pin, sleeve = bodies.rod(6.0, segments=48), bodies.tube(9.0, 3.0, 20.0, segments=48)
    assert thin(bodies.join(pin, sleeve)) == []


@pytest.mark.parametrize(("apart", "told_of"), [(1e-5, 0), (0.1, 1)])
def test_open_surface_folded_onto_itself_makes_no_gap(apart: float, told_of: int) -> None:
    rows = [[0.0, apart], [5.0, apart], [5.0, 0.0], [0.0, 0.0]]
    sheet = bodies.patch(np.array([[[x, y, z] for x, z in rows] for y in (0.0, 2.0, 4.0)]))
    found = BodyMeasurements(bodies.body(sheet)).narrow_places(0.5)
    assert (len(found), found.crossed) == (told_of, 1 - told_of)


def test_gap_between_two_boxes_is_between_bodies() -> None:
    (gap,) = narrow(bodies.two_boxes(0.4))
    assert gap.between_bodies
    assert gap.width_mm == pytest.approx(0.4, rel=1e-3)
    assert gap.area_mm2 == pytest.approx(400, rel=0.05)


def test_slot_and_pinch_are_told_apart() -> None:
    slot = block(20, 12, 4) - block(8, 0.4, 9).translate([0, 0, -1])
    (found,) = told(narrow(mesh_of(slot)), 0.5)
    assert found.straight
    posts = block(20, 12, 4) + cylinder(4, 8).translate([-2.2, 0, 3]) + cylinder(4, 8).translate([2.2, 0, 3])
    (found,) = told(narrow(mesh_of(posts)), 0.5)
    assert not found.straight
    assert found.width_mm == pytest.approx(0.4, rel=0.01)


def test_slot_with_a_ridge_across_it_is_still_straight() -> None:
    ridge = Manifold.extrude(CrossSection([[[0, -0.1], [0.01, 0], [0, 0.1]]]), 9).rotate([0, 0, 90])
    slot = block(8, 0.3, 9).translate([0, 0, 1]) - ridge.translate([3.0, -0.15, 0])
    part = block(14, 14, 8) - slot
    (place,) = narrow(mesh_of(part))
    assert place.straight
    assert place.width_mm == pytest.approx(0.29, rel=0.01)


def test_v_shaped_notch_is_no_gap() -> None:
    notch = Manifold.extrude(CrossSection([[[0.0, 0.5], [1.0, 4.5], [-1.0, 4.5]]]), 80)
    assert narrow(mesh_of(block(30, 60, 3) - notch.rotate([90, 0, 0]).translate([0, 40, 0]))) == []


def test_void_within_a_body_is_in_void() -> None:
    part = block(12, 12, 6) - block(8, 8, 0.3).translate([0, 0, 3])
    (gap,) = narrow(mesh_of(part))
    assert gap.in_void


def ribs_and_pins() -> bodies.Mesh:
    part = block(40, 24, 3) + block(20, 0.6, 10).translate([0, -6, 2]) + cylinder(0.9, 9).translate([12, 5, 2])
    part += block(0.7, 0.8, 7).translate([-12, 5, 2]) + block(12, 0.75, 9).rotate([0, 0, 30]).translate([-6, 5, 2])
    return mesh_of(part)


SHAPES: dict[str, Callable[[], bodies.Mesh]] = {
    "ribs and pins": ribs_and_pins,
    "tube": lambda: bodies.tube(8.0, 0.7, segments=48),
    "hollow ball": lambda: bodies.shell(10.0, 0.7, 3),
    "taper": lambda: bodies.taper(0.6, 1.2, cells=3),
    "two boxes": lambda: bodies.two_boxes(0.4, cells=2),
}


def summary(mesh: bodies.Mesh) -> list[tuple[bool, float]]:
    """What there is, in an order that does not depend on the writing."""
    measured = BodyMeasurements(bodies.body(mesh))
    found = told(measured.thin_places(1.0), 1.0) + told(measured.narrow_places(0.5), 0.5)
    return sorted((x.round, x.width_mm) for x in found)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("change", ["moved", "turned", "shuffled", "split", "split twice", "inch"])
def test_places_are_the_same_however_the_part_lies_and_is_written(name: str, change: str) -> None:
    mesh = SHAPES[name]()
    before = summary(mesh)
    assert before
    changes: dict[str, Callable[[], bodies.Mesh]] = {
        "moved": lambda: bodies.moved(mesh, (130.0, -41.7, 77.3)),
        "turned": lambda: bodies.turned(mesh, 5),
        "shuffled": lambda: bodies.shuffled(mesh, 5),
        "split": lambda: bodies.split(mesh),
        "split twice": lambda: bodies.split(bodies.split(mesh)),
        # Through an inch file and back: rounded to float32 there.
        "inch": lambda: ((mesh[0] / 25.4).astype(np.float32).astype(float) * 25.4, mesh[1]),
    }
    after = summary(changes[change]())
    assert [x[0] for x in after] == [x[0] for x in before]
    assert [x[1] for x in after] == pytest.approx([x[1] for x in before], rel=5e-3)


def test_loosening_a_limit_never_adds_a_place() -> None:
    measured = BodyMeasurements(bodies.body(ribs_and_pins()))
    widths = {limit: [x.width_mm for x in measured.thin_places(limit)] for limit in (0.65, 0.78, 0.85, 1.0)}
    for tight, loose in ((0.65, 0.78), (0.78, 0.85), (0.85, 1.0)):
        assert len(widths[tight]) <= len(widths[loose])
        assert min(widths[tight]) == pytest.approx(min(widths[loose]), rel=1e-3)


@pytest.mark.parametrize("beside", [(0.55, 0.0, 0.0), (0.0, 0.0, 8.1)])
def test_pins_of_two_bodies_are_two_however_near(beside: tuple[float, float, float]) -> None:
    pin = bodies.box((0.5, 0.5, 8.0))
    found = told(thin(bodies.join(pin, bodies.moved(pin, beside)), 1.0), 1.0)
    assert [(x.width_mm, x.slender) for x in found] == [(0.5, True)] * 2
    assert found[0].solids != found[1].solids
