"""Faces of a mesh that go through each other or lie on each other, with the mesh's own tree.

The tree is walked against itself, so every pair of faces whose boxes meet is compared once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.bvh import LEAF, STACK, Bvh
from lintsvc.measure.compiled import compiled, in_parts, inlined
from lintsvc.measure.mesh import Floats, Ints, Mesh
from lintsvc.measure.self_crossing_pair import (
    APART,
    CROSSING,
    EDGE_OF_FIRST,
    EDGE_OF_SECOND,
    contact,
    parted,
    through_edge,
)

#: Contacts no deeper than this many roundings of the coordinates may come from the file's precision alone.
ROUNDINGS_OF_A_CONTACT = 8.0
#: The walk is cut into about this many pairs of branches, to be shared between threads.
_TASKS = 16384
#: From this many contacts in one lot on, only those of faces not yet known to cross are kept.
_ENOUGH = 100_000
#: The walk gives up after so much work, and so much for each face, in comparisons of two boxes: a part needs about
#: 500 a face, a heap of large faces that all cross each other many for every two.
_MOST_COMPARED = 120_000_000
_MOST_A_FACE = 800
#: Comparing two faces, and opening two branches, is that much dearer than comparing two boxes.
_FACES_TO_BOXES = 30
_OPENING_TO_BOXES = 8


@dataclass(frozen=True, eq=False)
class Contacts:
    """Pairs of faces. `first`, `second`: (k,) face numbers, first < second. `kind`: as in self_crossing_pair.

    `depth_mm`: how far the two reach through or over each other, at least. On a mesh that crosses itself
    nearly everywhere not every pair is listed, but every face that crosses another is in one.
    """

    first: Ints
    second: Ints
    kind: NDArray[np.int8]
    depth_mm: Floats
    #: False where the walk was given up: then there may be more.
    complete: bool = True

    def __len__(self) -> int:
        """How many pairs there are."""
        return len(self.first)

    def of(self, chosen: NDArray[Any] | slice) -> Contacts:
        """Return the chosen pairs (a mask, numbers or a slice)."""
        return Contacts(
            self.first[chosen], self.second[chosen], self.kind[chosen], self.depth_mm[chosen], self.complete
        )

    @property
    def faces(self) -> Ints:
        """Numbers of all faces in a pair, each once, ascending."""
        return np.unique(np.concatenate([self.first, self.second]))


def contacts(mesh: Mesh, slack: float) -> Contacts:
    """Find all pairs of faces that cross, or lie on each other in one plane, deeper than `slack` mm.

    Faces with the same three corners are no contact here (they are doubles), nor are faces lower than `slack`.
    """
    tree = mesh.bvh
    normals = _normals(tree, slack)
    nodes = (tree.boxes, tree.child, tree.count)
    tasks = _branches(_TASKS, slack, *nodes)
    known = np.zeros(len(mesh), np.uint8)
    # Counted by all threads together, roughly: an addition lost now and then does not matter.
    compared = np.zeros(1, np.int64)
    most = _MOST_COMPARED + _MOST_A_FACE * len(mesh)
    lots = in_parts(
        _walk,
        len(tasks),
        tasks,
        slack,
        _ENOUGH,
        *nodes,
        tree.order,
        tree.corners,
        normals,
        mesh.vertices,
        mesh.faces,
        mesh.mates,
        known,
        compared,
        most,
    )
    pairs = np.concatenate([pair for pair, _ in lots])
    depth = np.concatenate([deep for _, deep in lots])
    low, high = pairs[:, :2].min(axis=1), pairs[:, :2].max(axis=1)
    # Threads end in any order; the result must not.
    order = np.lexsort((high, low))
    complete = int(compared[0]) <= most
    return Contacts(low[order], high[order], pairs[order, 2].astype(np.int8), depth[order], complete)


def _normals(tree: Bvh, slack: float) -> Floats:
    """Return unit normals in leaf order, also of faces too thin to have one elsewhere: corners count as stated here."""
    thin = np.flatnonzero(~tree.normals.any(axis=1))
    if not len(thin):
        return tree.normals
    corners = tree.corners[thin].reshape(-1, 3, 3)
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    double = np.linalg.norm(across, axis=1)
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    has = double > max(slack, 1e-12) * longest
    normals = tree.normals.copy()
    normals[thin[has]] = across[has] / double[has, None]
    return normals


@inlined
def _apart(boxes: Any, a: int, b: int, slack: float) -> Any:
    """True when two nodes' boxes are further apart than `slack` along an axis."""
    return (
        boxes[a, 0] > boxes[b, 3] + slack
        or boxes[b, 0] > boxes[a, 3] + slack
        or boxes[a, 1] > boxes[b, 4] + slack
        or boxes[b, 1] > boxes[a, 4] + slack
        or boxes[a, 2] > boxes[b, 5] + slack
        or boxes[b, 2] > boxes[a, 5] + slack
    )


@inlined
def _girth(boxes: Any, a: int) -> Any:
    """Sum of a box's sides: the larger of two nodes is opened first."""
    return boxes[a, 3] - boxes[a, 0] + boxes[a, 4] - boxes[a, 1] + boxes[a, 5] - boxes[a, 2]


@inlined
def _open(a: int, b: int, boxes: Any, child: Any, count: Any, slack: float, into: Any, at: int) -> int:
    """Put the pairs of branches below nodes a and b, not both leaves, into rows from `at` on; return the next row."""
    if a == b:
        c = child[a]
        into[at, 0] = c
        into[at, 1] = c
        into[at + 1, 0] = c + 1
        into[at + 1, 1] = c + 1
        at += 2
        if not _apart(boxes, c, c + 1, slack):
            into[at, 0] = c
            into[at, 1] = c + 1
            at += 1
        return at
    if count[a] != 0 or (count[b] == 0 and _girth(boxes, b) > _girth(boxes, a)):
        a, b = b, a
    for c in range(child[a], child[a] + 2):
        if not _apart(boxes, c, b, slack):
            into[at, 0] = c
            into[at, 1] = b
            at += 1
    return at


@compiled
def _branches(wanted: int, slack: float, boxes: Any, child: Any, count: Any) -> Any:
    """Open the pair (root, root) breadth first until there are about `wanted` pairs; return (k, 2) nodes."""
    pairs = np.zeros((1, 2), np.int32)
    if count[0] < 0:
        return pairs[:0].copy()
    while True:
        more = np.empty((3 * len(pairs), 2), np.int32)
        at = 0
        opened = False
        for i in range(len(pairs)):
            a = pairs[i, 0]
            b = pairs[i, 1]
            if count[a] != 0 and count[b] != 0:
                more[at, 0] = a
                more[at, 1] = b
                at += 1
            else:
                at = _open(a, b, boxes, child, count, slack, more, at)
                opened = True
        pairs = more[:at].copy()
        if at >= wanted or not opened:
            return pairs


@compiled
def _walk(
    start: int,
    stop: int,
    tasks: Any,
    slack: float,
    enough: int,
    boxes: Any,
    child: Any,
    count: Any,
    order: Any,
    corners: Any,
    normals: Any,
    vertices: Any,
    faces: Any,
    mate: Any,
    known: Any,
    compared: Any,
    most: int,
) -> Any:
    """Compare all faces below the pairs of branches `tasks[start:stop]`."""
    pairs = np.empty((64, 3), np.int32)
    depths = np.empty(64)
    found = 0
    stack = np.empty((4 * STACK, 2), np.int32)
    scratch = np.empty((2, 3))
    low = np.empty(3)
    high = np.empty(3)
    box = np.empty((LEAF, 6))
    named = np.empty((LEAF, 3), np.int32)
    since = 0
    for task in range(start, stop):
        stack[0, 0] = tasks[task, 0]
        stack[0, 1] = tasks[task, 1]
        height = 1
        while height > 0 and compared[0] <= most:
            height -= 1
            a = stack[height, 0]
            b = stack[height, 1]
            since += _OPENING_TO_BOXES
            if since > 4096:
                compared[0] += since
                since = 0
            if count[a] == 0 or count[b] == 0:
                height = _open(a, b, boxes, child, count, slack, stack, height)
                continue
            first = child[b]
            many = count[b]
            since += many * count[a]
            for m in range(many):
                j = first + m
                for k in range(3):
                    box[m, k] = min(corners[j, k], corners[j, k + 3], corners[j, k + 6])
                    box[m, k + 3] = max(corners[j, k], corners[j, k + 3], corners[j, k + 6])
                    named[m, k] = faces[order[j], k]
            for i in range(child[a], child[a] + count[a]):
                apart = normals[i, 0] == 0.0 and normals[i, 1] == 0.0 and normals[i, 2] == 0.0
                for k in range(3):
                    low[k] = min(corners[i, k], corners[i, k + 3], corners[i, k + 6]) - slack
                    high[k] = max(corners[i, k], corners[i, k + 3], corners[i, k + 6]) + slack
                    apart = apart or low[k] > boxes[b, k + 3] or high[k] < boxes[b, k]
                if apart:
                    continue
                f = order[i]
                f0 = faces[f, 0]
                f1 = faces[f, 1]
                f2 = faces[f, 2]
                for m in range(i + 1 - first if a == b else 0, many):
                    if (
                        box[m, 0] > high[0]
                        or box[m, 3] < low[0]
                        or box[m, 1] > high[1]
                        or box[m, 4] < low[1]
                        or box[m, 2] > high[2]
                        or box[m, 5] < low[2]
                    ):
                        continue
                    j = first + m
                    if normals[j, 0] == 0.0 and normals[j, 1] == 0.0 and normals[j, 2] == 0.0:
                        continue
                    g = order[j]
                    shared_i = 0
                    shared_j = 0
                    same = 0
                    for k in range(3):
                        v = named[m, k]
                        if v == f0:
                            shared_i |= 1
                        elif v == f1:
                            shared_i |= 2
                        elif v == f2:
                            shared_i |= 4
                        else:
                            continue
                        shared_j |= 1 << k
                        same += 1
                    if same == 3 or (found >= enough and known[f] and known[g]):
                        continue
                    since += _FACES_TO_BOXES
                    if same > 0 and parted(corners, i, normals, j, shared_i, shared_j, same, slack):
                        continue
                    kind, depth = contact(corners, normals, i, j, shared_i, shared_j, slack, scratch)
                    if kind >= EDGE_OF_SECOND and same < 2:
                        k = kind - EDGE_OF_SECOND
                        across = mate[3 * g + (k + 1) % 3]
                        if across < 0:
                            continue
                        tip = vertices[faces[across // 3, (across + 2) % 3]]
                        depth = through_edge(corners, normals, i, j, k, tip, slack)
                        kind = CROSSING if depth > 0.0 else APART
                    elif kind >= EDGE_OF_FIRST and same < 2:
                        k = kind - EDGE_OF_FIRST
                        across = mate[3 * f + (k + 1) % 3]
                        if across < 0:
                            continue
                        tip = vertices[faces[across // 3, (across + 2) % 3]]
                        depth = through_edge(corners, normals, j, i, k, tip, slack)
                        kind = CROSSING if depth > 0.0 else APART
                    if kind == APART or kind >= EDGE_OF_FIRST:
                        continue
                    if found == len(pairs):
                        wider = np.empty((2 * found, 3), np.int32)
                        wider[:found] = pairs
                        pairs = wider
                        deeper = np.empty(2 * found)
                        deeper[:found] = depths
                        depths = deeper
                    pairs[found, 0] = f
                    pairs[found, 1] = g
                    pairs[found, 2] = kind
                    depths[found] = depth
                    found += 1
                    known[f] = 1
                    known[g] = 1
    return pairs[:found].copy(), depths[:found].copy()
