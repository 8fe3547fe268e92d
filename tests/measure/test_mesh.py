"""The mesh that all measurements share: welding, edges, normals, the tree."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import bodies

from lintsvc.measure.bvh import Bvh
from lintsvc.measure.edges import CROWDED, NO_EDGE, OPEN, mates, shells
from lintsvc.measure.mesh import Mesh
from lintsvc.measure.nearest import nearest
from lintsvc.measure.rays import first_hits
from lintsvc.measure.weld import weld
from lintsvc.model.body import Body


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_weld_joins_equal_places_and_no_others(dtype: type) -> None:
    rng = np.random.default_rng(1)
    points = rng.integers(-3, 3, (5000, 3)).astype(dtype) / 7
    first, place = weld(points)
    expected = np.unique(points, axis=0)
    assert len(first) == len(expected)
    assert (points[first][place] == points).all()
    assert (np.diff(first) > 0).all()


def test_weld_takes_both_zeros_for_one() -> None:
    first, place = weld(np.array([[0.0, 1.0, -0.0], [-0.0, 1.0, 0.0]], np.float32))
    assert len(first) == 1
    assert place.tolist() == [0, 0]


def test_touching_objects_of_one_file_stay_apart() -> None:
    one = bodies.box((1, 1, 1))
    vertices, faces = bodies.join(one, bodies.moved(one, (1, 0, 0)))
    together = Mesh.of(Body(vertices, faces.astype(np.int32)))
    apart = Mesh.of(Body(vertices, faces.astype(np.int32), np.repeat([0, 1], 12).astype(np.int32), ("a", "b")))
    assert len(together.vertices) == 12
    assert len(apart.vertices) == 16
    assert (apart.mates >= 0).all()


def test_mates_tell_open_crowded_flipped_and_collapsed_edges() -> None:
    # Two triangles on edge 0-1 wound against each other, a third and fourth that crowd edge 1-2, one collapsed.
    faces = np.array([[0, 1, 2], [1, 0, 3], [1, 2, 4], [2, 1, 5], [6, 6, 7], [8, 9, 10], [8, 9, 11]], np.int32)
    mate = mates(faces, 12).reshape(-1, 3)
    assert mate[0, 0] == 3
    assert mate[1, 0] == 0
    assert mate[0, 2] == OPEN
    ring = {1}
    at = 1
    while (at := int(CROWDED - mate.ravel()[at])) not in ring:
        ring.add(at)
    assert ring == {1, 6, 9}
    assert mate[4, 0] == NO_EDGE
    # Both run from 8 to 9: flipped against each other, and paired all the same.
    assert mate[5, 0] == 18


def test_a_hub_of_many_faces_is_matched() -> None:
    count = 2000
    ring = np.arange(count) + 1
    faces = np.stack([np.zeros(count, int), ring, np.roll(ring, -1)], axis=1).astype(np.int32)
    mate = mates(faces, count + 1).reshape(-1, 3)
    assert (mate[:, 0] >= 0).all()
    assert (mate[:, 2] >= 0).all()
    assert (mate[:, 1] == OPEN).all()


def test_shells_hang_together_over_crowded_edges() -> None:
    box = bodies.box((1, 1, 1))
    mesh = bodies.clean(bodies.join(box, bodies.moved(box, (1, 1, 0)), bodies.moved(box, (5, 0, 0))))
    label, count = shells(mates(mesh[1].astype(np.int32), len(mesh[0])))
    assert count == 2
    assert sorted(np.bincount(label).tolist()) == [12, 24]


def test_sliver_has_no_normal() -> None:
    vertices = np.array([[100, 0, 0], [200, 0, 0], [150, 1e-5, 0], [150, 50, 0]])
    mesh = Mesh(vertices, np.array([[0, 1, 2], [0, 1, 3]]), rounding_mm=200 * 2.0**-24)
    assert mesh.normals.tolist() == [[0, 0, 0], [0, 0, 1]]


def leaves(tree: Bvh) -> list[tuple[int, int]]:
    """Node and depth of every leaf."""
    found, stack = [], [(0, 0)]
    while stack:
        node, depth = stack.pop()
        if tree.count[node] == 0:
            stack += [(int(tree.child[node]) + k, depth + 1) for k in range(2)]
        else:
            found.append((node, depth))
    return found


@pytest.mark.parametrize("splits", [0, 3, 6])
def test_tree_holds_every_face_once_inside_its_boxes(splits: int) -> None:
    vertices, faces = bodies.sphere(7.3, splits)
    mesh = Mesh(vertices, faces)
    tree = mesh.bvh
    seen = []
    for node, _ in leaves(tree):
        places = np.arange(tree.child[node], tree.child[node] + tree.count[node])
        seen += tree.order[places].tolist()
        corners = tree.corners[places].reshape(-1, 3)
        assert (corners >= tree.boxes[node, :3]).all()
        assert (corners <= tree.boxes[node, 3:]).all()
        assert (tree.normals[places] >= tree.directions[node, :3]).all()
        assert (tree.normals[places] <= tree.directions[node, 3:]).all()
    assert sorted(seen) == list(range(len(faces)))
    assert (tree.corners == vertices[faces[tree.order]].reshape(-1, 9)).all()


def test_tree_of_shrinking_triangles_stays_shallow() -> None:
    # Each a third of the one before: bins peel off one at a time.
    size = 3.0 ** -np.arange(400.0)
    corner = np.cumsum(size)[:, None] * [1.0, 0.3, 0.1]
    vertices = np.stack([corner, corner + size[:, None] * [1, 0, 0], corner + size[:, None] * [0, 1, 0]], axis=1)
    tree = Mesh(vertices.reshape(-1, 3), np.arange(1200).reshape(-1, 3)).bvh
    assert max(depth for _, depth in leaves(tree)) < 95


def test_empty_mesh_has_a_tree() -> None:
    mesh = Mesh(np.empty((0, 3)), np.empty((0, 3), np.int32))
    found = nearest(mesh.bvh, np.zeros((1, 3)), np.array([5.0]))
    assert found.face.tolist() == [-1]
    assert found.distance.tolist() == [5.0]
    assert np.isinf(first_hits(mesh.bvh, np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]]))[0]).all()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 200))
def test_nearest_and_rays_agree_with_looking_at_every_triangle(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    vertices = rng.normal(size=(count * 3, 3))
    faces = np.arange(count * 3).reshape(-1, 3)
    mesh = Mesh(vertices, faces)
    points = rng.normal(size=(8, 3)) * 2
    found = nearest(mesh.bvh, points, np.full(8, 100.0))
    from trimesh.triangles import closest_point

    for i, point in enumerate(points):
        on_each = closest_point(vertices[faces], np.broadcast_to(point, (count, 3)))
        distance = np.linalg.norm(on_each - point, axis=1)
        assert found.distance[i] == pytest.approx(distance.min(), rel=1e-9, abs=1e-12)
        assert np.linalg.norm(found.place[i] - point) == pytest.approx(found.distance[i], abs=1e-12)
    ways = rng.normal(size=(8, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    hit, _ = first_hits(mesh.bvh, points, ways)
    for i in range(8):
        a, b, c = (vertices[faces[:, k]] for k in range(3))
        system = np.stack([b - a, c - a, np.broadcast_to(-ways[i], (count, 3))], axis=2)
        u, v, t = np.linalg.solve(system, (points[i] - a)[..., None])[..., 0].T
        on = (u >= 0) & (v >= 0) & (u + v <= 1) & (t >= 0)
        assert hit[i] == pytest.approx(t[on].min() if on.any() else np.inf, rel=1e-6)
