"""What is surely meant is set right and all else stays; what is not sure is refused, and nothing is written."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts.broken_bodies import (
    Mesh,
    box,
    cylinder,
    doubled,
    fin,
    flip,
    join,
    mobius,
    moved,
    sphere,
    split_edge_box,
    turn_over,
    without,
)
from parts.meshfiles import binary_stl, mesh_xml, model_xml, obj, threemf

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.mend import CannotMend, MendAccount, mend_body, mend_file
from lintsvc.measure.mend_draft import Draft
from lintsvc.model.body import Body
from lintsvc.model.part import Unreadable
from lintsvc.readers.format import ReadOptions
from lintsvc.readers.read import read_part


def mended(body: Mesh) -> tuple[Draft, MendAccount]:
    return mend_body(Body(body[0], body[1].astype(np.int32)))


def faces_of(vertices: np.ndarray, faces: np.ndarray) -> set[tuple[tuple[float, ...], ...]]:
    """Faces as corners, each turned so that its least corner is first: the winding counts."""
    found = set()
    for corners in vertices[faces].tolist():
        least = corners.index(min(corners))
        found.add(tuple(tuple(corners[(least + k) % 3]) for k in range(3)))
    return found


def volume(draft: Draft) -> float:
    corners = draft.vertices[draft.faces]
    return float(np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6)


def is_solid_for_trimesh(draft: Draft) -> bool:
    import trimesh

    mesh = trimesh.Trimesh(draft.vertices, draft.faces, process=False)
    return bool(mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0)


BALL = sphere(10.0, 12, 24)


def test_sound_body_is_left_as_it_is() -> None:
    draft, account = mended(BALL)
    assert not account.changed
    assert faces_of(draft.vertices, draft.faces) == faces_of(*BALL)


def test_missing_face_is_filled_with_that_face() -> None:
    draft, account = mended(without(BALL, 100))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*BALL)
    assert (account.holes_filled, account.faces_added) == (1, 1)
    a, b, c = BALL[0][BALL[1][100]]
    area = np.linalg.norm(np.cross(b - a, c - a)) / 2
    assert account.done() == (f"Closed 1 hole with 1 new face ({area:.4g} mm²).",)


def test_flat_hole_of_many_corners_is_filled_flat() -> None:
    # An end of a cylinder, a tenth of the surface at most: 8 % of a long one.
    tall = cylinder(5.0, 60.0, 24)
    lid = [i for i, f in enumerate(tall[1]) if (tall[0][f][:, 2] == 60.0).all()]
    draft, account = mended(without(tall, *lid))
    assert is_solid_for_trimesh(draft)
    assert account.holes_filled == 1
    assert account.area_added == pytest.approx(24 / 2 * 25.0 * np.sin(2 * np.pi / 24))
    assert volume(draft) == pytest.approx(60 * 24 / 2 * 25.0 * np.sin(2 * np.pi / 24))
    assert set(map(tuple, draft.vertices[np.unique(draft.faces)].tolist())) <= set(map(tuple, tall[0].tolist()))


def test_ring_between_two_rims_is_filled_and_the_bore_stays_open() -> None:
    outer, inner = cylinder(6.0, 40.0, 24), turn_over(cylinder(5.0, 40.0, 24))
    walls = [without(x, *[i for i, f in enumerate(x[1]) if np.ptp(x[0][f][:, 2]) == 0]) for x in (outer, inner)]
    draft, account = mended(join(*walls))
    assert is_solid_for_trimesh(draft)
    assert account.holes_filled == 4
    area = 24 / 2 * np.sin(2 * np.pi / 24)
    assert volume(draft) == pytest.approx(40 * area * (36 - 25))


def test_large_opening_is_refused_for_it_may_be_a_surface() -> None:
    with pytest.raises(CannotMend, match="surface without thickness"):
        mended(without(box(), 0, 6))


def test_hole_that_is_not_flat_is_refused() -> None:
    # A whole pole of the sphere: its rim is flat, so take a patch half way up instead.
    patch = [i for i, f in enumerate(BALL[1]) if (np.abs(BALL[0][f].mean(axis=0) - [10, 0, 0]) < 4).all()]
    assert len(patch) > 4
    with pytest.raises(CannotMend, match="not flat"):
        mended(without(BALL, *patch))


def test_holes_that_touch_in_a_corner_are_both_filled() -> None:
    around = [i for i, f in enumerate(BALL[1]) if 40 in f]
    draft, account = mended(without(BALL, around[0], around[3]))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*BALL)
    assert account.holes_filled == 2


def test_turned_faces_and_shells_are_turned_back() -> None:
    draft, account = mended(flip(BALL, 3, 4, 5, 200))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*BALL)
    assert account.faces_turned == 4
    draft, account = mended(join(turn_over(BALL), moved(box(), x=40)))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*join(BALL, moved(box(), x=40)))
    assert account.shells_turned == 1


def test_inside_out_shell_with_a_hole_is_closed_and_turned() -> None:
    draft, account = mended(turn_over(without(BALL, 100)))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*BALL)
    assert (account.holes_filled, account.shells_turned) == (1, 1)


def test_void_stays_a_void() -> None:
    body = join(box(20, 20, 20), turn_over(box(8, 8, 8, at=(6, 6, 6))))
    draft, account = mended(body)
    assert not account.changed
    assert account.volume_after == pytest.approx(8000 - 512)
    assert volume(draft) == pytest.approx(8000 - 512)


def test_mirrored_copy_of_a_hollow_body_stays_hollow() -> None:
    body = join(box(20, 20, 20), turn_over(box(8, 8, 8, at=(6, 6, 6))))
    draft, account = mended(turn_over(body))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*body)
    assert account.shells_turned == 2
    assert volume(draft) == pytest.approx(8000 - 512)


def test_copies_and_collapsed_faces_are_taken_out() -> None:
    vertices, faces = doubled(BALL, 7, 8)
    draft, account = mended((vertices, np.concatenate([faces, [[0, 0, 1]]])))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*BALL)
    assert (account.copies_taken_out, account.collapsed_taken_out) == (2, 1)


def test_face_on_a_line_is_taken_out_and_its_neighbour_split() -> None:
    draft, account = mended(split_edge_box())
    assert account.flat_taken_out == 1
    assert is_solid_for_trimesh(draft)
    assert volume(draft) == pytest.approx(1000)
    assert BodyMeasurements(Body(draft.vertices, draft.faces)).soundness.degenerate == ()


def test_edge_in_one_piece_is_stitched_to_one_in_two() -> None:
    body = split_edge_box()
    draft, account = mended(without(body, len(body[1]) - 1))
    assert account.faces_stitched == 1
    assert is_solid_for_trimesh(draft)
    assert volume(draft) == pytest.approx(1000)


def test_edges_a_hair_apart_are_joined_and_those_further_apart_are_not() -> None:
    random = np.random.default_rng(2)

    def torn(gap: float) -> Mesh:
        corners = BALL[0][BALL[1]].reshape(-1, 3)
        own = np.arange(len(corners)).reshape(-1, 3)
        # Only one face hangs apart.
        corners[own[50]] += gap * random.choice([-1.0, 1.0], (3, 3))
        return corners, own

    draft, account = mended(torn(1e-5))
    assert is_solid_for_trimesh(draft)
    assert account.vertices_joined == 3
    assert 0 < account.furthest_joined <= 2e-5
    with pytest.raises(CannotMend, match="open"):
        mended(torn(0.01))


def test_what_is_not_sure_is_refused() -> None:
    with pytest.raises(CannotMend, match="open"):
        mended(fin(box(), 0, 1, (-5, -5, 3)))
    with pytest.raises(CannotMend):
        mended(mobius())
    inner = np.concatenate([box()[1], [[0, 1, 6], [0, 6, 1]]])
    # A wall of two faces back to back comes out, one face alone does not.
    mended((box()[0], inner))


def test_bodies_that_cross_are_left_and_said_so() -> None:
    _, account = mended(join(box(10, 10, 10), box(5, 5, 5, at=(8, 2, 2))))
    assert not account.changed
    assert any("cross" in x for x in account.left)


def test_fill_that_would_cross_the_body_is_refused() -> None:
    # A spike stands out through the hole that is to be closed.
    tall = cylinder(5.0, 60.0, 24)
    lid = [i for i, f in enumerate(tall[1]) if (tall[0][f][:, 2] == 60.0).all()]
    spike = cylinder(1.0, 20.0, 12)
    with pytest.raises(CannotMend, match="would cross"):
        mended(join(without(tall, *lid), moved(spike, z=50.0)))


def test_of_two_bodies_on_one_edge_the_one_inside_out_is_turned() -> None:
    one, other = box(10, 10, 10), box(10, 10, 10, at=(10, 10, 0))
    draft, account = mended(join(one, turn_over(other)))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*join(one, other))
    assert (account.shells_turned, account.faces_turned) == (1, 0)
    assert account.volume_after == pytest.approx(2000)


@pytest.mark.parametrize(("high", "at"), [(8, 16), (18, 14), (18, 4)])
def test_inward_shell_through_another_is_a_cut_or_a_body_and_refused(high: float, at: float) -> None:
    body = join(box(20, 20, 20), turn_over(box(8, 8, high, at=(6, 6, at))))
    with pytest.raises(CannotMend, match="turned or cut away"):
        mended(body)
    # Both inside out leave no doubt.
    draft, account = mended(turn_over(join(box(20, 20, 20), box(8, 8, high, at=(6, 6, at)))))
    assert account.shells_turned == 2
    assert volume(draft) == pytest.approx(8000 + 64 * high)


def test_surface_that_faces_both_ways_is_not_turned() -> None:
    # An upright bow tie: a side of it faces outward on one half and inward on the other, the larger one.
    flat = np.array([(0, 0), (20, 10), (10, 0), (0, 15)], float)
    vertices = np.array([(x, y, z) for z in (0, 5) for x, y in flat])
    around = [(i, (i + 1) % 4) for i in range(4)]
    sides = [f for i, k in around for f in ((i, k, k + 4), (i, k + 4, i + 4))]
    for turned in (False, True):
        body = (vertices, np.array([*sides, (0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7)]))
        body = turn_over(body) if turned else body
        try:
            draft, account = mended(body)
        except CannotMend as error:
            assert "opposite ways" in str(error)
        else:
            assert not account.changed
            assert faces_of(draft.vertices, draft.faces) == faces_of(*body)


def test_shell_that_faces_outward_within_a_body_is_left_and_said_so() -> None:
    _, account = mended(join(box(20, 20, 20), box(8, 8, 8, at=(6, 6, 6))))
    assert not account.changed
    assert any("not sure" in x for x in account.left)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31))
def test_whatever_is_broken_in_these_ways_is_the_ball_again(seed: int) -> None:
    random = np.random.default_rng(seed)
    vertices, faces = BALL
    faces = faces.copy()
    turned = random.choice(len(faces), random.integers(0, 60), replace=False)
    faces[turned] = faces[turned][:, ::-1]
    gone = random.choice(len(faces), random.integers(0, 3), replace=False)
    if len(gone) == 2 and set(BALL[1][gone[0]]) & set(BALL[1][gone[1]]):
        # Two side by side make one hole, which may not be flat.
        gone = gone[:1]
    left = np.delete(faces, gone, axis=0)
    copies = left[random.choice(len(left), random.integers(0, 5), replace=False)]
    soup = np.concatenate([left, copies, [[0, 0, 5]]])[random.permutation(len(left) + len(copies) + 1)]
    draft, account = mended((vertices[soup].reshape(-1, 3), np.arange(3 * len(soup)).reshape(-1, 3)))
    assert faces_of(draft.vertices, draft.faces) == faces_of(*BALL)
    assert (account.holes_filled, account.copies_taken_out) == (len(gone), len(copies))
    assert account.collapsed_taken_out == 1
    assert account.faces_after == len(BALL[1])


# --- Files. ---


@pytest.mark.parametrize("ending", [".stl", ".obj", ".ply", ".3mf", ".glb", ".STL"])
def test_mended_file_reads_as_a_closed_body_with_all_places_kept(ending: str, tmp_path: Path) -> None:
    broken = tmp_path / "in.stl"
    vertices = BALL[0].astype(np.float32).astype(float)
    broken.write_bytes(binary_stl(*without((vertices, BALL[1]), 100)))
    account = mend_file(broken, tmp_path / f"out{ending}")
    assert account.changed
    part = read_part(tmp_path / f"out{ending}", ReadOptions("out", "", units=None if ending == ".glb" else "mm"))
    assert part.body is not None
    if ending == ".glb":
        # In metres there: what is left is the noise of that.
        part = replace(part, body=replace(part.body, vertices=part.body.vertices.astype(np.float32)))
    assert part.body is not None
    body = BodyMeasurements(part.body)
    assert body.watertight
    assert body.triangles == len(BALL[1])
    assert faces_of(body.mesh.vertices, body.mesh.faces) == faces_of(vertices, BALL[1])
    assert sorted(x.name for x in tmp_path.iterdir()) == ["in.stl", f"out{ending}"]


@pytest.mark.parametrize("ending", [".stl", ".obj", ".ply", ".3mf", ".glb"])
def test_size_and_unit_are_kept(ending: str, tmp_path: Path) -> None:
    model = model_xml(
        f'<object id="1">{mesh_xml(*without(BALL, 100))}</object>', '<item objectid="1"/>', attributes='unit="inch"'
    )
    (tmp_path / "in.3mf").write_bytes(threemf(model))
    account = mend_file(tmp_path / "in.3mf", tmp_path / f"out{ending}")
    part = read_part(tmp_path / f"out{ending}", ReadOptions("out", ""))
    assert part.body is not None
    assert part.size_mm == pytest.approx((508.0, 508.0, 508.0))
    assert account.unit == ("in" if ending in (".3mf", ".glb") else "mm")
    if ending == ".3mf":
        assert part.units.value == "in"
        # As the numbers stood in the file, to the last bit.
        again = read_part(tmp_path / "out.3mf", ReadOptions("out", "", units="mm")).body
        assert again is not None
        assert {*map(tuple, again.vertices.tolist())} == {*map(tuple, BALL[0].tolist())}


def test_nothing_is_written_where_nothing_is_to_mend(tmp_path: Path) -> None:
    (tmp_path / "in.stl").write_bytes(binary_stl(*BALL))
    account = mend_file(tmp_path / "in.stl", tmp_path / "out.stl")
    assert not account.changed
    assert not (tmp_path / "out.stl").exists()


def test_file_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    broken = binary_stl(*without(BALL, 100))
    (tmp_path / "in.stl").write_bytes(broken)
    (tmp_path / "other.stl").write_bytes(b"mine")
    (tmp_path / "link.stl").symlink_to(tmp_path / "nowhere.stl")
    (tmp_path / "hard.stl").hardlink_to(tmp_path / "in.stl")
    for name in ("in.stl", "other.stl", "link.stl", "hard.stl"):
        with pytest.raises(CannotMend, match="there already"):
            mend_file(tmp_path / "in.stl", tmp_path / name)
    assert (tmp_path / "in.stl").read_bytes() == broken
    assert (tmp_path / "other.stl").read_bytes() == b"mine"
    assert not (tmp_path / "nowhere.stl").exists()


def test_refused_mend_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / "in.stl").write_bytes(binary_stl(*without(box(), 0, 6)))
    with pytest.raises(CannotMend):
        mend_file(tmp_path / "in.stl", tmp_path / "out.stl")
    assert [x.name for x in tmp_path.iterdir()] == ["in.stl"]


def test_unknown_ending_and_unreadable_file_are_said(tmp_path: Path) -> None:
    (tmp_path / "in.stl").write_bytes(binary_stl(*without(BALL, 100)))
    with pytest.raises(CannotMend, match="must end in"):
        mend_file(tmp_path / "in.stl", tmp_path / "out.step")
    (tmp_path / "bad.stl").write_bytes(b"solid nothing")
    with pytest.raises(Unreadable):
        mend_file(tmp_path / "bad.stl", tmp_path / "out.stl")


def test_objects_keep_their_names_and_stay_apart(tmp_path: Path) -> None:
    one, other = box(10, 10, 10), flip(box(10, 10, 10, at=(10, 10, 0)), 3)
    resources = "".join(
        f'<object id="{i}" name="{name}">{mesh_xml(*body)}</object>'
        for i, name, body in ((1, "lid & hinge", one), (2, "base", other))
    ).replace("&", "&amp;")
    package = threemf(model_xml(resources, '<item objectid="1"/><item objectid="2"/>'))
    (tmp_path / "in.3mf").write_bytes(package)
    mend_file(tmp_path / "in.3mf", tmp_path / "out.3mf")
    part = read_part(tmp_path / "out.3mf", ReadOptions("out", ""))
    assert part.body is not None
    assert part.body.object_names == ("lid & hinge", "base")
    assert BodyMeasurements(part.body).watertight
    assert BodyMeasurements(part.body).body_count == 2


def test_file_without_a_unit_keeps_its_numbers(tmp_path: Path) -> None:
    # 0.044 long: read in metres, and written with the same numbers.
    vertices, faces = without(sphere(0.022), 5)
    (tmp_path / "in.obj").write_text(obj(vertices, faces))
    mend_file(tmp_path / "in.obj", tmp_path / "out.obj")
    mend_file(tmp_path / "in.obj", tmp_path / "out.3mf")
    for name in ("out.obj", "out.3mf"):
        part = read_part(tmp_path / name, ReadOptions(name, ""))
        assert part.units.value == "m"
        assert part.units.stated == name.endswith("3mf")
        assert max(part.size_mm) == pytest.approx(44.0)
