"""Panels of a folded flat that run into each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.fold_pose import Floats, inverse, moved
from lintsvc.model.sheet import Point2

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from lintsvc.measure.fold import Folded

#: Panels are shrunk by this all around, so that faces that only touch do not count (mm).
SHRINK_MM = 0.05
#: Less overlap than this is rounding (mm³).
_LEAST_MM3 = 1e-3
#: Holes smaller than this, and than three thicknesses, let no panel through: they are filled, which is what
#: keeps this fast (mm).
_HOLE_MM = 2.0


@dataclass(frozen=True, eq=False)
class PanelCollision:
    """Two panels in one place. `point`: the middle of the overlap; `flat`: that point in the flat, by each panel."""

    panels: tuple[int, int]
    overlap_mm3: float
    point: tuple[float, float, float]
    box: tuple[tuple[float, float, float], tuple[float, float, float]]
    flat: tuple[Point2, Point2]


def collisions(folded: Folded) -> list[PanelCollision]:
    """Return the panels that run into each other, largest overlap first.

    Panels that share a bend are left out: their corners meet by design. Bends themselves are not looked at.
    """
    bodies = [panel_body(p, folded.thickness_mm) for p in folded.panels]
    near = {frozenset((a, b)) for a, b in folded.graph.edges()}
    placed: list[Any] = [
        None if body is None else body.transform(folded.transform_of(i)[:3]) for i, body in enumerate(bodies)
    ]
    found = []
    for i, j in close_pairs(placed):
        if frozenset((i, j)) in near:
            continue
        overlap = placed[i] ^ placed[j]
        if overlap.volume() <= _LEAST_MM3:
            continue
        x0, y0, z0, x1, y1, z1 = (float(v) for v in overlap.bounding_box())
        middle = np.array([[(x0 + x1) / 2, (y0 + y1) / 2, (z0 + z1) / 2]])
        flats = [moved(inverse(folded.transform_of(k)), middle)[0] for k in (i, j)]
        found.append(
            PanelCollision(
                (i, j),
                float(overlap.volume()),
                (float(middle[0, 0]), float(middle[0, 1]), float(middle[0, 2])),
                ((x0, y0, z0), (x1, y1, z1)),
                ((float(flats[0][0]), float(flats[0][1])), (float(flats[1][0]), float(flats[1][1]))),
            )
        )
    return sorted(found, key=lambda x: -x.overlap_mm3)


def close_pairs(bodies: list[Any]) -> list[tuple[int, int]]:
    """Return the pairs whose boxes overlap; None stands for a body that is not there."""
    there = [i for i, body in enumerate(bodies) if body is not None]
    if not there:
        return []
    boxes: NDArray[np.float64] = np.array([bodies[i].bounding_box() for i in there], float)
    low, high = boxes[:, None, :3], boxes[None, :, 3:]
    meet = (low <= high).all(axis=2)
    meet &= meet.T
    return [(there[a], there[b]) for a, b in np.argwhere(np.triu(meet, 1)).tolist()]


def panel_body(panel: Polygon, thickness_mm: float) -> Any:
    """Return a panel as a manifold in the flat, shrunk all around; None where nothing is left of it."""
    import shapely
    from manifold3d import CrossSection, FillRule, Manifold

    least = max(_HOLE_MM, 3 * thickness_mm)
    large = [r for r in panel.interiors if max(np.ptp(shapely.get_coordinates(r), axis=0)) >= least]
    shrunk = shapely.Polygon(panel.exterior, large).buffer(-SHRINK_MM, join_style="mitre")
    height = thickness_mm - 2 * min(SHRINK_MM, thickness_mm / 4)
    rings: list[Floats] = []
    for piece in shapely.orient_polygons(shapely.get_parts(shrunk)):
        if piece.geom_type == "Polygon" and piece.area > 0:
            rings += [shapely.get_coordinates(r)[:-1] for r in shapely.get_rings(piece)]
    if not rings:
        return None
    body = Manifold.extrude(CrossSection(rings, FillRule.Positive), height)
    return body.translate((0.0, 0.0, (thickness_mm - height) / 2))
