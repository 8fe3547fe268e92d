"""The sheet that a flat is meant to be: its contours, with broken ones closed where their ends belong together.

An outline with a gap is a fault with a rule of its own. What lies on the sheet can be measured all the
same, once the gap is bridged; without that, every hole would count as a part.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.measure.flat_weld import Floats
from lintsvc.measure.inner_points import inner_points

if TYPE_CHECKING:
    import shapely

    from lintsvc.measure.flat_contours import Contour
    from lintsvc.measure.flat_holes import RoundHole
    from lintsvc.measure.flats import FlatMeasurements


@dataclass(frozen=True, eq=False)
class MeantSheet:
    """`outlines`: rings of what is sheet; `cutouts`: contours cut out of it; `holes`: the round ones.

    `rings`: all rings, outlines and cutouts. `why_not`: why nothing is known of the sheet; else empty.
    """

    rings: tuple[Floats, ...]
    outlines: tuple[Floats, ...]
    cutouts: tuple[Contour, ...]
    holes: tuple[RoundHole, ...]
    why_not: str = ""


def meant_sheet(flat: FlatMeasurements) -> MeantSheet:
    """Return the sheet. Never raises for what is drawn."""
    if flat.trouble:
        return MeantSheet((), (), (), (), flat.trouble)
    bridged = _bridged(flat)
    if bridged:
        return _nested(flat, bridged)
    if not flat.outers:
        return MeantSheet((), (), (), (), "the flat has no closed outline")
    outlines = tuple(x.points for x in flat.contours if x.role != "cutout")
    return MeantSheet(tuple(x.points for x in flat.contours), outlines, flat.cutouts, flat.holes)


def _bridged(flat: FlatMeasurements) -> list[Floats]:
    """Return the rings that broken contours make once their gaps are bridged."""
    broken = [x for x in flat.open_chains if x.kind == "broken"]
    if not broken:
        return []
    import shapely

    lines = [shapely.LineString(x.points) for x in broken]
    lines += [shapely.LineString([gap.start, gap.end]) for x in broken for gap in x.gaps if gap.start != gap.end]
    joined = shapely.union_all(lines)
    faces = shapely.get_parts(shapely.polygonize([joined]))
    whole = shapely.get_parts(shapely.union_all(faces))
    return [shapely.get_coordinates(x.exterior)[:-1] for x in whole]


def _nested(flat: FlatMeasurements, bridged: list[Floats]) -> MeantSheet:
    """Tell outlines from cutouts anew, with the bridged rings among the contours."""
    from lintsvc.measure.flat_holes import round_hole

    rings = [x.points for x in flat.contours] + bridged
    depth = _depths(rings)
    cutouts = tuple(x for x, deep in zip(flat.contours, depth, strict=False) if deep % 2)
    holes = tuple(x for c in cutouts if (x := round_hole(flat.drawing.curves, c)) is not None)
    outlines = tuple(ring for ring, deep in zip(rings, depth, strict=True) if deep % 2 == 0)
    return MeantSheet(tuple(rings), outlines, cutouts, holes)


def _depths(rings: list[Floats]) -> list[int]:
    """Return how many rings lie around each."""
    import shapely

    shapes = shapely.make_valid(np.array([shapely.Polygon(x) for x in rings], object))
    inside = inner_points(shapes)
    area = shapely.area(shapes)
    tree: shapely.STRtree = shapely.STRtree(shapes)
    point, around = tree.query(inside, predicate="within")
    larger = area[around] > area[point]
    return [int(x) for x in np.bincount(point[larger], minlength=len(rings))]
