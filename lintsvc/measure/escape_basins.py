"""Basins of air: which parts of a grid of clearances are cut off from the outside by a narrower throat."""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.compiled import compiled

#: Clearances are sorted into so many steps.
_STEPS = 512


@compiled
def find_basins(clearance: Any, spacing: float) -> Any:
    """Flood an (x, y, z) grid of clearances from the widest places down.

    Two neighbours hang together where their clearances reach each other, so that nothing leaks through a
    thin wall. The rim of the grid is outside. Returns: `basin` of each cell; and for each basin `parent`
    (the one it ran into, itself for one that never did), `door` (the narrowest cell on the way there),
    `peak` (its widest cell) and `outside` (it reaches the rim, or others in it do).
    """
    nx, ny, nz = clearance.shape
    # Two cells right across a flat wall reach each other exactly: rounding must not open it.
    reach = spacing * 1.001
    total = nx * ny * nz
    flat = clearance.reshape(total)
    highest = flat.max()
    counts = np.zeros(_STEPS + 1, np.int64)
    scale = _STEPS / (highest * 1.000001) if highest > 0 else 0.0
    for i in range(total):
        counts[_STEPS - int(flat[i] * scale)] += 1
    first = np.zeros(_STEPS + 2, np.int64)
    for k in range(_STEPS + 1):
        first[k + 1] = first[k] + counts[k]
    order = np.empty(total, np.int32)
    for i in range(total):
        k = _STEPS - int(flat[i] * scale)
        order[first[k]] = i
        first[k] += 1
    basin = np.full(total, -1, np.int32)
    size = 4096
    parent = np.empty(size, np.int32)
    joined = np.empty(size, np.int32)
    door = np.empty(size, np.int32)
    peak = np.empty(size, np.int32)
    outside = np.zeros(size, np.bool_)
    found = 0
    for place in range(total):
        i = order[place]
        c = flat[i]
        if c <= 0:
            continue
        x = i // (ny * nz)
        y = (i // nz) % ny
        z = i % nz
        rim = x == 0 or y == 0 or z == 0 or x == nx - 1 or y == ny - 1 or z == nz - 1
        best = -1
        best_c = np.float32(-1)
        for dx in range(-1, 2):
            for dy in range(-1, 2):
                for dz in range(-1, 2):
                    u = x + dx
                    v = y + dy
                    w = z + dz
                    if u < 0 or v < 0 or w < 0 or u >= nx or v >= ny or w >= nz:
                        continue
                    j = (u * ny + v) * nz + w
                    if basin[j] < 0 or j == i:
                        continue
                    if flat[j] + c <= reach * np.sqrt(float(dx * dx + dy * dy + dz * dz)):
                        continue
                    if flat[j] > best_c:
                        best_c = flat[j]
                        best = j
        if best < 0:
            if found == size:
                size *= 2
                parent = _longer(parent, size)
                joined = _longer(joined, size)
                door = _longer(door, size)
                peak = _longer(peak, size)
                outside = _longer(outside, size)
            basin[i] = found
            parent[found] = found
            joined[found] = found
            door[found] = -1
            peak[found] = i
            outside[found] = rim
            found += 1
        else:
            basin[i] = basin[best]
        mine = _root(joined, basin[i])
        if rim:
            outside[mine] = True
        for dx in range(-1, 2):
            for dy in range(-1, 2):
                for dz in range(-1, 2):
                    u = x + dx
                    v = y + dy
                    w = z + dz
                    if u < 0 or v < 0 or w < 0 or u >= nx or v >= ny or w >= nz:
                        continue
                    j = (u * ny + v) * nz + w
                    if basin[j] < 0 or j == i:
                        continue
                    other = _root(joined, basin[j])
                    if other == mine:
                        continue
                    if flat[j] + c <= reach * np.sqrt(float(dx * dx + dy * dy + dz * dz)):
                        continue
                    # The narrower one, or the one inside, runs into the other.
                    small = other
                    large = mine
                    if (outside[small], flat[peak[small]]) > (outside[large], flat[peak[large]]):
                        small = mine
                        large = other
                    joined[small] = large
                    parent[small] = large
                    door[small] = i if c < flat[j] else j
                    outside[large] = outside[large] or outside[small]
                    mine = large
    return basin, parent[:found], door[:found], peak[:found], outside[:found]


@compiled
def _root(joined: Any, i: int) -> Any:
    while joined[i] != i:
        joined[i] = joined[joined[i]]
        i = joined[i]
    return i


@compiled
def _longer(array: Any, size: int) -> Any:
    longer = np.zeros(size, array.dtype)
    longer[: len(array)] = array
    return longer
