"""Round holes of exact solids as they were designed: true diameters, whatever triangles stand for them."""

from __future__ import annotations

from typing import Any

import numpy as np
from OCP.TopLoc import TopLoc_Location

from lintsvc.measure.bores import Bore
from lintsvc.measure.mesh import Floats
from lintsvc.measure.solid_holes import StraightHole, straight_holes
from lintsvc.model.body import Body


def exact_bores(body: Body) -> list[Bore]:
    """Return the round holes of a body whose solids are known, each instance of a solid for itself.

    A bore of several widths is one for each of its straight stretches. `faces` are the triangles on the
    faces of the solid that make up the hole.
    """
    exact, patch = body.exact, body.face_patch
    assert patch is not None
    order = np.argsort(patch, kind="stable").astype(np.int32)
    starts = np.searchsorted(patch[order], np.arange(len(exact.faces) + 1))
    known: list[tuple[Any, list[StraightHole]]] = []
    found: list[Bore] = []
    first = 0
    for solid in exact.solids:
        place = solid.Location()
        at_origin = solid.Located(TopLoc_Location())
        holes = next((x for other, x in known if other.IsSame(at_origin)), None)
        if holes is None:
            holes = straight_holes(at_origin)
            known.append((at_origin, holes))
        for hole in holes:
            faces = np.concatenate([order[starts[first + n] : starts[first + n + 1]] for n in hole.faces])
            low, high = _moved(np.stack([hole.low, hole.high]), place)
            found.append(Bore(hole.diameter_mm, low, high, hole.closed, 0, 0.0, np.sort(faces)))
        first += _faces_of(solid)
    return sorted(found, key=lambda x: x.diameter_mm)


def _faces_of(solid: Any) -> int:
    from OCP.TopAbs import TopAbs_FACE

    from lintsvc.readers.step_shapes import explored

    return sum(1 for _ in explored(solid, TopAbs_FACE))


def _moved(points: Floats, place: Any) -> Floats:
    if place.IsIdentity():
        return points
    move = place.Transformation()
    matrix = np.array([[move.Value(row, column) for column in range(1, 5)] for row in range(1, 4)])
    return np.asarray(points @ matrix[:, :3].T + matrix[:, 3])
