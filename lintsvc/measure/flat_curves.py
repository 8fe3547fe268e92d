"""The curves of a flat that are cut, as arrays: points, true radii, and which entity each came from."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.flat_weld import Floats, Ints
from lintsvc.model.sheet import Arc, Circle, Entity, Line, Point2, Polyline

LINE, ARC, POLYLINE, CIRCLE = range(4)

#: Ends closer than this are one point: well below what any machine resolves. Smaller in tiny drawings.
SAME_POINT_MM = 1e-3
#: Ends closer than this are joined, and the report says so: a gap narrower than the thinnest kerf
#: (0.1 mm, common practice) is not there in the cut part.
JOIN_MM = 0.1
#: An arc's chord may leave the arc by this much where points of it are needed.
ARC_CHORD_MM = 0.005
_MOST_POINTS_AN_ARC = 4096
_FULL_TURN = 1e-9


@dataclass(frozen=True, eq=False)
class Curves:
    """All curves that are cut. Curve c has points[offset[c]:offset[c + 1]]; a circle has none.

    `kind` (k,), `entity` (k,) numbers of entities, `offset` (k + 1,), `points` (n, 2) with both ends,
    `centre` (k, 2), `radius` (k,) mm (0 for lines and polylines), `start` and `sweep` (k,) radians of arcs,
    drawn counter-clockwise.
    """

    kind: NDArray[np.int8]
    entity: Ints
    offset: Ints
    points: Floats
    centre: Floats
    radius: Floats
    start: Floats
    sweep: Floats
    #: Ends within this are one point; ends within `join_mm` are joined.
    same_mm: float
    join_mm: float
    #: How far points of arcs may lie from the arc.
    chord_mm: float
    #: Numbers of entities with a coordinate that is no number; they are left out.
    broken: tuple[int, ...] = ()

    def __len__(self) -> int:
        return len(self.kind)

    def points_of(self, curve: int) -> Floats:
        """Return the (n, 2) points of a curve; of a circle too."""
        if self.kind[curve] == CIRCLE:
            return ring_of_circle(self.centre[curve], float(self.radius[curve]), self.chord_mm)
        return self.points[self.offset[curve] : self.offset[curve + 1]]


def curves_of(entities: Iterable[Entity]) -> Curves:
    """Return the curves of these entities, arcs flattened to within a chord error that is kept."""
    lines: list[tuple[float, float, float, float]] = []
    rounds: list[tuple[float, float, float, float, float]] = []
    polylines: list[tuple[Point2, ...]] = []
    circles: list[tuple[float, float, float]] = []
    owners: tuple[list[int], list[int], list[int], list[int]] = ([], [], [], [])
    for entity in entities:
        for shape in entity.shapes:
            if isinstance(shape, Line):
                lines.append((*shape.start, *shape.end))
                owners[LINE].append(entity.number)
            elif isinstance(shape, Arc) and abs(shape.end_deg - shape.start_deg) < 360.0 - _FULL_TURN:
                rounds.append((*shape.centre, shape.radius_mm, shape.start_deg, shape.end_deg))
                owners[ARC].append(entity.number)
            elif isinstance(shape, (Circle, Arc)):
                circles.append((*shape.centre, shape.radius_mm))
                owners[CIRCLE].append(entity.number)
            elif isinstance(shape, Polyline) and len(shape.points) > 1:
                polylines.append(shape.points)
                owners[POLYLINE].append(entity.number)
    return _arrays(
        np.array(lines, float).reshape(-1, 4),
        np.array(rounds, float).reshape(-1, 5),
        polylines,
        np.array(circles, float).reshape(-1, 3),
        [np.array(x, np.int64) for x in owners],
    )


def _arrays(
    lines: Floats, arcs: Floats, polylines: list[tuple[Point2, ...]], circles: Floats, owners: list[Ints]
) -> Curves:
    broken: set[int] = set()

    def keep(rows: Floats, kind: int, more: NDArray[np.bool_] | None = None) -> Floats:
        good = np.isfinite(rows).all(axis=1) if more is None else np.isfinite(rows).all(axis=1) & more
        broken.update(owners[kind][~good].tolist())
        owners[kind] = owners[kind][good]
        return rows[good]

    lines = keep(lines, LINE)
    arcs = keep(arcs, ARC, arcs[:, 2] > 0)
    circles = keep(circles, CIRCLE, circles[:, 2] > 0)
    runs = [np.array(x, float).reshape(-1, 2) for x in polylines]
    finite = np.array([bool(np.isfinite(x).all()) for x in runs], bool)
    broken.update(owners[POLYLINE][~finite].tolist() if len(runs) else ())
    owners[POLYLINE] = owners[POLYLINE][finite]
    runs = [x for x, good in zip(runs, finite, strict=True) if good]

    start = np.radians(arcs[:, 3])
    sweep = np.radians((arcs[:, 4] - arcs[:, 3]) % 360.0)
    sweep[sweep == 0] = math.tau
    extent = _extent(lines, arcs, runs, circles)
    chord = min(ARC_CHORD_MM, 5e-5 * extent)
    steps = steps_of_arcs(arcs[:, 2], sweep, chord)
    arc_points = _arc_points(arcs, start, sweep, steps)

    lengths = np.array([len(x) for x in runs], np.int64)
    counts = np.concatenate([np.full(len(lines), 2), steps + 1, lengths, np.zeros(len(circles), np.int64)])
    total = len(counts)
    arc_part, circle_part = slice(len(lines), len(lines) + len(arcs)), slice(total - len(circles), total)
    centre, radius = np.zeros((total, 2)), np.zeros(total)
    starts, sweeps = np.zeros(total), np.zeros(total)
    centre[arc_part], radius[arc_part] = arcs[:, :2], arcs[:, 2]
    starts[arc_part], sweeps[arc_part] = start, sweep
    centre[circle_part], radius[circle_part], sweeps[circle_part] = circles[:, :2], circles[:, 2], math.tau
    points = np.concatenate([lines.reshape(-1, 2), arc_points, *runs])
    # Numbers next to nothing make dividing by them overflow.
    points[np.abs(points) < 1e-12] = 0.0
    many = [len(lines), len(arcs), len(runs), len(circles)]
    return Curves(
        kind=np.repeat(np.array([LINE, ARC, POLYLINE, CIRCLE], np.int8), many),
        entity=np.concatenate(owners),
        offset=np.concatenate([[0], np.cumsum(counts)]),
        points=points,
        centre=centre,
        radius=radius,
        start=starts,
        sweep=sweeps,
        same_mm=min(SAME_POINT_MM, 1e-5 * extent) or SAME_POINT_MM,
        join_mm=min(JOIN_MM, 1e-2 * extent) or JOIN_MM,
        chord_mm=chord or ARC_CHORD_MM,
        broken=tuple(sorted(broken)),
    )


def _extent(lines: Floats, arcs: Floats, runs: list[Floats], circles: Floats) -> float:
    """Return the longer side of the box around everything (arcs by their full circles), or 0."""
    rims = np.concatenate([arcs[:, :3], circles])
    corners = [lines.reshape(-1, 2), rims[:, :2] - rims[:, 2:], rims[:, :2] + rims[:, 2:], *runs]
    everything = np.concatenate(corners)
    return float(np.ptp(everything, axis=0).max()) if len(everything) else 0.0


def steps_of_arcs(radius: Floats, sweep: Floats, chord_mm: float) -> Ints:
    """Return into how many equal chords arcs are cut so that none leaves its arc by more than `chord_mm`."""
    # Sagitta s = r (1 - cos(a/2)) for a step a; 2 asin keeps its digits for large radii.
    half = np.sqrt(np.minimum(1.0, np.divide(chord_mm, 2.0 * radius)))
    step = 4.0 * np.arcsin(half)
    least = np.ceil(sweep / (math.pi / 4))
    return np.clip(np.maximum(np.ceil(sweep / np.maximum(step, 1e-12)), least), 1, _MOST_POINTS_AN_ARC).astype(np.int64)


def _arc_points(arcs: Floats, start: Floats, sweep: Floats, steps: Ints) -> Floats:
    which = np.repeat(np.arange(len(arcs)), steps + 1)
    nth = np.arange(len(which)) - np.repeat(np.cumsum(steps + 1) - (steps + 1), steps + 1)
    angle = start[which] + sweep[which] * nth / steps[which] if len(which) else np.zeros(0)
    points: Floats = arcs[which, :2] + arcs[which, 2:3] * np.column_stack([np.cos(angle), np.sin(angle)])
    return points


def ring_of_circle(centre: Floats, radius: float, chord_mm: float) -> Floats:
    """Return (n, 2) points around a circle, the first not repeated."""
    count = int(steps_of_arcs(np.array([radius]), np.array([math.tau]), chord_mm)[0])
    angle = np.arange(count) * (math.tau / count)
    points: Floats = centre + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    return points
