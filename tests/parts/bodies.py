"""Analytic bodies for tests: shapes whose thickness, gap or place is known by a formula.

Every generator returns (vertices (n, 3), faces (m, 3)), closed and wound outward; `body` makes a Body of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.body import Body

Floats = NDArray[np.float64]
Mesh = tuple[Floats, NDArray[np.int64]]


def body(mesh: Mesh, *, single: bool = True, shared: bool = False) -> Body:
    """As a reader would give it: three corners a face in float32 like an STL, or shared vertices in float64."""
    vertices, faces = mesh
    if shared:
        return Body(vertices.astype(np.float64), faces.astype(np.int32))
    corners = vertices[faces].reshape(-1, 3)
    numbers = np.arange(len(corners), dtype=np.int32).reshape(-1, 3)
    return Body(corners.astype(np.float32 if single else np.float64), numbers, single_precision=single)


def patch(points: Floats, *, wrap: bool = False, flip: bool = False) -> Mesh:
    """Two triangles for each cell of a (rows, columns, 3) grid of points; `wrap` joins the last row to the first."""
    rows, columns = points.shape[:2]
    i, j = np.meshgrid(np.arange(rows if wrap else rows - 1), np.arange(columns - 1), indexing="ij")
    a, b = i * columns + j, ((i + 1) % rows) * columns + j
    quads = np.stack([a, b, b + 1, a + 1], axis=-1).reshape(-1, 4)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return points.reshape(-1, 3), faces[:, ::-1] if flip else faces


def join(*meshes: Mesh) -> Mesh:
    """All meshes as one, nothing welded."""
    vertices = np.concatenate([v for v, _ in meshes])
    starts = np.cumsum([0, *(len(v) for v, _ in meshes)])
    return vertices, np.concatenate([f + start for (_, f), start in zip(meshes, starts, strict=False)])


def clean(mesh: Mesh) -> Mesh:
    """Vertices on one place merged, faces without area dropped."""
    vertices, faces = mesh
    _, first, place = np.unique(np.round(vertices, 9), axis=0, return_index=True, return_inverse=True)
    faces = place.reshape(-1)[faces]
    kept = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return vertices[first], faces[kept]


def inward(mesh: Mesh) -> Mesh:
    """The mesh turned inside out."""
    return mesh[0], mesh[1][:, ::-1]


def box(size: tuple[float, float, float], cells: tuple[int, int, int] = (1, 1, 1)) -> Mesh:
    """A box about the origin, each side a grid."""
    sides = []
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        steps = [np.linspace(-0.5, 0.5, cells[k] + 1) for k in (u, v)]
        grid = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1)
        for end in (-0.5, 0.5):
            points = np.zeros((*grid.shape[:2], 3))
            points[..., u], points[..., v], points[..., axis] = grid[..., 0], grid[..., 1], end
            sides.append(patch(points * size, flip=end < 0))
    return clean(join(*sides))


def plate(thickness: float, size: tuple[float, float] = (40.0, 30.0), cells: int = 1) -> Mesh:
    """A flat plate."""
    return box((size[0], size[1], thickness), (cells, cells, 1))


def taper(thin: float, thick: float, length: float = 40.0, width: float = 20.0, cells: int = 1) -> Mesh:
    """A plate that thickens along x from 0 to `length`; its foot is flat at z = 0."""
    vertices, faces = box((length, width, 1.0), (cells, cells, 1))
    x = vertices[:, 0] + length / 2
    top = vertices[:, 2] > 0
    return np.column_stack([x, vertices[:, 1], np.where(top, thin + (thick - thin) * x / length, 0.0)]), faces


def wedge(angle_deg: float, length: float = 20.0, width: float = 20.0, cells: int = 1) -> Mesh:
    """A prism that runs out to a sharp edge along y at x = 0, z = 0; its foot is flat at z = 0."""
    return clean(taper(0.0, length * np.tan(np.radians(angle_deg)), length, width, cells))


def sphere(radius: float, splits: int) -> Mesh:
    """An icosahedron split so many times, its corners on the sphere."""
    g = (1 + 5**0.5) / 2
    rectangle = np.array([[-1, g, 0], [1, g, 0], [-1, -g, 0], [1, -g, 0]])
    # Three golden rectangles at right angles hold the twelve corners.
    vertices = np.concatenate([np.roll(rectangle, k, axis=1) for k in range(3)])
    # Faces of the convex hull of the 12 corners: the triples at edge length 2, wound outward.
    near = np.linalg.norm(vertices[:, None] - vertices[None], axis=2) < 2.1
    faces = np.array(
        [
            (a, b, c)
            for a in range(12)
            for b in range(12)
            for c in range(12)
            if a < b
            and a < c
            and b != c
            and near[a, b]
            and near[b, c]
            and near[c, a]
            and np.linalg.det(vertices[[a, b, c]]) > 0
        ]
    )
    mesh = (vertices, faces)
    for _ in range(splits):
        mesh = split(mesh)
    return mesh[0] / np.linalg.norm(mesh[0], axis=1)[:, None] * radius, mesh[1]


def split(mesh: Mesh) -> Mesh:
    """Each triangle into four, over the middles of its edges."""
    vertices, faces = mesh
    corners = vertices[faces]
    middles = (corners + np.roll(corners, -1, axis=1)) / 2
    points = np.concatenate([corners, middles], axis=1)
    pattern = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])
    new = (np.arange(len(faces))[:, None, None] * 6 + pattern).reshape(-1, 3)
    return clean((points.reshape(-1, 3), new))


def shell(radius: float, thickness: float, splits: int) -> Mesh:
    """A hollow sphere."""
    return join(sphere(radius, splits), inward(sphere(radius - thickness, splits)))


def rounded_box(size: tuple[float, float, float], radius: float, facets: int) -> Mesh:
    """A box about the origin, every edge rounded by so many facets a quarter; the corners are pieces of a ball."""
    half = np.array(size) / 2 - radius
    quarter = np.linspace(0, np.pi / 2, facets + 1)
    height = np.concatenate([quarter - np.pi / 2, quarter])
    turn = np.concatenate([quarter + k * np.pi / 2 for k in range(4)])
    turn = np.append(turn, turn[0])
    signs = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1], [1, 1]])[np.append(np.repeat(np.arange(4), facets + 1), 4)]
    grid = np.empty((len(turn), len(height), 3))
    round_part = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    grid[..., :2] = radius * np.cos(height)[None, :, None] * round_part[:, None] + (signs * half[:2])[:, None]
    grid[..., 2] = radius * np.sin(height) + np.repeat([-1, 1], facets + 1) * half[2]
    flat = np.array([[[-1.0, -1.0], [-1.0, 1.0]], [[1.0, -1.0], [1.0, 1.0]]])
    ends = [
        patch(np.concatenate([flat * half[:2], np.full((2, 2, 1), side * size[2] / 2)], axis=2), flip=side < 0)
        for side in (-1, 1)
    ]
    return clean(join(patch(grid), *ends))


def hollow_rounded_box(wall: float, radius: float, facets: int) -> Mesh:
    """A closed hollow box of 30 x 24 x 16 mm, its wall the same round its edges: `radius` is the outer one."""
    inner = (30 - 2 * wall, 24 - 2 * wall, 16 - 2 * wall)
    return join(rounded_box((30.0, 24.0, 16.0), radius, facets), inward(rounded_box(inner, radius - wall, facets)))


def _ring(radius: float, segments: int, turn: float, heights: Floats) -> Floats:
    angle = 2 * np.pi * (np.arange(segments) + turn) / segments
    circle = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    grid = np.empty((segments, len(heights), 3))
    grid[..., :2], grid[..., 2] = circle[:, None], heights
    return grid


def _annulus(outer: Floats, inner: Floats, *, up: bool) -> Mesh:
    """The flat ring between two circles of as many points."""
    return patch(np.stack([outer, inner], axis=1), wrap=True, flip=not up)


def tube(
    radius: float, thickness: float, height: float = 30.0, segments: int = 96, turn: float = 0.0, rows: int = 4
) -> Mesh:
    """A pipe, open at both ends. `turn`: how far the inner polygon is turned against the outer, in segments."""
    heights = np.linspace(0.0, height, rows + 1)
    outer = _ring(radius, segments, 0.0, heights)
    inner = _ring(radius - thickness, segments, turn, heights)
    return clean(
        join(
            patch(outer, wrap=True),
            patch(inner, wrap=True, flip=True),
            _annulus(outer[:, -1], inner[:, -1], up=True),
            _annulus(outer[:, 0], inner[:, 0], up=False),
        )
    )


def rod(diameter: float, height: float = 20.0, segments: int = 32, rows: int = 4) -> Mesh:
    """An upright round pin, its corners on the circle."""
    side = _ring(diameter / 2, segments, 0.0, np.linspace(0.0, height, rows + 1))
    ends = [np.broadcast_to(np.array([0.0, 0.0, z]), (segments, 3)) for z in (0.0, height)]
    return clean(
        join(patch(side, wrap=True), _annulus(side[:, -1], ends[1], up=True), _annulus(side[:, 0], ends[0], up=False))
    )


def two_boxes(gap: float, side: float = 20.0, cells: int = 1) -> Mesh:
    """Two separate cubes with a parallel gap between them, across x = 0."""
    cube = box((side, side, side), (cells, cells, cells))
    shift = np.array([(side + gap) / 2, 0.0, 0.0])
    return join((cube[0] - shift, cube[1]), (cube[0] + shift, cube[1]))


def pin_in_bore(diameter: float, clearance: float, height: float = 20.0, segments: int = 96) -> Mesh:
    """A loose round pin in a round sleeve, `clearance` all round."""
    sleeve = tube(diameter / 2 + clearance + 3, 3, height, segments)
    return join(rod(diameter, height, segments), sleeve)


def moved(mesh: Mesh, by: tuple[float, float, float]) -> Mesh:
    """The mesh somewhere else."""
    return mesh[0] + np.array(by), mesh[1]


def rotation(seed: int) -> Floats:
    """A rotation matrix, any, by number."""
    q, r = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    if np.linalg.det(q) < 0:
        q[:, 0] = -q[:, 0]
    return q


def turned(mesh: Mesh, seed: int) -> Mesh:
    """The mesh turned about the origin."""
    return mesh[0] @ rotation(seed).T, mesh[1]


def shuffled(mesh: Mesh, seed: int) -> Mesh:
    """The same faces in another order, each begun at another corner."""
    rng = np.random.default_rng(seed)
    faces = mesh[1][rng.permutation(len(mesh[1]))]
    shift = (np.arange(3) + rng.integers(0, 3, (len(faces), 1))) % 3
    return mesh[0], np.take_along_axis(faces, shift, axis=1)
