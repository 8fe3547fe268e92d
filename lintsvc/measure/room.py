"""The box that a part needs, when it may be turned."""

from __future__ import annotations

import numpy as np

from lintsvc.measure.mesh import Floats, Mesh

#: Facets of the hull that are tried as the box's bottom, the largest first.
_BOTTOMS = 400


def sides_of_box(mesh: Mesh, room_mm: tuple[float, float, float]) -> tuple[float, float, float]:
    """Return the sides, longest first, of a box around the part that fits best into a room of the given sides.

    Tries the file's axes first. If that does not fit, every facet of the convex hull as the bottom, with
    a side along each edge of the outline: the smallest box has a face on the hull (J. O'Rourke, 1985,
    shows that an optimal box has two adjacent faces flush with edges; a flush facet is the usual case).
    """
    low, high = mesh.box
    best = _sorted(high - low)
    room = _sorted(np.array(room_mm))
    if (best <= room).all() or not len(mesh):
        return _three(best)
    from scipy.spatial import ConvexHull, QhullError

    try:
        hull = ConvexHull(mesh.vertices)
    except QhullError:
        # A flat or empty cloud of points has no hull with a volume.
        return _three(best)
    corners = mesh.vertices[hull.vertices]
    triangles = mesh.vertices[hull.simplices]
    area = np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1)
    _, unique = np.unique(np.round(np.abs(hull.equations[:, :3]), 5), axis=0, return_index=True)
    for i in unique[np.argsort(-area[unique], kind="stable")][:_BOTTOMS]:
        normal = hull.equations[i, :3]
        across = np.cross(normal, np.eye(3)[np.abs(normal).argmin()])
        across /= np.linalg.norm(across)
        flat = corners @ np.stack([across, np.cross(normal, across)], axis=1)
        height = float(np.ptp(corners @ normal))
        outline = flat[ConvexHull(flat).vertices]
        edges = np.roll(outline, -1, axis=0) - outline
        edges = edges[np.linalg.norm(edges, axis=1) > 0]
        edges /= np.linalg.norm(edges, axis=1)[:, None]
        along = np.ptp(outline @ edges.T, axis=0)
        beside = np.ptp(outline @ np.stack([-edges[:, 1], edges[:, 0]]), axis=0)
        sides = -np.sort(-np.stack([along, beside, np.full(len(along), height)], axis=1), axis=1)
        worst = (sides / room).max(axis=1)
        k = int(worst.argmin())
        if worst[k] < (best / room).max():
            best = sides[k]
            if worst[k] <= 1:
                break
    return _three(best)


def _sorted(sides: Floats) -> Floats:
    result: Floats = -np.sort(-sides)
    return result


def _three(sides: Floats) -> tuple[float, float, float]:
    a, b, c = sides.tolist()
    return (a, b, c)
