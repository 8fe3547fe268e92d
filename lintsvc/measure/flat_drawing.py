"""From a sheet's entities to its contours and everything that stops a line from being one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lintsvc.measure.flat_branches import Untangled, untangle
from lintsvc.measure.flat_chains import Chains, Gap, chains_of, end_points, joints
from lintsvc.measure.flat_contours import Contour, SameLoop, contours_of
from lintsvc.measure.flat_crossings import Meetings, meetings_of
from lintsvc.measure.flat_curves import CIRCLE, Curves, curves_of
from lintsvc.measure.flat_duplicates import stand_ins
from lintsvc.measure.flat_open import Lines, OpenChain, open_chains_of
from lintsvc.measure.flat_rings import Rings, points_of_runs, rings_of
from lintsvc.measure.flat_segments import TooTangled, segments_of
from lintsvc.measure.flat_weld import Ints, weld
from lintsvc.model.sheet import Entity

#: Ends taken as one point are spoken of when they differ by more than this share of the tolerance.
SAID_SHARE = 0.1
_NO_RINGS = Rings(np.zeros((0, 2)), np.zeros(0, np.int64), np.zeros(1, np.int64))
_NO_MEETINGS = Meetings(np.zeros((0, 2), np.int64), np.zeros(0, np.int8), np.zeros((0, 2)), np.zeros((0, 2, 2)), False)


@dataclass(frozen=True, eq=False)
class Drawing:
    """What the cut lines of a flat make.

    `copies`: (curve kept, copy) pairs. `same_loops`: loops that repeat another, drawn otherwise.
    `gaps`: ends that were joined, or that differ by a hair. `meetings`: where curves cross, touch or overlap.
    `trouble`: why no contours could be worked out; empty when they could.
    """

    curves: Curves
    contours: tuple[Contour, ...]
    open_chains: tuple[OpenChain, ...]
    copies: tuple[tuple[int, int], ...]
    same_loops: tuple[SameLoop, ...]
    gaps: tuple[Gap, ...]
    meetings: Meetings
    #: Curves that hang on a node where more than two ends meet, and those nodes' places (n, 2).
    tangled: Ints
    branches: tuple[tuple[float, float], ...]
    #: Curves without length that join nothing.
    specks: Ints
    trouble: str = ""


def draw(entities: list[Entity]) -> Drawing:
    """Work out what these entities' curves make. Never raises for what is drawn."""
    curves = curves_of(entities)
    ends = end_points(curves)
    labels, _ = weld(ends.reshape(-1, 2), curves.same_mm)
    nodes = labels.reshape(-1, 2)
    instead = stand_ins(curves, nodes)
    kept = np.flatnonzero(instead == np.arange(len(curves)))
    copies = np.flatnonzero(instead != np.arange(len(curves)))
    chains = chains_of(curves, kept, nodes)
    meetings, trouble = _meetings(curves, kept, chains)
    contours: tuple[Contour, ...] = ()
    same_loops: tuple[SameLoop, ...] = ()
    open_chains: tuple[OpenChain, ...] = ()
    if not trouble:
        untangled, loose = _untangle(curves, chains, meetings, instead[copies])
        rings = rings_of(curves, chains.loops)
        if len(untangled.rings):
            rings = Rings(
                np.concatenate([rings.points, untangled.rings.points]),
                np.concatenate([rings.curve, untangled.rings.curve]),
                np.concatenate([rings.offset, untangled.rings.offset[1:] + rings.offset[-1]]),
            )
        circles = kept[curves.kind[kept] == CIRCLE]
        joined = {c for gap in chains.gaps for c in gap.curves}  # not the hair-wide ones of _gaps
        try:
            contours, same_loops = contours_of(curves, rings, circles, joined, meetings.curves)
        except TooTangled as error:
            trouble = f"The contours lie in each other without end: {error}."
        else:
            open_chains = open_chains_of(curves, loose + list(untangled.loose), list(untangled.inner), contours)
    return Drawing(
        curves=curves,
        contours=contours,
        open_chains=open_chains,
        copies=tuple(zip(instead[copies].tolist(), copies.tolist(), strict=True)),
        same_loops=same_loops,
        gaps=() if trouble else _gaps(curves, chains),
        meetings=meetings,
        tangled=chains.tangled,
        branches=_branches(curves, chains),
        specks=_lone_specks(chains, kept),
        trouble=trouble,
    )


def _meetings(curves: Curves, kept: Ints, chains: Chains) -> tuple[Meetings, str]:
    whole = np.setdiff1d(kept, chains.specks)
    segments = segments_of(curves, whole, chains.nodes)
    try:
        found = meetings_of(curves, whole, segments)
    except TooTangled as error:
        return _NO_MEETINGS, f"The cut lines cannot be sorted out: {error}."
    if found.more:
        return found, f"The cut lines cannot be sorted out: they cross or touch at more than {len(found):,} places."
    return found, ""


def _untangle(curves: Curves, chains: Chains, meetings: Meetings, twice: Ints) -> tuple[Untangled, Lines]:
    """Look for loops among tangled curves and open runs that meet others; return them and the other open runs."""
    loose_ones = np.zeros(len(curves), bool)
    loose_ones[chains.tangled] = loose_ones[chains.open_runs.curve] = True
    among = loose_ones[meetings.curves].all(axis=1)
    meeting = np.zeros(len(curves), bool)
    meeting[meetings.curves[among].ravel()] = True
    runs = chains.open_runs
    in_tangle = [bool(meeting[runs.curves_of(r)].any()) for r in range(len(runs))]
    pulled_in = [runs.curves_of(r) for r in range(len(runs)) if in_tangle[r]]
    which = np.concatenate([chains.tangled, *pulled_in]).astype(np.int64)
    points, curve, offset = points_of_runs(curves, runs)
    loose = []
    for r in range(len(runs)):
        if not in_tangle[r]:
            span = slice(int(offset[r]), int(offset[r + 1]))
            loose.append((points[span], np.unique(curve[span])))
    if not len(which):
        return Untangled(_NO_RINGS, (), ()), loose
    return untangle(curves, which, chains.nodes, twice, crossing=bool(among.any())), loose


def _gaps(curves: Curves, chains: Chains) -> tuple[Gap, ...]:
    """Return all gaps worth a word: those joined, and ends taken as one point that differ by a hair."""
    tangled = set(chains.tangled.tolist())
    in_loops = joints(curves, chains.loops, SAID_SHARE * curves.same_mm)
    return tuple(in_loops + [x for x in chains.gaps if not tangled.isdisjoint(x.curves)])


def _lone_specks(chains: Chains, kept: Ints) -> Ints:
    """Return the curves without length that join nothing; others are hair between lines, and lost in the weld."""
    whole = np.setdiff1d(kept, chains.specks)
    return chains.specks[~np.isin(chains.nodes[chains.specks, 0], chains.nodes[whole])]


def _branches(curves: Curves, chains: Chains) -> tuple[tuple[float, float], ...]:
    """Return the places where more than two ends of tangled curves meet."""
    if not len(chains.tangled):
        return ()
    flat = chains.nodes[chains.tangled].ravel()
    place = end_points(curves)[chains.tangled].reshape(-1, 2)
    _, first, count = np.unique(flat, return_index=True, return_counts=True)
    spots = place[first[count > 2]]
    return tuple((x, y) for x, y in spots.tolist())
