"""Things in their places: clearance in closed form, and against another library's distance."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from manifold3d import Manifold
from parts.orders import block, printed, stl, table, write
from scipy.spatial import ConvexHull

from lintsvc.order.checked import CheckedOrder
from lintsvc.order.load import load_here
from lintsvc.order.pocket import Held, hull_planes
from lintsvc.order.solids import Standing, gap

BOX = {"shape": "box", "size": [20, 14, 10]}
ROD = {"shape": "cylinder", "diameter": 12, "height": 16}


def held(tmp_path: Path, case: Manifold, thing: dict[str, object], play: float = 0.2, **more: object) -> CheckedOrder:
    text = printed("case", "case.stl") + table("bought", id="thing", mass=5, **thing)
    text += table("relation", kind="holds", part="case", thing="thing", play=play, **more)
    return load_here(write(tmp_path, text, case_stl=stl(case)))


def the(order: CheckedOrder) -> Held:
    (found,) = order.held
    return found


def box_with_pocket(wide: float, deep: float, turn: float = 0.0) -> Manifold:
    """A pocket of 14 mm below an open top, its middle at 20, 20, z from 4."""
    hollow = Manifold.cube((20 + 2 * wide, 14 + 2 * deep, 20), center=True).rotate((0, 0, turn)).translate((20, 20, 14))
    return block(40, 40, 20) - hollow


@pytest.mark.parametrize(("wide", "deep"), [(0.4, 0.3), (0.25, 0.6), (-0.1, 0.3)])
def test_clearance_is_half_the_spare_width_on_the_tighter_side(tmp_path: Path, wide: float, deep: float) -> None:
    found = the(held(tmp_path, box_with_pocket(wide, deep), BOX, at=[20.2, 19.9, 9.6]))
    assert found.clearance_mm == pytest.approx(min(wide, deep), abs=0.002)


def test_a_turned_pocket_is_found_from_a_straight_guess(tmp_path: Path) -> None:
    found = the(held(tmp_path, box_with_pocket(0.4, 0.3, turn=1.5), BOX, at=[20, 20, 9.6]))
    assert found.clearance_mm == pytest.approx(0.3, abs=0.003)
    assert found.place is not None
    turn = math.degrees(math.atan2(found.place[1, 0], found.place[0, 0]))
    assert turn == pytest.approx(1.5, abs=0.6)


def test_a_thing_lying_on_its_side_is_turned_as_the_order_says(tmp_path: Path) -> None:
    lying = {"shape": "box", "size": [10, 14, 20]}
    found = the(held(tmp_path, box_with_pocket(0.4, 0.3), lying, at=[20, 20, 9.6], turn_deg=[0, 90, 0]))
    assert found.clearance_mm == pytest.approx(0.3, abs=0.002)


def test_a_cylinder_in_a_bore(tmp_path: Path) -> None:
    bore_ = Manifold.cylinder(30, 6.35, circular_segments=256).translate((20, 20, -5))
    found = the(held(tmp_path, block(40, 40, 20) - bore_, ROD, at=[20.1, 19.9, 10.0]))
    # The flats of 256 sides come nearest.
    assert found.clearance_mm == pytest.approx(6.35 * math.cos(math.pi / 256) - 6.0, abs=0.002)


def test_a_mesh_is_taken_by_its_convex_hull(tmp_path: Path) -> None:
    (tmp_path / "thing.stl").write_bytes(stl(Manifold.cube((20, 14, 10)).translate((100, 50, -30))))
    found = the(held(tmp_path, box_with_pocket(0.4, 0.3), {"shape": "file", "file": "thing.stl"}, at=[20, 20, 9.6]))
    assert found.clearance_mm == pytest.approx(0.3, abs=0.002)


def test_the_pose_is_as_free_as_another_library_says(tmp_path: Path) -> None:
    """Outside check: manifold3d's distance between part and thing in the pose that was found."""
    bump = Manifold.sphere(2.0, 64).translate((20 - 10 - 0.4 - 1.9, 17, 9))
    order = held(tmp_path, box_with_pocket(0.4, 0.5) + bump, BOX, at=[20, 20, 9.6])
    found = the(order)
    assert found.place is not None
    case, thing = order.solid("case"), order.solid("thing")
    one, other = Standing.at("case", case, np.eye(4)), Standing.at("thing", thing, found.place)
    assert gap(one, other, 5.0) == pytest.approx(found.clearance_mm, abs=0.01)
    assert found.clearance_mm < 0.38


def angle(wide: float) -> Manifold:
    """An angle of two legs of 20 × 8 × 10 mm, with so much more on each side."""
    outer = Manifold.cube((20 + 2 * wide, 20 + 2 * wide, 10 + wide)).translate((5 - wide, 5 - wide, 4 - wide))
    return outer - Manifold.cube((20, 20, 30)).translate((13 + wide, 13 + wide, -5))


@pytest.mark.parametrize(("wide", "clearance"), [(0.3, 0.3), (-0.1, -0.1)])
def test_an_angle_lies_in_an_angled_place(tmp_path: Path, wide: float, clearance: float) -> None:
    (tmp_path / "thing.stl").write_bytes(stl(angle(0.0)))
    case = block(30, 30, 14) - angle(wide) - angle(wide).translate((0, 0, 8))
    found = the(held(tmp_path, case, {"shape": "file", "file": "thing.stl"}, play=0.0, at=[15, 15, 9]))
    assert found.clearance_mm == pytest.approx(clearance, abs=0.03)
    assert (found.way_in_mm > 0) == (wide > 0)


@pytest.mark.parametrize("turn", [(0, 0, 180), (90, 0, 0), (0, 90, 90), (0, 270, 0)])
def test_a_file_drawn_on_other_axes_is_turned_into_its_place(tmp_path: Path, turn: tuple[float, float, float]) -> None:
    (tmp_path / "thing.stl").write_bytes(stl(angle(0.0).rotate(turn)))
    case = block(30, 30, 14) - angle(0.3) - angle(0.3).translate((0, 0, 8))
    thing = {"shape": "file", "file": "thing.stl"}
    found = the(held(tmp_path, case, thing, at=[15, 15, 9]))
    assert found.clearance_mm == pytest.approx(0.3, abs=0.03)
    assert found.way_in_mm > 0
    # As it lies it is a rotation, never a mirror image, and the report says which.
    assert found.place is not None
    assert np.linalg.det(found.place[:3, :3]) == pytest.approx(1.0)
    assert found.turned_deg is not None
    said = the(held(tmp_path, case, thing, at=[15, 15, 9], turn_deg=list(found.turned_deg)))
    assert (said.clearance_mm, said.turned_deg) == (pytest.approx(0.3, abs=0.03), None)
    # Who says how it is turned is believed.
    wrong = the(held(tmp_path, case, thing, at=[15, 15, 9], turn_deg=[0, 0, 0]))
    assert min(wrong.clearance_mm, wrong.way_in_mm) < 0


def test_a_finely_divided_ball_has_a_bounded_hull_and_a_way_in(tmp_path: Path) -> None:
    ball = Manifold.sphere(10, 60)
    corners = np.asarray(ball.to_mesh().vert_properties[:, :3], float)
    planes, every = hull_planes(corners), ConvexHull(corners).equations
    assert len(planes) == 800
    ways = np.random.default_rng(0).normal(size=(2000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    # How far out along each way the hull ends: never inside of the whole one, and hardly outside.
    out, whole = ((-x[:, 3] / np.maximum(ways @ x[:, :3].T, 1e-9)).min(axis=1) for x in (planes, every))
    assert (out >= whole - 1e-6).all()
    assert (out <= whole * 1.01).all()
    (tmp_path / "thing.stl").write_bytes(stl(ball))
    case = block(24, 24, 16) - block(21, 21, 20).translate((1.5, 1.5, 4))
    found = the(held(tmp_path, case, {"shape": "file", "file": "thing.stl"}, at=[12, 12, 14.5]))
    assert found.clearance_mm == pytest.approx(0.5, abs=0.06)
    # However it was turned in its place, the way up is free.
    assert found.way_in_mm > 0.4


def test_a_closed_hollow_has_no_way_in(tmp_path: Path) -> None:
    hollow = Manifold.cube((21, 15, 11), center=True).translate((20, 20, 10))
    closed = the(held(tmp_path, block(40, 40, 20) - hollow, BOX, at=[20, 20, 10]))
    assert closed.clearance_mm == pytest.approx(0.5, abs=0.002)
    assert closed.way_in_mm < -1
    # A neck 0.2 mm narrower than the thing on each side, then one that is wide enough.
    for spare, way in ((-0.2, -0.2), (0.3, 0.3)):
        neck = Manifold.cube((20 + 2 * spare, 21, 30), center=True).translate((20, 20, 25))
        found = the(held(tmp_path, block(40, 40, 20) - hollow - neck, BOX, at=[20, 20, 10]))
        assert found.way_in_mm == pytest.approx(way, abs=0.02)


def test_a_place_beside_the_part_is_none(tmp_path: Path) -> None:
    far = the(held(tmp_path, box_with_pocket(0.4, 0.3), BOX, at=[200, 0, 0]))
    assert far.why == "there is nothing of the part near the place where the thing is said to lie"


def test_finish_and_tolerances_are_taken_off_each_side(tmp_path: Path) -> None:
    text = printed("case", "case.stl", finish="paint", finish_per_face=0.04)
    text += table("bought", id="thing", mass=5, tolerance=0.1, **BOX)
    text += table("relation", kind="holds", part="case", thing="thing", play=0.1, at=[20, 20, 9.6])
    found = the(load_here(write(tmp_path, text, case_stl=stl(box_with_pocket(0.4, 0.4)))))
    # Half of ±0.3 of the print, half of ±0.1 of the thing, 0.04 of paint.
    assert found.left_mm == pytest.approx(0.4 - 0.15 - 0.05, abs=0.002)
    assert found.finish_mm == 0.04


def test_the_finish_of_the_thing_counts_too(tmp_path: Path) -> None:
    text = printed("case", "case.stl", finish="paint", finish_per_face=0.04) + printed(
        "core", "core.stl", finish_per_face=0.07
    )
    text += table("relation", kind="holds", part="case", thing="core", play=0.1, at=[10, 13, 4.6])
    (tmp_path / "core.stl").write_bytes(stl(block(20, 14, 10)))
    for masked, coat in ((False, 0.11), (True, 0.07)):
        more = "masked = true\n" if masked else ""
        (found,) = load_here(write(tmp_path, text + more, case_stl=stl(box_with_pocket(0.4, 0.4)))).held
        assert found.finish_mm == pytest.approx(coat)


def test_distances_of_box_and_cylinder_grow_the_way_they_say() -> None:
    from lintsvc.order.pocket import box_distance, cylinder_distance, hull_distance

    random = np.random.default_rng(0)
    points = random.normal(0, 12, (400, 3))
    corners = np.array([[x, y, z] for x in (-7, 7) for y in (-5, 5) for z in (-9, 9)], float)
    for distance in (box_distance(np.array([7.0, 5, 9])), cylinder_distance(6.0, 8.0), hull_distance(corners)):
        value, way = distance(points)
        step = 1e-6
        moved, _ = distance(points + step * way)
        assert np.allclose((moved - value) / step, 1.0, atol=1e-3)
