"""Flat faces with a thin wall behind them: panels that warp, walls that stand alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.balls import INSIDE, balls
from lintsvc.measure.creases import CREASE_DEG, nearest_segment
from lintsvc.measure.mesh import Floats, Ints, Mesh, frame_of, point3
from lintsvc.measure.patches import Patches, patches
from lintsvc.model.finding import Where

#: Faces within this turn, edge by edge, are flat together, if the whole stays flat.
_FLAT_DEG = 1.0
#: The flattest faces of that area or more are looked at, the largest first, so many of them.
_AREA_MM2 = 100.0
_MOST = 300
#: Points a face.
_POINTS = 160
#: Both sides of a panel are parallel to within 6 degrees.
_PARALLEL = -0.9945
#: So much of the face has the thin wall behind it, of one thickness to within a quarter; the rest may be ribs and
#: bosses. A wing, which thins out toward both its edges, is no panel.
_SHARE = 0.6
_UNEVEN = 0.25
#: What holds a wall stands out from it by more than so many of its thicknesses, along this share of its lesser side.
_STANDS_OUT = 1.0
_ALONG = 0.25
_MANY = 5000
#: Faces in one plane are level to within this share of the wall's thickness, and parallel to within half a degree. At
#: the foot of a rib the surface turns by more than this.
_LEVEL = 0.02
_COPLANAR = np.cos(np.radians(0.5))
_HOLLOW_DEG = 10.0
#: So many faces are gone over in search of where a rib ends.
_FAR = 200

#: Smooth stretches of surface: the stretch of each face, the faces in order of stretches, and where each begins.
Smooth = tuple[Ints, NDArray[np.intp], NDArray[np.intp]]


@dataclass(frozen=True, eq=False)
class Panel:
    """A flat wall of even thickness.

    `length_mm`, `breadth_mm`: extents of the face. `reach_mm`: how far the farthest point is from where the wall is
    held by other material; 0 for a wall that nothing holds. `free`: it has a free rim. `span`: from there to there.
    """

    thickness_mm: float
    length_mm: float
    breadth_mm: float
    reach_mm: float
    free: bool
    middle: Floats
    span: tuple[Floats, Floats]
    faces: Ints
    box: tuple[Floats, Floats]

    def where(self) -> Where:
        """The place as a finding shows it: the farthest point from a hold, or the middle."""
        span = (point3(self.span[0]), point3(self.span[1]))
        point = span[0] if self.reach_mm > 0 else point3(self.middle)
        box = (point3(self.box[0]), point3(self.box[1]))
        return Where(point=point, box=box, faces=tuple(self.faces.tolist()), span=span)


def find_panels(mesh: Mesh, thickest_mm: float) -> list[Panel]:
    """Return the flat walls up to `thickest_mm` thick, the largest first."""
    if not len(mesh):
        return []
    flats = patches(mesh, _FLAT_DEG)
    area = np.bincount(flats.label, weights=mesh.areas, minlength=flats.count)
    large = np.flatnonzero(area >= _AREA_MM2)
    large = large[np.argsort(-area[large], kind="stable")][:_MOST]
    groups = flats.groups()
    smooth = patches(mesh, CREASE_DEG)
    stretches = (smooth.label, *smooth.groups())
    seen: set[int] = set()
    found = []
    for p in large.tolist():
        if p in seen:
            continue
        panel, behind = _panel(mesh, flats, groups, stretches, p, thickest_mm)
        # The other side of a panel is the same panel.
        seen |= behind
        if panel is not None:
            found.append(panel)
    return sorted(found, key=lambda x: -x.length_mm * x.breadth_mm)


def _panel(
    mesh: Mesh,
    flats: Patches,
    groups: tuple[NDArray[np.intp], NDArray[np.intp]],
    smooth: Smooth,
    patch: int,
    thickest_mm: float,
) -> tuple[Panel | None, set[int]]:
    """Measure the wall behind one flat face; also which faces are its other side."""
    faces = _faces_of(groups, {patch})
    weight = mesh.areas[faces]
    normal = weight @ mesh.normals[faces]
    length = np.linalg.norm(normal)
    if length < 0.99 * weight.sum():
        return None, set()
    normal /= length
    corners = mesh.vertices[np.unique(mesh.faces[faces])]
    if np.ptp(corners @ normal) > 0.1 * thickest_mm:
        return None, set()
    points = _spread(mesh, faces)
    ways = np.broadcast_to(normal, points.shape).copy()
    found = balls(mesh.bvh, points, ways, 1.3 * thickest_mm, INSIDE)
    thin = (found.face >= 0) & (found.width < thickest_mm)
    thin &= np.einsum("ij,j->i", mesh.normals[found.face], normal) < _PARALLEL
    if thin.mean() < _SHARE:
        return None, set()
    thickness = float(np.median(found.width[thin]))
    if (thin & (np.abs(found.width - thickness) < _UNEVEN * thickness)).mean() < _SHARE:
        return None, set()
    behind = {int(x) for x in np.unique(flats.label[found.face[thin]])}
    front = _over_low_ribs(mesh, flats, groups, {patch}, normal, thickness)
    behind = _over_low_ribs(mesh, flats, groups, behind, -normal, thickness)
    if len(front) > 1:
        faces = _faces_of(groups, front)
        corners = mesh.vertices[np.unique(mesh.faces[faces])]
    sides = np.concatenate([faces, _faces_of(groups, behind)])
    extents = _least_rectangle(mesh.vertices[_border(mesh, flats, faces)] @ frame_of(normal))
    held, free = _rims(mesh, flats, smooth, sides, [*front, *behind], normal, thickness, float(extents.min()))
    # The corners too: the farthest point of a wall is on its rim.
    reach, far, hold = _farthest(mesh, np.concatenate([points[thin], corners]), held)
    i = int(np.flatnonzero(thin)[0])
    span = (points[i], found.contact[i]) if reach == 0 else (far, hold)
    return (
        Panel(
            thickness,
            float(extents.max()),
            float(extents.min()),
            reach,
            free,
            points.mean(axis=0),
            span,
            np.sort(sides).astype(np.int32),
            (corners.min(axis=0), corners.max(axis=0)),
        ),
        front | behind,
    )


def _faces_of(groups: tuple[NDArray[np.intp], NDArray[np.intp]], chosen: set[int]) -> Ints:
    """All faces of some patches."""
    order, starts = groups
    faces: Ints = np.concatenate([order[starts[x] : starts[x + 1]] for x in sorted(chosen)]).astype(np.int32)
    return faces


def _over_low_ribs(
    mesh: Mesh,
    flats: Patches,
    groups: tuple[NDArray[np.intp], NDArray[np.intp]],
    mine: set[int],
    normal: Floats,
    thickness: float,
) -> set[int]:
    """One side of a wall as a whole: its patches, and those in their plane that only low ribs and steps part from
    them. Ribs on both faces would else make two walls of it, of which the upper stands on nothing but the ribs."""
    faces = _faces_of(groups, mine)
    level = mesh.vertices[mesh.faces[faces].ravel()] @ normal
    low, high = level.min() - _LEVEL * thickness, level.max() + _STANDS_OUT * thickness
    reached = np.zeros(len(mesh), bool)
    reached[faces] = True
    # The surface turns hollow at the foot of a rib.
    edges = (3 * faces[:, None] + np.arange(3)).ravel()
    edges = edges[(flats.turn[edges] > _HOLLOW_DEG) & (mesh.mates[edges] >= 0)]
    beyond = np.unique(mesh.mates[edges] // 3)
    for _ in range(_FAR):
        beyond = beyond[~reached[beyond]]
        height = mesh.vertices[mesh.faces[beyond]] @ normal
        rim = beyond[((height > low) & (height < high)).all(axis=1)]
        if not len(rim):
            break
        reached[rim] = True
        mates = mesh.mates[(3 * rim[:, None] + np.arange(3)).ravel()]
        beyond = np.unique(mates[mates >= 0] // 3)
    numbers = np.flatnonzero(reached)
    height = mesh.vertices[mesh.faces[numbers]] @ normal
    flat = (mesh.normals[numbers] @ normal > _COPLANAR) & (height < level.max() + _LEVEL * thickness).all(axis=1)
    return mine | {int(x) for x in np.unique(flats.label[numbers[flat]])}


def _border(mesh: Mesh, flats: Patches, faces: Ints) -> Ints:
    """Vertices on the outline of one flat face."""
    edges = (3 * faces[:, None] + np.arange(3)).ravel()
    mate = mesh.mates[edges]
    edges = edges[(mate < 0) | (flats.label[np.maximum(mate, 0) // 3] != flats.label[faces[0]])]
    vertices: Ints = mesh.faces[edges // 3, edges % 3]
    return vertices


def _least_rectangle(points: Floats) -> Floats:
    """Sides of the smallest rectangle around (n, 2) points, by turning it in ever smaller steps."""
    best, turn, step = np.zeros(2), 0.0, np.radians(3.0)
    for turns in (np.arange(0.0, np.pi / 2, step), *(np.linspace(-1.0, 1.0, 21) * step / 10**k for k in range(3))):
        angle = turn + turns
        ways = np.stack([np.cos(angle), np.sin(angle)])
        sides = [np.ptp(points @ w, axis=0) for w in (ways, np.stack([-ways[1], ways[0]]))]
        i = int(np.argmin(sides[0] * sides[1]))
        best, turn = np.array([sides[0][i], sides[1][i]]), float(angle[i])
    return best


def _lattice(count: int) -> tuple[Floats, Floats, Floats]:
    """Shares (n,) of an area, and coordinates (n, 1) in a triangle on a lattice that never meets itself."""
    turn = np.arange(count)
    u = (0.5 + 0.7548776662466927 * (turn + 1)) % 1.0
    v = (0.5 + 0.5698402909980532 * (turn + 1)) % 1.0
    over = u + v > 1
    return (turn + 0.5) / count, np.where(over, 1 - u, u)[:, None], np.where(over, 1 - v, v)[:, None]


#: Where the points of any face are: how much of its area is passed there, and where in the triangle.
_PASSED, _U, _V = _lattice(_POINTS)


def _spread(mesh: Mesh, faces: Ints) -> Floats:
    """Points over some faces, evenly by area, on a lattice that never meets itself."""
    passed = np.cumsum(mesh.areas[faces])
    on = faces[np.minimum(np.searchsorted(passed, _PASSED * passed[-1]), len(faces) - 1)]
    a, b, c = (mesh.vertices[mesh.faces[on, k]] for k in range(3))
    points: Floats = a + _U * (b - a) + _V * (c - a)
    return points


def _rims(
    mesh: Mesh,
    flats: Patches,
    smooth: Smooth,
    faces: NDArray[np.intp],
    mine: list[int],
    normal: Floats,
    thickness: float,
    breadth: float,
) -> tuple[NDArray[np.intp], bool]:
    """Half-edges at which other material holds the wall, and whether it has a free rim.

    The surface turns hollow there. A low step, as of raised letters, or a small boss does not hold: what does
    stands out by more than the wall is thick, along a good part of it. Where nothing does so along enough of the wall,
    it hangs on what there is.
    """
    edges = (3 * faces[:, None] + np.arange(3)).ravel()
    edges = edges[mesh.mates[edges] >= 0]
    edges = edges[~np.isin(flats.label[mesh.mates[edges] // 3], mine)]
    turn = flats.turn[edges]
    hollow, free = edges[turn > 0], bool((turn < 0).any())
    if not len(hollow):
        return hollow, free
    # Smooth stretches: what follows after a fillet counts with it.
    label, order, starts = smooth
    beyond = label[mesh.mates[hollow] // 3]
    stands_out, along = np.zeros(len(hollow), bool), np.zeros(len(hollow), bool)
    for number in np.unique(beyond).tolist():
        here = beyond == number
        stretch = order[starts[number] : starts[number + 1]]
        # Of a stretch of very many faces some show how far it reaches.
        height = mesh.vertices[mesh.faces[stretch[:: 1 + len(stretch) // _MANY]].ravel()] @ normal
        at = mesh.vertices[mesh.faces[hollow[here] // 3, hollow[here] % 3]]
        to = mesh.vertices[mesh.faces[hollow[here] // 3, (hollow[here] % 3 + 1) % 3]]
        ends = np.concatenate([at, to])
        level = ends @ normal
        stands_out[here] = max(height.max() - level.max(), level.min() - height.min()) > _STANDS_OUT * thickness
        along[here] = np.linalg.norm(np.ptp(ends, axis=0)) >= _ALONG * breadth
    good = stands_out & along
    chosen = good if good.any() else stands_out
    return (hollow[chosen] if chosen.any() else hollow), free


def _farthest(mesh: Mesh, points: Floats, held: NDArray[np.intp]) -> tuple[float, Floats, Floats]:
    """The point farthest from where the wall is held: the distance, the point, and the hold nearest to it."""
    if not len(held):
        return 0.0, points[0], points[0]
    a = mesh.vertices[mesh.faces[held // 3, held % 3]]
    b = mesh.vertices[mesh.faces[held // 3, (held % 3 + 1) % 3]]
    distance, edge = nearest_segment(a, b, points, np.full(len(points), mesh.size + 1.0))
    i = int(distance.argmax())
    along = b[edge[i]] - a[edge[i]]
    t = np.clip(((points[i] - a[edge[i]]) @ along) / max(float(along @ along), 1e-300), 0.0, 1.0)
    return float(distance[i]), points[i], a[edge[i]] + t * along
