"""From a measured flat to its folded part: which contour bends, and the K-factors that nobody gave."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lintsvc.handbook.bending import k_factor
from lintsvc.measure.fold import Folded, fold
from lintsvc.measure.fold_zones import NotFolded
from lintsvc.model.material import Material
from lintsvc.model.sheet import Bend, Point2

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from lintsvc.measure.flats import FlatMeasurements


def fold_flat(flat: FlatMeasurements, thickness_mm: float | None) -> Folded:
    """Fold the part of a flat that its bend lines lie on, with the bends as the flat has them.

    K-factors that are not given are the handbook's for the material (steel's, where none is chosen). Raises
    NotFolded for a flat without an outline, an unknown thickness, and whatever `fold` refuses.
    """
    if thickness_mm is None or thickness_mm <= 0:
        raise NotFolded("the sheet's thickness is not known")
    outline = outline_of(flat)
    return fold(outline, [with_k(b, thickness_mm, flat.material) for b in flat.bends], thickness_mm)


def with_k(bend: Bend, thickness_mm: float, material: Material | None) -> Bend:
    """Return the bend with the handbook's K-factor where it has none of its own."""
    if bend.k_factor is not None or bend.radius_mm is None:
        return bend
    name, family = (material.id, material.family) if material else ("steel-mild", "steel")
    return replace(bend, k_factor=k_factor(name, bend.radius_mm, thickness_mm, family=family).value)


def outline_of(flat: FlatMeasurements) -> Polygon:
    """Return the outline with its cutouts of the part that the bends lie on; of the largest where there are none.

    Raises NotFolded where no closed outline is there, and where the bends lie on several parts.
    """
    import shapely

    if flat.trouble:
        raise NotFolded(flat.trouble)
    if not flat.outers:
        raise NotFolded("the flat has no closed outline")
    middles = [_middle(b) for b in flat.bends]
    chosen = {
        next((x.number for x in flat.outers if shapely.intersects_xy(x.polygon, *at)), flat.outers[0].number)
        for at in middles
    } or {flat.outers[0].number}
    if len(chosen) > 1:
        raise NotFolded("the bends lie on several parts of one file; fold one part at a time")
    outer = next(x for x in flat.outers if x.number in chosen)
    cutouts = [x.polygon.exterior for x in flat.cutouts if x.parent == outer.number]
    whole = shapely.Polygon(outer.polygon.exterior, cutouts)
    if not whole.is_valid:
        # Cutouts that overlap each other or the edge.
        away = shapely.union_all([shapely.make_valid(shapely.Polygon(c)) for c in cutouts])
        mended = shapely.difference(shapely.make_valid(outer.polygon), away)
        parts = [p for p in shapely.get_parts(mended) if p.geom_type == "Polygon"]
        if not parts:
            raise NotFolded("the outline crosses itself")
        whole = max(parts, key=lambda p: float(p.area))
    return whole


def _middle(bend: Bend) -> Point2:
    return (bend.start[0] + bend.end[0]) / 2, (bend.start[1] + bend.end[1]) / 2
