"""Seams that are open by rounding alone: the same place written twice with another last digit."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.edges import OPEN, mates
from lintsvc.measure.topology_groups import components
from lintsvc.measure.weld import weld

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


def close_seams(
    vertices: Floats, faces: Ints, mate: Ints, reach: float, tags: Ints | None = None
) -> tuple[Ints, Ints] | None:
    """Join vertices on open edges that lie within `reach` of each other (in a box of twice that at most).

    `tags`: (n,) vertices of different tags are never joined. Returns new faces and their mates, or None when
    no open edge closes by it. No vertex moves: faces name the first vertex of each place.
    """
    half = np.flatnonzero(mate == OPEN)
    if not len(half) or reach <= 0.0:
        return None
    face, corner = half // 3, half % 3
    loose = np.unique(np.concatenate([faces[face, corner], faces[face, (corner + 1) % 3]]))
    cells = vertices[loose] / (2.0 * reach)
    own = None if tags is None else tags[loose]
    first, second = [], []
    # Two points closer than half a cell share one in at least one of eight grids, shifted by half a cell.
    for shift in product((0.0, 0.5), repeat=3):
        lowest, place = weld(np.floor(cells + shift) + 0.0, own)
        first.append(lowest[place])
        second.append(np.arange(len(loose), dtype=np.int32))
    label = components(len(loose), np.concatenate(first), np.concatenate(second))
    lowest = np.full(int(label.max()) + 1, len(vertices), np.int32)
    np.minimum.at(lowest, label, loose.astype(np.int32))
    renamed = np.arange(len(vertices), dtype=np.int32)
    renamed[loose] = lowest[label]
    joined = renamed[faces]
    if np.array_equal(joined, faces):
        return None
    after = mates(joined, len(vertices))
    return (joined, after) if int((after == OPEN).sum()) < len(half) else None
