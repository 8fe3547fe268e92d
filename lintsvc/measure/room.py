"""The box that a part needs, when it may be turned."""

from __future__ import annotations

import numpy as np

from lintsvc.measure.mesh import Floats, Mesh, frame_of

#: Facets of the hull that are tried as the box's bottom, the largest first.
_BOTTOMS = 400
#: Ways of laying the outline that are tried beside those flush with an edge: a long part fits across a diagonal.
_TURNS = np.radians(np.arange(0.0, 90.0, 2.5))


def sides_of_box(mesh: Mesh, room_mm: tuple[float, float, float]) -> tuple[float, float, float]:
    """Return the sides, longest first, of a box around the part that fits best into a room of the given sides.

    Tries the file's axes first. If that does not fit, every facet of the convex hull as the bottom, and the
    outline above it flush with each of its edges and turned by steps. The smallest box of a body has two
    neighbouring sides flush with edges of the hull (J. O'Rourke, 1985), most often one with a facet.
    """
    low, high = mesh.box
    best = _sorted(high - low)
    room = _sorted(np.array(room_mm))
    if (best <= room).all() or not len(mesh):
        return _three(best)
    # Loaded where it is needed: most parts fit as they lie, and SciPy takes a tenth of a second to load.
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
        across = rectangles(corners @ frame_of(normal))
        height = np.full((len(across), 1), np.ptp(corners @ normal))
        sides = -np.sort(-np.concatenate([across, height], axis=1), axis=1)
        worst = (sides / room).max(axis=1)
        k = int(worst.argmin())
        if worst[k] < (best / room).max():
            best = sides[k]
            if worst[k] <= 1:
                break
    return _three(best)


def rectangles(points: Floats) -> Floats:
    """Sides (k, 2) of rectangles around (n, 2) points: flush with each edge of their hull, and turned by steps."""
    from scipy.spatial import ConvexHull

    outline = points[ConvexHull(points).vertices]
    edges = np.roll(outline, -1, axis=0) - outline
    turns = np.concatenate([np.arctan2(edges[:, 1], edges[:, 0]), _TURNS])
    ways = np.stack([np.cos(turns), np.sin(turns)])
    along = np.ptp(outline @ ways, axis=0)
    beside = np.ptp(outline @ np.stack([-ways[1], ways[0]]), axis=0)
    return np.stack([along, beside], axis=1)


def _sorted(sides: Floats) -> Floats:
    result: Floats = -np.sort(-sides)
    return result


def _three(sides: Floats) -> tuple[float, float, float]:
    a, b, c = sides.tolist()
    return (a, b, c)
