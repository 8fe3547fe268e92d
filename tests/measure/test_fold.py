"""A flat folded: sizes and volumes in closed form, one closed mesh, and the same whichever way it lies."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import folds as made
from parts.folds import K, R, T
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union

from lintsvc.measure.fold import Folded, fold
from lintsvc.measure.fold_zones import NotFolded
from lintsvc.model.sheet import Bend

INCH = 25.4


def closed(folded: Folded) -> trimesh.Trimesh:
    """The mesh, seen to be closed and sound by two libraries that had no part in it."""
    from manifold3d import Error, Manifold, Mesh64

    mesh = trimesh.Trimesh(folded.vertices, folded.faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0
    other = Manifold(Mesh64(vert_properties=folded.vertices, tri_verts=folded.faces.astype(np.uint64)))
    assert other.status() == Error.NoError
    assert other.volume() == pytest.approx(mesh.volume, rel=1e-9)
    return mesh


def exact_volume(straights: list[float], angles: list[float], width: float) -> float:
    """Straight pieces, and a sector of a ring for each bend."""
    sectors = sum(math.radians(abs(a)) / 2 * ((R + T) ** 2 - R**2) for a in angles)
    return width * (T * sum(straights) + sectors)


@pytest.mark.parametrize(
    ("straights", "angles", "size"),
    [
        # Right angles: an outside size is the straight piece and R + t for each bend at its end.
        ([40, 30], [90], (50, 40 + R + T, 30 + R + T)),
        ([40, 30], [-90], (50, 40 + R + T, 30 + R + T)),
        ([30, 60, 30], [90, 90], (60 + 2 * (R + T), 50, 30 + R + T)),
        # An offset: the second bend's inside is on the other side, so its R and not R + t adds beyond the web.
        ([30, 20, 30], [90, -90], (60 + 2 * R + T, 50, 20 + 2 * (R + T) - T + T)),
        # A hem: folded flat on itself, twice the sheet and the gap of 2 R high.
        ([50, 20], [180], (50 + R + T, 50, 2 * (R + T))),
        # 45 degrees: by similar triangles.
        (
            [40, 30],
            [45],
            (40 + (R + T) * math.sin(math.pi / 4) + 30 * math.sqrt(0.5), 50,
             max((R + T) * (1 - math.sqrt(0.5)) + 30 * math.sqrt(0.5) + T * math.sqrt(0.5), 0)),
        ),
    ],
    ids=["angle up", "angle down", "channel", "offset", "hem", "45 degrees"],
)  # fmt: skip
def test_size_and_volume_in_closed_form(
    straights: list[float], angles: list[float], size: tuple[float, float, float]
) -> None:
    folded = fold(*made.strip(straights, angles), T)
    closed(folded)
    assert sorted(folded.finished_size_mm) == pytest.approx(sorted(size), abs=1e-4)
    assert folded.volume_mm3 == pytest.approx(exact_volume(straights, angles, 50), rel=2e-3)


def test_tray() -> None:
    folded = fold(*made.tray((80, 50), 20), T)
    closed(folded)
    assert folded.finished_size_mm == pytest.approx((80 + 2 * (R + T), 50 + 2 * (R + T), 20 + R + T), abs=1e-4)
    assert len(folded.panels) == 5


def test_machinerys_handbook_strip() -> None:
    """Machinery's Handbook 31, p. 1421, Fig. 13: 180° at R 0.375 and 60° at R 0.625 in 1/8 in soft steel: 5.545 in.

    The handbook's L = (0.64 T + 1.57 R) at 90° is K = 0.64 / (π/2); folded, the flat of 5.545 in has those bends
    and 3.5 in of straight sheet.
    """
    k = 0.64 / (math.pi / 2)
    length, x, bends = 5.545 * INCH, 1.0 * INCH, []
    for angle, radius in ((180.0, 0.375 * INCH), (60.0, 0.625 * INCH)):
        wide = math.radians(angle) * (radius + k * 0.125 * INCH)
        bends.append(Bend((x + wide / 2, 0), (x + wide / 2, 20), angle, "up", radius, k))
        x += wide + 1.5 * INCH
    folded = fold(box(0, 0, length, 20), bends, 0.125 * INCH)
    closed(folded)
    straight = sum(p.area for p in folded.panels) / 20 / INCH
    # 1.57 stands for π/2 in the book, and its sum is rounded to 0.001.
    assert straight == pytest.approx(3.5, abs=0.003)


def test_faa_channel() -> None:
    """FAA-H-8083-31A, bending a U-channel: legs 1, 2, 1 in outside, t 0.04, R 0.16: flats of 0.80, 1.60, 0.80 in."""
    t, r = 0.04 * INCH, 0.16 * INCH
    flats = [0.8 * INCH, 1.6 * INCH, 0.8 * INCH]
    folded = fold(*made.strip(flats, [90, 90], radius=r, thickness=t), t)
    assert sorted(folded.finished_size_mm) == pytest.approx([1.0 * INCH, 50, 2.0 * INCH], abs=1e-4)


def test_down_is_the_mirror_image_of_up() -> None:
    up = fold(*made.strip([40, 30], [70]), T)
    down = fold(*made.strip([40, 30], [-70]), T)
    assert up.vertices[:, 2].max() > 25
    # Mirrored about the middle of the sheet, upper and lower side change places.
    half = len(up.vertices) // 2
    mirrored = np.concatenate([down.vertices[half:], down.vertices[:half]]) * [1, 1, -1] + [0, 0, T]
    np.testing.assert_allclose(mirrored, up.vertices, atol=1e-9)


@given(turn=st.floats(0, 360), x=st.floats(-500, 500), y=st.floats(-500, 500), case=st.integers(0, 2))
@settings(max_examples=25, deadline=None)
def test_turning_and_moving_the_flat_changes_nothing(turn: float, x: float, y: float, case: int) -> None:
    flat = (made.strip([30, 60, 40], [90, -35]), made.tray((80, 50), 20), made.strip([40, 30], [120]))[case]
    still, away = fold(*flat, T), fold(*made.moved(*flat, turn, (x, y)), T)
    assert away.finished_size_mm == pytest.approx(still.finished_size_mm, abs=1e-4)
    assert away.volume_mm3 == pytest.approx(still.volume_mm3, rel=1e-6)
    assert len(away.faces) == len(still.faces)


def test_other_base_gives_the_same_body() -> None:
    flat = made.strip([40, 30], [90])
    one, other = fold(*flat, T), fold(*flat, T, base=1)
    assert np.allclose(other.transform_of(1), np.eye(4))
    assert sorted(other.finished_size_mm) == pytest.approx(sorted(one.finished_size_mm), abs=1e-4)
    assert other.volume_mm3 == pytest.approx(one.volume_mm3)


def test_faces_know_their_panel_and_bend() -> None:
    folded = fold(*made.strip([30, 60, 30], [90, 90]), T)
    mesh = closed(folded)
    assert set(folded.face_panel.tolist()) == {-1, 0, 1, 2}
    assert set(folded.face_bend.tolist()) == {-1, 0, 1}
    assert ((folded.face_panel >= 0) ^ (folded.face_bend >= 0)).all()
    for number, panel in enumerate(folded.panels):
        # Both sides, and the edge of the sheet: all but where the bends go on.
        own = mesh.area_faces[folded.face_panel == number].sum()
        bends = 2 if number == 0 else 1
        assert own == pytest.approx(2 * panel.area + T * (panel.length - 50 * bends), rel=1e-6)
    assert folded.body.object_names == ("panel 1", "panel 2", "panel 3", "bend 1", "bend 2")
    assert folded.body.face_object is not None
    assert folded.body.face_object.max() == 4


@given(parts=st.lists(st.floats(0, 1), min_size=4, max_size=4))
@settings(max_examples=30, deadline=None)
def test_every_pose_is_closed_and_keeps_its_panels(parts: list[float]) -> None:
    whole = fold(*made.tray((80, 50), 20), T)
    folded = whole.posed(dict(enumerate(parts)))
    flat, posed = closed(whole), closed(folded)
    for number in range(len(folded.panels)):
        which = folded.face_panel == number
        np.testing.assert_allclose(posed.area_faces[which], flat.area_faces[which], rtol=1e-6, atol=1e-9)


def test_pose_of_nothing_folded_is_the_flat() -> None:
    outline, bends = made.tray((80, 50), 20)
    flat = fold(outline, bends, T).posed(dict.fromkeys(range(4), 0.0))
    assert flat.volume_mm3 == pytest.approx(outline.area * T, rel=1e-7)
    assert flat.vertices[:, 2].min() == 0
    assert flat.vertices[:, 2].max() == T


def test_one_bend_can_be_left_flat() -> None:
    folded = fold(*made.strip([30, 60, 30], [90, 90]), T).posed({1: 0.0})
    assert folded.finished_size_mm == pytest.approx((60 + 30 + made.allowance(90) + R + T, 50, 30 + R + T), abs=1e-4)


def test_half_a_bend_turns_by_half_its_angle_and_keeps_its_length() -> None:
    folded = fold(*made.strip([40, 30], [90]), T).posed({0: 0.5})
    turned = folded.transform_of(1)[:3, :3] @ [0, 0, 1]
    assert math.degrees(math.acos(turned[2])) == pytest.approx(45)
    # The neutral line lies K·t above the inside, here below the upper side.
    x = np.linspace(40, 40 + made.allowance(90), 400)
    neutral = folded.folded_points(np.column_stack([x, np.full(400, 20.0)]), T - K * T)
    assert np.linalg.norm(np.diff(neutral, axis=0), axis=1).sum() == pytest.approx(made.allowance(90), rel=1e-5)


def test_points_of_the_flat_go_where_the_mesh_goes() -> None:
    folded = fold(*made.tray((80, 50), 20), T)
    half = len(folded.vertices) // 2
    for height, side in ((0.0, slice(None, half)), (T, slice(half, None))):
        np.testing.assert_allclose(
            folded.folded_points(folded.cells.points * 0.999999, height), folded.vertices[side], atol=1e-3
        )
    assert np.isnan(folded.folded_points(np.array([[500.0, 0.0]]), 0.0)).all()


def test_hole_in_a_panel_goes_with_it() -> None:
    outline, bends = made.strip([40, 30], [90])
    hole = Point(65, 25).buffer(4, quad_segs=16)
    folded = fold(outline.difference(hole), bends, T)
    closed(folded)
    assert folded.volume_mm3 == pytest.approx(fold(outline, bends, T).volume_mm3 - hole.area * T, rel=1e-9)
    assert folded.cutouts_in_bends == ()


def test_hole_in_a_bend_is_named_and_still_closed() -> None:
    outline, bends = made.strip([40, 30], [90])
    folded = fold(outline.difference(Point(43, 25).buffer(4)).difference(Point(15, 25).buffer(4)), bends, T)
    closed(folded)
    ((cutout, bend),) = folded.cutouts_in_bends
    assert Polygon(folded.cutouts[cutout]).centroid.x == pytest.approx(43, abs=0.01)
    assert bend == 0


def test_window_makes_one_bend_of_two_pieces() -> None:
    outline, bends = made.strip([40, 30], [90])
    folded = fold(outline.difference(box(35, 20, 50, 30)), bends, T)
    closed(folded)
    assert (len(folded.zones), len(folded.panels), folded.operations) == (2, 2, ((0,),))


def test_pieces_of_one_bend_drawn_apart_go_together() -> None:
    outline, (bend,) = made.strip([40, 30], [90])
    x = bend.start[0]
    pieces = [replace(bend, end=(x, 20)), replace(bend, start=(x, 30))]
    folded = fold(outline.difference(box(35, 20, 50, 30)), pieces, T)
    assert folded.operations == ((0, 1),)
    closed(folded.posed({0: 0.3}))
    assert folded.posed({0: 0.3, 1: 0.6}).parts == {0: 0.6, 1: 0.6}


def test_pieces_of_one_line_with_different_angles_are_refused() -> None:
    outline, (bend,) = made.strip([40, 30], [90])
    x = bend.start[0]
    pieces = [replace(bend, end=(x, 20)), replace(bend, start=(x, 30), angle_deg=45)]
    with pytest.raises(NotFolded, match="ring"):
        fold(outline.difference(box(35, 20, 50, 30)), pieces, T)


def test_slit_between_two_tabs_opens() -> None:
    outline, (line,) = made.strip([40, 30], [90])
    x = line.start[0]
    cut = outline.difference(box(40, 24.99, 100, 25.01))
    tabs = [replace(line, end=(x, 24.99)), replace(line, start=(x, 25.01), direction="down")]
    folded = fold(cut, tabs, T)
    closed(folded)
    assert len(folded.panels) == 3
    assert folded.finished_size_mm[2] == pytest.approx(2 * (30 + R) + T, abs=0.01)


def test_panels_that_only_touch_at_a_corner_come_apart() -> None:
    # The walls of this tray meet in the corners of the base.
    folded = fold(*made.tray((80, 50), 20, 30), T)
    closed(folded)


def test_relief_that_is_too_shallow_tears() -> None:
    # A tab on a wide plate; its reliefs reach to the bend line and no further.
    x = 40 + made.allowance(90) / 2
    plate, tab = box(0, 0, x, 60), box(x, 20, x + 30, 40)
    outline = unary_union([plate, tab]).difference(box(x - 0.2, 18, x + 1, 20)).difference(box(x - 0.2, 40, x + 1, 42))
    folded = fold(outline, [made.bend((x, 20), (x, 40), 90)], T)
    closed(folded)
    assert len(folded.panels) == 2


def test_sloping_ends_fold() -> None:
    folded = fold(Polygon([(0, 0), (60, 10), (60, 40), (0, 50)]), [made.bend((30, 5), (30, 45), 60)], T)
    closed(folded)


def test_bend_around_nothing_folds() -> None:
    outline, bends = made.strip([40, 30], [90], radius=0.0)
    folded = fold(outline, bends, T)
    assert sorted(folded.finished_size_mm) == pytest.approx(sorted((50, 40 + T, 30 + T)), abs=1e-4)
    mesh = trimesh.Trimesh(folded.vertices, folded.faces, process=False)
    assert mesh.is_watertight


def test_thirty_panels() -> None:
    folded = fold(*made.strip([20] * 30, [25, -25] * 14 + [25]), T)
    closed(folded)
    assert len(folded.panels) == 30
    assert folded.graph.number_of_edges() == 29
    assert sorted(d["bend"] for _, _, d in folded.graph.edges(data=True)) == list(range(29))


STRIP, (LINE,) = made.strip([40, 30], [90])


@pytest.mark.parametrize(
    ("outline", "bends", "words"),
    [
        (STRIP, [replace(LINE, direction=None)], "bend 1 has no direction"),
        (STRIP, [replace(LINE, angle_deg=None, radius_mm=None)], "no angle and no inside radius"),
        (STRIP, [replace(LINE, k_factor=None)], "K-factor"),
        (STRIP, [replace(LINE, angle_deg=200.0)], "impossible"),
        (STRIP, [replace(LINE, start=(200, 0), end=(200, 50))], "does not lie on the sheet"),
        (STRIP, [replace(LINE, end=(LINE.start[0], 30))], "20 mm short of the edge"),
        (STRIP, [LINE, LINE], "run into each other"),
        (STRIP, [LINE, replace(LINE, start=(45, 0), end=(45, 50))], "run into each other"),
        (STRIP, [replace(LINE, start=(1, 0), end=(1, 50))], "shorter than the bend"),
        # The bend line crosses one arm of a ring: the sheet goes round it.
        (
            box(0, 0, 80, 50).difference(box(20, 15, 60, 35)),
            [made.bend((40, 0), (40, 15), 90)],
            "does not part the sheet",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_folded_says_why(outline: Polygon, bends: list[Bend], words: str) -> None:
    with pytest.raises(NotFolded, match=words):
        fold(outline, bends, T)


def test_bend_of_no_angle_is_no_bend() -> None:
    outline, bends = made.strip([30, 60, 30], [90, 90])
    folded = fold(outline, [bends[0], replace(bends[1], angle_deg=0.0)], T)
    assert len(folded.panels) == 2
    assert set(folded.face_bend.tolist()) == {-1, 0}
