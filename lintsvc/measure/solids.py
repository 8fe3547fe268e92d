"""Which faces bound the same material: an outer shell and the voids in it are one solid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.mesh import Ints
from lintsvc.measure.shells import Shells


@dataclass(frozen=True, eq=False)
class Solids:
    """`of_face` (m,): the number of the solid that a face bounds. `count`: how many there are.
    `in_void` (m,): the face bounds a closed void. Open shells count as one solid together."""

    of_face: Ints
    count: int
    in_void: NDArray[np.bool_]


def find_solids(shells: Shells) -> Solids:
    """Tell apart the solids of a mesh."""
    if shells.count <= 1 and not len(shells.topology.set_aside):
        faces = len(shells.label)
        return Solids(np.zeros(faces, np.int32), shells.count, np.zeros(faces, bool))
    void = shells.closed & (shells.volume < 0) & (shells.around >= 1)
    solid = shells.closed & ~void
    number = np.full(shells.count + 1, -1, np.int32)
    outer = np.flatnonzero(solid)
    number[outer] = np.arange(len(outer))
    low, high = shells.box[:, :3], shells.box[:, 3:]
    for i in np.flatnonzero(void):
        around = outer[((low[outer] <= low[i]) & (high[outer] >= high[i])).all(axis=1)]
        if len(around):
            # The tightest one: a shell in the void of another lies in both boxes.
            number[i] = number[around[np.argmin(np.abs(shells.volume[around]))]]
    count = len(outer)
    if (number[: shells.count] < 0).any() or (shells.label < 0).any():
        number[number < 0] = count
        count += 1
    of_face = number[shells.label]
    return Solids(of_face, count, np.append(void, False)[shells.label])
