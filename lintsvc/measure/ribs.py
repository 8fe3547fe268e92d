"""Whether a wall that is near its rim everywhere is a rib, higher than wide, or only a detail on a face."""

from __future__ import annotations

import numpy as np

from lintsvc.measure.mesh import Floats, Mesh, frame_of
from lintsvc.measure.rays import first_hits
from lintsvc.measure.widths import Widths

#: What is up to so many times as high as wide is a detail.
_AS_HIGH = 1.1
#: The sides of a rib open by at most fifteen degrees: it may have a draft of seven a side; those of a belt wheel's
#: teeth open by more.
_UPRIGHT = -np.cos(np.radians(15.0))
#: Its height is the same, within this factor, over a quarter of its points at least; by its ends they look along it.
_EVEN = 1.3
#: So many points of a place are looked at, and so many directions from each.
_POINTS = 24
_DIRECTIONS = 24
#: Both are met squarely within 25 degrees.
_SQUARE = np.cos(np.radians(25.0))
#: The foot is looked for so far beside the side of the rib, in its widths.
_BESIDE = 0.25


def is_rib(mesh: Mesh, points: Widths, width_mm: float) -> bool:
    """Whether the points of a place are on a rib higher than wide; outside, on a groove deeper than wide."""
    # Points on the sharp corner at the foot of a rib look aslant.
    some = points.take(np.flatnonzero(points.area > 0))
    if not len(some) or np.median(some.opposed) > _UPRIGHT:
        return False
    some = some.take(np.linspace(0, len(some) - 1, min(len(some), _POINTS)).astype(np.intp))
    low, usual = np.percentile(_heights(mesh, some), (25, 50), method="lower")
    return bool(np.isfinite(usual) and usual <= _EVEN * low and usual > _AS_HIGH * width_mm)


def _heights(mesh: Mesh, points: Widths) -> Floats:
    """Height (n,) at each point, from the face at the foot of a rib to its top, from brim to bottom of a groove.

    From the middle of the width to the top, and the other way, beside the rib, to the foot, in the direction that
    meets both squarely: at the end of a short rib another face is nearer than its top.
    """
    turns = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    frames = np.stack([frame_of(x) for x in points.normal])
    ways: Floats = frames[:, None, :, 0] * np.cos(turns)[:, None] + frames[:, None, :, 1] * np.sin(turns)[:, None]
    ways = ways.reshape(-1, 3)
    from_middle = np.repeat(points.centres(), _DIRECTIONS, axis=0)
    beside = points.point - points.side * points.normal * (_BESIDE * points.raw)[:, None]
    to_top, top = first_hits(mesh.bvh, from_middle, ways)
    to_foot, foot = first_hits(mesh.bvh, np.repeat(beside, _DIRECTIONS, axis=0), -ways)
    both = to_top + to_foot
    square = (top >= 0) & (foot >= 0)
    for face in (top, foot):
        square &= np.abs(np.einsum("ij,ij->i", mesh.normals[face], ways)) > _SQUARE
    upright = np.where(square, both, np.inf).reshape(len(points), -1).min(axis=1)
    nearest = to_top.reshape(len(points), -1).argmin(axis=1)
    # Where the foot or the top is rounded, no direction meets both squarely: the nearest face is taken for the top.
    heights: Floats = np.where(
        np.isfinite(upright), upright, both.reshape(len(points), -1)[np.arange(len(points)), nearest]
    )
    return heights
