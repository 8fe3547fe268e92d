"""Corners to shared vertices, by exact position."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled


def weld(points: NDArray[Any], tags: NDArray[np.int32] | None = None) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Find which of (n, 3) float points are the same.

    Returns `first` (k,), the number of the first point of each place in order of appearance, and
    `place` (n,), which of the k places each point is. Points are the same when their bits are,
    apart from the sign of zero, and their tags, where given, are equal.
    """
    bits: NDArray[Any]
    sign: Any
    if points.dtype == np.float64:
        bits, sign = np.require(points, np.float64, ["C", "W"]).view(np.uint64), np.uint64(1 << 63)
    else:
        bits, sign = np.require(points, np.float32, ["C", "W"]).view(np.uint32), np.uint32(1 << 31)
    if tags is None:
        tags = np.empty(0, np.int32)
    first, place = _weld(bits, sign, tags)
    return first, place


@compiled
def _weld(bits: Any, sign: Any, tags: Any) -> Any:
    """Open-addressing hash table over the points, doubled when it fills."""
    count = bits.shape[0]
    size = 1024
    # A closed mesh without shared vertices has one place for six corners.
    while size < count // 2:
        size *= 2
    table = np.full(size, -1, np.int32)
    hashes = np.empty(count, np.uint64)
    first = np.empty(count, np.int32)
    place = np.empty(count, np.int32)
    found = 0
    tagged = tags.shape[0] > 0
    for i in range(count):
        x = bits[i, 0]
        y = bits[i, 1]
        z = bits[i, 2]
        if x == sign:
            x = sign ^ sign
        if y == sign:
            y = sign ^ sign
        if z == sign:
            z = sign ^ sign
        h = (
            np.uint64(x) * np.uint64(0x9E3779B97F4A7C15)
            ^ np.uint64(y) * np.uint64(0xC2B2AE3D27D4EB4F)
            ^ np.uint64(z) * np.uint64(0x165667B19E3779F9)
        )
        if tagged:
            h ^= np.uint64(tags[i]) * np.uint64(0xD6E8FEB86659FD93)
        h ^= h >> np.uint64(29)
        h *= np.uint64(0xBF58476D1CE4E5B9)
        h ^= h >> np.uint64(32)
        mask = np.uint64(size - 1)
        slot = h & mask
        while True:
            j = table[slot]
            if j < 0:
                table[slot] = found
                hashes[found] = h
                first[found] = i
                place[i] = found
                found += 1
                break
            if hashes[j] == h:
                f = first[j]
                # Equal, or one is +0 and the other -0.
                same = (
                    (bits[f, 0] == bits[i, 0] or (bits[f, 0] | bits[i, 0]) == sign)
                    and (bits[f, 1] == bits[i, 1] or (bits[f, 1] | bits[i, 1]) == sign)
                    and (bits[f, 2] == bits[i, 2] or (bits[f, 2] | bits[i, 2]) == sign)
                )
                if same and (not tagged or tags[f] == tags[i]):
                    place[i] = j
                    break
            slot = (slot + np.uint64(1)) & mask
        if found * 2 > size:
            size *= 2
            table = np.full(size, -1, np.int32)
            mask = np.uint64(size - 1)
            for j in range(found):
                slot = hashes[j] & mask
                while table[slot] >= 0:
                    slot = (slot + np.uint64(1)) & mask
                table[slot] = j
    return first[:found].copy(), place
