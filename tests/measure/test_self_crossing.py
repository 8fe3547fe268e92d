"""Crossing faces, against two libraries (libigl with CGAL, exact; pymeshlab) and against exact fractions."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from parts.broken_bodies import box, cylinder, join, lapping_ring, moved, sphere

from lintsvc.measure import self_crossing
from lintsvc.measure.mesh import Mesh
from lintsvc.measure.self_crossing import Contacts, contacts
from lintsvc.measure.self_crossing_lines import crossing_lines, overlap_middle
from lintsvc.measure.self_crossing_pair import BACK_TO_BACK, CROSSING, ON_TOP
from lintsvc.measure.shells import Shells
from lintsvc.measure.topology import Topology
from lintsvc.measure.weld import weld

Pairs = set[tuple[int, int]]


def welded(vertices: np.ndarray, faces: np.ndarray) -> Mesh:
    first, place = weld(np.ascontiguousarray(vertices, float))
    return Mesh(vertices[first], place[faces])


def pairs(found: Contacts) -> Pairs:
    return set(zip(found.first.tolist(), found.second.tolist(), strict=True))


def by_libigl(mesh: Mesh) -> Pairs:
    from igl.copyleft.cgal import remesh_self_intersections

    found = remesh_self_intersections(mesh.vertices, mesh.faces.astype(np.int64), detect_only=True)[2]
    return set(map(tuple, np.sort(found, axis=1).tolist()))


def by_pymeshlab(mesh: Mesh) -> set[int]:
    import pymeshlab

    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(mesh.vertices, mesh.faces))
    meshes.compute_selection_by_self_intersections_per_face()
    return set(np.flatnonzero(meshes.current_mesh().face_selection_array()).tolist())


def turned(vertices: np.ndarray, seed: int) -> np.ndarray:
    frame, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return vertices @ frame.T


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(2, 60), st.floats(0.1, 1.0))
def test_loose_triangles_cross_as_two_libraries_say(seed: int, count: int, size: float) -> None:
    random = np.random.default_rng(seed)
    corners = random.random((count, 1, 3)) + size * (random.random((count, 3, 3)) - 0.5)
    mesh = Mesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))
    found = contacts(mesh, 1e-12)
    assert pairs(found) == by_libigl(mesh)
    assert set(found.faces.tolist()) == by_pymeshlab(mesh)
    assert set(found.kind.tolist()) <= {CROSSING}


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.5, 9.0))
def test_closed_bodies_cross_as_two_libraries_say(seed: int, apart: float) -> None:
    random = np.random.default_rng(seed)
    one, other = sphere(5.0, 10, 14), random.choice([0, 1, 2])
    second = (sphere(4.0, 8, 10), box(5, 6, 7, at=(-2.5, -3, -3.5)), cylinder(2.0, 9.0, 17))[other]
    way = random.normal(size=3)
    body = join(one, (turned(second[0], seed) + apart * way / np.linalg.norm(way), second[1]))
    mesh = Mesh(*body)
    found = contacts(mesh, 1e-12)
    # Faces of one flat end share a corner and a plane: nothing crosses there.
    assert pairs(found) == by_libigl(mesh)
    assert set(found.faces.tolist()) == by_pymeshlab(mesh)


@pytest.mark.parametrize("segments", [6, 12, 36])
def test_sound_bodies_have_no_contacts(segments: int) -> None:
    for body in (cylinder(5.0, 9.0, segments), sphere(5.0, segments, segments), box()):
        for seed in range(3):
            mesh = welded(turned(body[0], seed), body[1])
            assert len(contacts(mesh, 1e-9)) == 0


def grid_box(low: tuple[int, int, int], high: tuple[int, int, int]) -> tuple[np.ndarray, np.ndarray]:
    """A box whose sides are cut into unit squares, so that planes of whole numbers run along its edges."""
    corners = []
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for end, outward in ((low[axis], False), (high[axis], True)):
            for i in range(low[u], high[u]):
                for j in range(low[v], high[v]):
                    square = np.zeros((4, 3))
                    square[:, axis] = end
                    square[:, u] = [i, i + 1, i + 1, i]
                    square[:, v] = [j, j, j + 1, j + 1]
                    if not outward:
                        square = square[::-1]
                    corners += [square[[0, 1, 2]], square[[0, 2, 3]]]
    return np.concatenate(corners), np.arange(3 * len(corners)).reshape(-1, 3)


def shells_that_cross(mesh: Mesh) -> bool:
    found = contacts(mesh, 1e-9)
    label = Shells(mesh, Topology(mesh)).label
    return bool(((label[found.first] != label[found.second]) & (found.kind == CROSSING)).any())


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.integers(-2, 5), st.integers(0, 2), st.integers(0, 2))
def test_surface_that_goes_through_exactly_at_its_edges_crosses(seed: int, x: int, y: int, z: int) -> None:
    # The large side at x = 4 is one square in two faces; the small box is cut into squares along x = 4.
    small = grid_box((x, 2 + y, 3 + z), (x + 3, 3 + y, 4 + z))
    body = join(box(4.0, 8.0, 8.0), small)
    mesh = welded(turned(body[0], seed), body[1])
    assert shells_that_cross(mesh) == (x < 4 < x + 3 or x < 0 < x + 3)


def test_bodies_that_rest_on_each_other_do_not_cross() -> None:
    for other in (box(2, 2, 2, at=(1, 1, 4)), (box(2, 2, 2)[0] @ _upended() + [2, 2, 4], box()[1])):
        found = contacts(welded(*join(box(4, 4, 4), other)), 1e-9)
        assert set(found.kind.tolist()) <= {BACK_TO_BACK}


def _upended() -> np.ndarray:
    """A turn that puts a box on one of its edges."""
    c = np.sqrt(0.5)
    return np.array([[1, 0, 0], [0, c, -c], [0, c, c]]).T


# --- Against exact fractions: small whole numbers make every kind of touching likely. ---

Exact = list[tuple[Fraction, ...]]


def _minus(a: tuple[Fraction, ...], b: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
    return tuple(x - y for x, y in zip(a, b, strict=True))


def _cross(a: tuple[Fraction, ...], b: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def _dot(a: tuple[Fraction, ...], b: tuple[Fraction, ...]) -> Fraction:
    return sum((x * y for x, y in zip(a, b, strict=True)), Fraction(0))


def exactly(one: Exact, other: Exact) -> int:
    """What two triangles do, in exact arithmetic: CROSSING, ON_TOP, BACK_TO_BACK or 0."""
    normal = [_cross(_minus(t[1], t[0]), _minus(t[2], t[0])) for t in (one, other)]
    side = [[_dot(normal[1], _minus(p, other[0])) for p in one], [_dot(normal[0], _minus(p, one[0])) for p in other]]
    if not any(side[1]):
        if _overlap(one, other, normal[0]):
            return ON_TOP if _dot(normal[0], normal[1]) > 0 else BACK_TO_BACK
        return 0
    if not all(min(s) < 0 < max(s) for s in side):
        return 0
    way = _cross(*normal)
    ranges = []
    for triangle, s in zip((one, other), side, strict=True):
        places = [_dot(way, p) for p, d in zip(triangle, s, strict=True) if d == 0]
        for i, k in combinations(range(3), 2):
            if s[i] * s[k] < 0:
                share = s[i] / (s[i] - s[k])
                places.append(_dot(way, triangle[i]) + share * _dot(way, _minus(triangle[k], triangle[i])))
        ranges.append((min(places), max(places)))
    return CROSSING if max(r[0] for r in ranges) < min(r[1] for r in ranges) else 0


def _overlap(one: Exact, other: Exact, normal: tuple[Fraction, ...]) -> bool:
    """Cut the first triangle down to the inside of the second; is an area left?"""
    turn = _cross(_minus(other[1], other[0]), _minus(other[2], other[0]))
    shape = list(one)
    for k in range(3):
        inward = _cross(turn, _minus(other[(k + 1) % 3], other[k]))
        kept = []
        for p, q in pairwise([*shape, *shape[:1]]):
            at_p, at_q = _dot(inward, _minus(p, other[k])), _dot(inward, _minus(q, other[k]))
            if at_p >= 0:
                kept.append(p)
            if at_p * at_q < 0:
                share = at_p / (at_p - at_q)
                kept.append(tuple(a + share * (b - a) for a, b in zip(p, q, strict=True)))
        shape = kept
    return (
        any(any(_cross(_minus(p, shape[0]), _minus(q, shape[0]))) for p, q in pairwise(shape[1:])) if shape else False
    )


@settings(max_examples=300, deadline=None)
@given(st.lists(st.integers(0, 3), min_size=18, max_size=18), st.booleans())
def test_two_triangles_on_whole_numbers_do_what_fractions_say(numbers: list[int], shared: bool) -> None:
    corners = np.array(numbers, float).reshape(6, 3)
    triangles = [[tuple(Fraction(x) for x in numbers[3 * i : 3 * i + 3]) for i in t] for t in ((0, 1, 2), (3, 4, 5))]
    for t in triangles:
        assume(any(_cross(_minus(t[1], t[0]), _minus(t[2], t[0]))))
    assume(sorted(triangles[0]) != sorted(triangles[1]))
    faces = np.arange(6).reshape(2, 3)
    mesh = welded(corners, faces) if shared else Mesh(corners, faces)
    found = contacts(mesh, 1e-9)
    assert (int(found.kind[0]) if len(found) else 0) == exactly(*triangles)


# --- The rest of the machinery. ---


def test_depth_is_how_far_one_reaches_into_the_other() -> None:
    for depth in (0.001, 0.1, 1.5):
        found = contacts(welded(*join(box(10, 10, 10), box(5, 5, 5, at=(10 - depth, 2, 3)))), 1e-9)
        assert found.depth_mm[found.kind == CROSSING].max() == pytest.approx(depth)


def test_bodies_no_deeper_in_each_other_than_the_slack_only_touch() -> None:
    body = join(box(10, 10, 10), box(5, 5, 5, at=(9.99, 2, 3)))
    assert CROSSING in contacts(Mesh(*body), 0.009).kind
    assert set(contacts(Mesh(*body), 0.011).kind.tolist()) == {BACK_TO_BACK}


def test_lines_of_crossing_lie_on_both_faces() -> None:
    body = join(sphere(5.0, 10, 14), moved(sphere(4.0, 9, 11), 3.1, 1.7, 0.9))
    mesh = Mesh(turned(body[0], 5), body[1])
    found = contacts(mesh, 1e-9)
    lines = crossing_lines(mesh, found)
    assert len(lines) == len(found) > 50
    for numbers in (found.first, found.second):
        off = np.einsum("kij,kj->ki", lines - mesh.vertices[mesh.faces[numbers, 0]][:, None], mesh.normals[numbers])
        assert np.abs(off).max() < 1e-9
    # They join up to rings: every end is the end of another.
    ends = np.round(lines.reshape(-1, 3), 6)
    _, times = np.unique(ends, axis=0, return_counts=True)
    assert (times >= 2).all()


def test_line_of_a_crossing_at_an_edge_is_that_edge() -> None:
    # The small box is cut into squares, and the large side runs along their edges, but for rounding.
    small = grid_box((3, 3, 3), (6, 4, 4))
    body = join(box(4.0 + 1e-7, 8.0, 8.0), small)
    found = contacts(welded(*body), 1e-6)
    lines = crossing_lines(welded(*body), found)
    assert len(lines) > 0
    assert np.abs(lines[..., 0] - 4.0).max() < 1e-6
    assert lines[..., 1:].min() >= 3.0 - 1e-6
    assert lines[..., 1:].max() <= 4.0 + 1e-6


def test_middle_of_an_overlap_lies_in_it() -> None:
    corners = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0], [4, 4, 0], [14, 4, 0], [4, 14, 0]])
    mesh = Mesh(corners, np.arange(6).reshape(2, 3))
    assert overlap_middle(mesh, 0, 1) == pytest.approx((14 / 3, 14 / 3, 0))


def test_with_very_many_contacts_every_face_is_still_found(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(3)
    mesh = Mesh(random.random((600, 3)), np.arange(600).reshape(-1, 3))
    whole = contacts(mesh, 1e-12)
    monkeypatch.setattr(self_crossing, "_ENOUGH", 50)
    some = contacts(mesh, 1e-12)
    assert len(some) < len(whole)
    assert some.faces.tolist() == whole.faces.tolist()


def test_heap_of_faces_that_all_cross_is_given_up_and_said_so(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(3)
    heap = Mesh(random.normal(size=(9000, 3)), np.arange(9000).reshape(-1, 3))
    monkeypatch.setattr(self_crossing, "_MOST_COMPARED", 100_000)
    monkeypatch.setattr(self_crossing, "_MOST_A_FACE", 0)
    found = contacts(heap, 1e-9)
    assert not found.complete
    assert len(found) > 0
    monkeypatch.setattr(self_crossing, "_MOST_A_FACE", 500)
    assert contacts(Mesh(*sphere(5.0, 60, 80)), 1e-9).complete


def test_order_of_faces_and_threads_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    body = join(sphere(5.0, 60, 80), moved(sphere(4.0, 50, 70), 3.1, 1.7, 0.9))
    was = pairs(contacts(Mesh(*body), 1e-9))
    order = np.random.default_rng(1).permutation(len(body[1]))
    now = contacts(Mesh(body[0], body[1][order]), 1e-9)
    back = {tuple(sorted((int(order[a]), int(order[b])))) for a, b in pairs(now)}
    assert back == was
    monkeypatch.setenv("LINTSVC_THREADS", "1")
    assert pairs(contacts(Mesh(*body), 1e-9)) == was


def test_ring_whose_ends_overlap_crosses_at_the_ends_only() -> None:
    mesh = welded(*lapping_ring(0.5))
    found = contacts(mesh, 1e-9)
    assert {CROSSING, ON_TOP} <= set(found.kind.tolist())
    lines = crossing_lines(mesh, found)
    assert np.abs(lines[..., 0] - 10).max() <= 0.25 + 1e-9
    assert len(contacts(welded(*lapping_ring(-0.5)), 1e-9)) == 0


def test_empty_mesh_and_faces_without_area_have_no_contacts() -> None:
    assert len(contacts(Mesh(np.empty((0, 3)), np.empty((0, 3), int)), 1e-9)) == 0
    flat = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [1, -1, -1], [1, 1, -1], [1, 0, 1]])
    assert len(contacts(Mesh(flat, np.arange(6).reshape(2, 3)), 1e-9)) == 0
