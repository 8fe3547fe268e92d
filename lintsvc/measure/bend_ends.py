"""What is cut beside the ends of a bend: reliefs, how wide and how deep they are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.measure.bend_frame import Frame
from lintsvc.measure.bend_zones import BESIDE_MM, BendZone
from lintsvc.model.sheet import Point2

if TYPE_CHECKING:
    from shapely import Polygon

#: Rows looked at beside an end, besides those through corners of the contour.
_ROWS = 24
#: An edge may spread this steeply from the end of a bend (2 = 63°) and still be a plain side of the flange.
_SPREAD = 2.0


@dataclass(frozen=True, slots=True)
class BendEnd:
    """One end of a bent run, and the cut beside it, if any.

    `depth_mm`: how far from the bend line the cut reaches before the sheet beside it holds on to the
    bend; 0: no cut at all; None: deeper than was looked (free). `width_mm`: how wide the cut is there;
    None: nothing stands opposite. The spans are the two ends of each measured distance.
    """

    at: Point2
    depth_mm: float | None
    depth_span: tuple[Point2, Point2] | None
    width_mm: float | None
    width_span: tuple[Point2, Point2] | None


def bend_ends(zone: BendZone, cutouts: Sequence[Polygon] = ()) -> tuple[BendEnd, ...]:
    """Return the ends of a zone's runs, looking as far to each side of the line as a relief should reach.

    Left out: ends of a line that stops inside the sheet (there the line is at fault), and ends between
    two runs at a cutout (that is a window or a hole in the bend, not a relief).
    """
    import shapely

    found = []
    inside = [zone.frame.here(x.end)[0] for x in zone.short]
    for low, high in zone.runs:
        for x, outward, other in ((low, -1.0, high), (high, 1.0, low)):
            if any(abs(x - end) < BESIDE_MM for end in inside):
                continue
            if x not in zone.extent:
                # A run ends where the sheet does in either of two rows: past a rim that slants that is one of them.
                rows = (zone.frame.back(x + outward * BESIDE_MM, y) for y in (BESIDE_MM, 0.0, -BESIDE_MM))
                beyond = shapely.MultiPoint(list(rows))
                if any(cutout.intersects(beyond) for cutout in cutouts):
                    continue
            found.append(_end(zone, x, outward, abs(other - x)))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Row:
    """One row beside an end. `past`: how far the bend's own sheet goes past the end; `gap`: to the next sheet."""

    y: float
    past: float
    gap: float


def _end(zone: BendZone, x: float, outward: float, run: float) -> BendEnd:
    heights = _heights(zone.frame, x, zone.reach_mm)
    rows = {side: [_row(zone.frame, side * y, x, outward, run) for y in heights] for side in (1.0, -1.0)}
    depth: float | None = None
    width: float | None = None
    depth_span = width_span = None
    for side in (1.0, -1.0):
        held = _first_held(rows[side], rows[-side], zone.thickness_mm)
        # Between the last free row and the first held one.
        side_depth = None if held is None else sum(heights[max(0, held - 1) : held + 1]) / min(2, held + 1)
        if side_depth is not None and (depth is None or side_depth < depth):
            depth = 0.0 if side_depth <= BESIDE_MM else side_depth
            depth_span = (zone.frame.back(x, 0.0), zone.frame.back(x, side * depth))
        until = min(zone.half_mm, math.inf if side_depth is None else side_depth)
        cut = [row for row in rows[side] if abs(row.y) < until]
        if not cut or held == 0:
            continue
        # Of rows as wide as the widest, the one nearest to the line: the same however the part is turned.
        most = max(row.gap for row in cut)
        widest = min((row for row in cut if row.gap >= most - 1e-3), key=lambda row: abs(row.y))
        if math.isfinite(widest.gap) and (width is None or widest.gap < width):
            width = widest.gap
            edge = x + outward * widest.past
            width_span = (zone.frame.back(edge, widest.y), zone.frame.back(edge + outward * widest.gap, widest.y))
    return BendEnd(zone.frame.back(x, 0.0), depth, depth_span, width, width_span)


def _heights(near: Frame, x: float, look_mm: float) -> list[float]:
    """Return distances from the line to look at: just before and after each corner, and some in between."""
    ends = near.edges.reshape(-1, 2)
    beside = np.abs(ends[np.abs(ends[:, 0] - x) <= 4 * look_mm, 1])
    corners = beside[beside < look_mm]
    tiny = min(1e-3, BESIDE_MM / 10)
    heights = np.concatenate([corners - tiny, corners + tiny, np.linspace(0, look_mm, _ROWS + 1), [BESIDE_MM / 2]])
    kept = np.unique(np.round(heights[(heights >= BESIDE_MM / 2) & (heights <= look_mm)], 6))
    return [float(y) for y in kept]


def _row(near: Frame, y: float, x: float, outward: float, run: float) -> _Row:
    spans = near.row(y)
    if outward < 0:
        spans = [(-high, -low) for low, high in reversed(spans)]
    end = x * outward
    own = [high for low, high in spans if low < end - BESIDE_MM and high > end - run]
    past = own[-1] - end if own else -math.inf
    beyond = [low for low, _ in spans if low >= end - BESIDE_MM and low > end + past]
    gap = beyond[0] - (end + past) if beyond and own else math.inf
    return _Row(y, past, gap)


def _first_held(rows: Sequence[_Row], opposite: Sequence[_Row], thickness_mm: float) -> int | None:
    """Return the first row where the sheet beside the bend is one with it, not only its slanting side."""
    for i, (row, other) in enumerate(zip(rows, opposite, strict=True)):
        if not math.isfinite(row.past):
            continue
        # A straight side that slants through the end goes out on one side of the line and in on the other.
        spread = row.past + (other.past if math.isfinite(other.past) else 0.0)
        if row.past >= other.past and spread > max(thickness_mm, _SPREAD * abs(row.y)) + BESIDE_MM:
            return i
    return None
