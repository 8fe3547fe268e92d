"""Things that hang together by pairs: the few steps that all kernels which join things share.

`parent` holds for each thing a lower-numbered one that it hangs together with, or itself: a forest with the lowest
number of each tree as its root.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.compiled import compiled


@compiled
def root_of(parent: Any, i: int) -> Any:
    """Return the lowest number that `i` hangs together with; the path to it is halved on the way."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@compiled
def unite(parent: Any, a: int, b: int) -> None:
    """Join what `a` hangs together with to what `b` does."""
    a = root_of(parent, a)
    b = root_of(parent, b)
    if a < b:
        parent[b] = a
    else:
        parent[a] = b


@compiled
def numbered(parent: Any) -> Any:
    """Number the trees from 0 by their lowest member: (count,) int32, and how many there are."""
    label = np.empty(parent.shape[0], np.int32)
    found = 0
    for i in range(parent.shape[0]):
        if parent[i] == i:
            label[i] = found
            found += 1
        else:
            # A parent has a lower number, so it is labelled already.
            label[i] = label[parent[i]]
    return label, found
