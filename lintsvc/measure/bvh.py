"""A tree of boxes over the faces of a mesh (BVH), split by the surface area heuristic in bins.

I. Wald, "On fast Construction of SAH-based Bounding Volume Hierarchies", 2007, is the method.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled, in_parts, inlined, shared_out, threads

#: Most faces in a leaf.
LEAF = 4
#: Deepest a walk can go: a kernel's stack of this size never overflows.
STACK = 96
_BINS = 12
#: Ranges of more faces are split across their longest side.
_LARGE = 8192
#: From this depth on ranges are halved by count, so that no mesh makes the tree deeper than STACK.
_DEEP = 60
#: Subtrees are built apart, several at once, from this size down or this share of the whole.
_ALONE = 16384
_SHARE = 12


@dataclass(frozen=True, eq=False)
class Bvh:
    """Arrays of a binary tree. Node 0 is the root.

    Node n: `count[n] == 0` is an inner node with children `child[n]` and `child[n] + 1`; else it is
    a leaf of the places `child[n]` to `child[n] + count[n]` (excluded) in leaf order.
    `boxes`: (nodes, 6) float32, low x y z and high x y z, rounded outward. `directions`: (nodes, 6)
    float32, the box around the unit normals below the node (a face without a normal counts as 0).
    In leaf order: `order` (m,) int32 the face at a place, `corners` (m, 9) float64, `normals` (m, 3).
    There are unused slots between nodes; walk from the root.
    """

    boxes: NDArray[np.float32]
    directions: NDArray[np.float32]
    child: NDArray[np.int32]
    count: NDArray[np.int32]
    order: NDArray[np.int32]
    corners: NDArray[np.float64]
    normals: NDArray[np.float64]

    @classmethod
    def build(cls, vertices: NDArray[np.float64], faces: NDArray[np.int32], normals: NDArray[np.float64]) -> Bvh:
        """Build over (m, 3) faces; m may be 0."""
        total = len(faces)
        face_boxes = np.empty((total, 6), np.float32)
        in_parts(_face_boxes, total, vertices, faces, face_boxes)
        # np.empty hands out memory that costs nothing until it is written: most slots never are.
        slots = max(1, 2 * total)
        tree = cls(
            boxes=np.empty((slots, 6), np.float32),
            directions=np.empty((slots, 6), np.float32),
            child=np.empty(slots, np.int32),
            count=np.empty(slots, np.int32),
            order=np.arange(total, dtype=np.int32),
            corners=np.empty((total, 9)),
            normals=np.empty((total, 3)),
        )
        nodes = (tree.boxes, tree.directions, tree.child, tree.count, tree.order)
        leaves = (vertices, faces, normals, tree.corners, tree.normals)
        alone = max(_ALONE, total // _SHARE) if total > 2 * _ALONE and threads() > 1 else 0
        tasks, top = _grow(0, total, 0, 1, 0, alone, face_boxes, *nodes, *leaves)
        # A subtree of k faces has at most 2 k - 2 nodes below its root, and all of them together fit `slots`.
        room = 2 * (tasks[:, 1] - tasks[:, 0]) - 2
        first = top + np.cumsum(room) - room

        def grow(i: int) -> None:
            start, stop, root, depth = (int(x) for x in tasks[i])
            _grow(start, stop, root, int(first[i]), depth, 0, face_boxes, *nodes, *leaves)

        shared_out(grow, len(tasks), threads())
        # For small meshes, too, which have no crown: so it is compiled ahead with all else.
        _join(top if len(tasks) else 0, tree.directions, tree.child, tree.count, tree.normals)
        return tree


@inlined
def _below(x: float) -> Any:
    """Round to float32, downward."""
    near = np.float32(x)
    if near > x:
        near -= np.float32(abs(near) * np.float32(1.2e-7) + np.float32(1e-37))
    return near


@inlined
def _above(x: float) -> Any:
    """Round to float32, upward."""
    near = np.float32(x)
    if near < x:
        near += np.float32(abs(near) * np.float32(1.2e-7) + np.float32(1e-37))
    return near


@compiled
def _face_boxes(start: int, stop: int, vertices: Any, faces: Any, boxes: Any) -> None:
    """Fill in the box of every face."""
    for i in range(start, stop):
        for k in range(3):
            a = vertices[faces[i, 0], k]
            b = vertices[faces[i, 1], k]
            c = vertices[faces[i, 2], k]
            boxes[i, k] = _below(min(a, b, c))
            boxes[i, k + 3] = _above(max(a, b, c))


@compiled
def _bounds(face_boxes: Any, start: int, stop: int, box: Any, low: Any, high: Any) -> None:
    """Fill in the box around the faces of a range, and the lowest and highest of their middles."""
    half = np.float32(0.5)
    # In variables of their own: what is in an array is written back and read again at every step.
    x0 = y0 = z0 = u0 = v0 = w0 = np.float32(np.inf)
    x1 = y1 = z1 = u1 = v1 = w1 = np.float32(-np.inf)
    for q in range(start, stop):
        ax = face_boxes[q, 0]
        ay = face_boxes[q, 1]
        az = face_boxes[q, 2]
        bx = face_boxes[q, 3]
        by = face_boxes[q, 4]
        bz = face_boxes[q, 5]
        x0 = min(x0, ax)
        y0 = min(y0, ay)
        z0 = min(z0, az)
        x1 = max(x1, bx)
        y1 = max(y1, by)
        z1 = max(z1, bz)
        cx = ax * half + bx * half
        cy = ay * half + by * half
        cz = az * half + bz * half
        u0 = min(u0, cx)
        v0 = min(v0, cy)
        w0 = min(w0, cz)
        u1 = max(u1, cx)
        v1 = max(v1, cy)
        w1 = max(w1, cz)
    box[0] = x0
    box[1] = y0
    box[2] = z0
    box[3] = x1
    box[4] = y1
    box[5] = z1
    low[0] = u0
    low[1] = v0
    low[2] = w0
    high[0] = u1
    high[1] = v1
    high[2] = w1


@compiled
def _fill_bins(face_boxes: Any, start: int, stop: int, k: int, low: float, scale: float, size: Any, bins: Any) -> None:
    """Count the faces of a range by where along axis k their middles are, and put a box around those of each bin."""
    half = np.float32(0.5)
    for q in range(start, stop):
        ax = face_boxes[q, 0]
        ay = face_boxes[q, 1]
        az = face_boxes[q, 2]
        bx = face_boxes[q, 3]
        by = face_boxes[q, 4]
        bz = face_boxes[q, 5]
        b = int((face_boxes[q, k] * half + face_boxes[q, k + 3] * half - low) * scale)
        size[k, b] += 1
        # All read before any is written: then they are compared four at once.
        ax = min(bins[k, b, 0], ax)
        ay = min(bins[k, b, 1], ay)
        az = min(bins[k, b, 2], az)
        bx = max(bins[k, b, 3], bx)
        by = max(bins[k, b, 4], by)
        bz = max(bins[k, b, 5], bz)
        bins[k, b, 0] = ax
        bins[k, b, 1] = ay
        bins[k, b, 2] = az
        bins[k, b, 3] = bx
        bins[k, b, 4] = by
        bins[k, b, 5] = bz


@inlined
def _surface(x0: Any, y0: Any, z0: Any, x1: Any, y1: Any, z1: Any) -> Any:
    """Half the surface of a box."""
    x = np.float64(x1 - x0)
    y = np.float64(y1 - y0)
    z = np.float64(z1 - z0)
    return x * y + y * z + z * x


@compiled
def _best_split(size: Any, bins: Any, k: int, right_cost: Any, right_size: Any) -> Any:
    """Return the least cost of a cut between two bins of axis k, and the first bin beyond that cut."""
    best = np.inf
    split = 0
    n = 0
    x0 = y0 = z0 = np.float32(np.inf)
    x1 = y1 = z1 = np.float32(-np.inf)
    for b in range(_BINS - 1, 0, -1):
        n += size[k, b]
        x0 = min(x0, bins[k, b, 0])
        y0 = min(y0, bins[k, b, 1])
        z0 = min(z0, bins[k, b, 2])
        x1 = max(x1, bins[k, b, 3])
        y1 = max(y1, bins[k, b, 4])
        z1 = max(z1, bins[k, b, 5])
        right_cost[b] = _surface(x0, y0, z0, x1, y1, z1) * n if n > 0 else 0.0
        right_size[b] = n
    n = 0
    x0 = y0 = z0 = np.float32(np.inf)
    x1 = y1 = z1 = np.float32(-np.inf)
    for b in range(_BINS - 1):
        n += size[k, b]
        x0 = min(x0, bins[k, b, 0])
        y0 = min(y0, bins[k, b, 1])
        z0 = min(z0, bins[k, b, 2])
        x1 = max(x1, bins[k, b, 3])
        y1 = max(y1, bins[k, b, 4])
        z1 = max(z1, bins[k, b, 5])
        if n == 0 or right_size[b + 1] == 0:
            continue
        cost = _surface(x0, y0, z0, x1, y1, z1) * n + right_cost[b + 1]
        if cost < best:
            best = cost
            split = b + 1
    return best, split


@inlined
def _swap(face_boxes: Any, order: Any, i: int, j: int) -> None:
    """Change two faces' places, and their boxes': what is split next lies in one piece."""
    f = order[i]
    order[i] = order[j]
    order[j] = f
    for n in range(6):
        a = face_boxes[i, n]
        face_boxes[i, n] = face_boxes[j, n]
        face_boxes[j, n] = a


@compiled
def _grow(
    start: int,
    stop: int,
    root: int,
    free: int,
    depth: int,
    alone: int,
    face_boxes: Any,
    boxes: Any,
    directions: Any,
    child: Any,
    count: Any,
    order: Any,
    vertices: Any,
    faces: Any,
    normals: Any,
    corners: Any,
    leaf_normals: Any,
) -> Any:
    """Build the tree of `order[start:stop]` below node `root`, new nodes from slot `free` on.

    `face_boxes` are in the order of `order`, and stay so.

    With `alone` > 0 ranges of at most that many faces are not built but returned as rows
    (start, stop, node, depth), and directions are left to `_join`. Returns rows and next free slot.
    """
    tasks = np.empty((256, 4), np.int64)
    put_off = 0
    lowest_new = free
    stack = np.empty((STACK, 4), np.int64)
    stack[0, 0] = start
    stack[0, 1] = stop
    stack[0, 2] = root
    stack[0, 3] = depth
    height = 1
    size = np.empty((3, _BINS), np.int32)
    bins = np.empty((3, _BINS, 6), np.float32)
    right_cost = np.empty(_BINS, np.float64)
    right_size = np.empty(_BINS, np.int64)
    box = np.empty(6, np.float32)
    low = np.empty(3, np.float32)
    high = np.empty(3, np.float32)
    scale = np.empty(3, np.float32)
    half = np.float32(0.5)
    while height > 0:
        height -= 1
        s = stack[height, 0]
        e = stack[height, 1]
        node = stack[height, 2]
        deep = stack[height, 3]
        m = e - s
        if 0 < m <= alone and m > LEAF:
            if put_off == len(tasks):
                grown = np.empty((2 * put_off, 4), np.int64)
                grown[:put_off] = tasks
                tasks = grown
            tasks[put_off, 0] = s
            tasks[put_off, 1] = e
            tasks[put_off, 2] = node
            tasks[put_off, 3] = deep
            put_off += 1
            continue
        _bounds(face_boxes, s, e, box, low, high)
        for k in range(6):
            boxes[node, k] = box[k]
        if m <= LEAF:
            child[node] = s
            # An empty mesh has one empty leaf: count -1 is neither inner nor holds anything.
            count[node] = m if m > 0 else -1
            for q in range(s, e):
                i = order[q]
                for j in range(3):
                    for k in range(3):
                        corners[q, 3 * j + k] = vertices[faces[i, j], k]
                    leaf_normals[q, j] = normals[i, j]
            continue
        best = np.inf
        axis = -1
        split = 0
        if m > 2 * _BINS and deep < _DEEP:
            # A large range is cut across its longest side: looking at all three there costs more than it brings.
            only = 0
            for k in range(1, 3):
                if high[k] - low[k] > high[only] - low[only]:
                    only = k
            size[:] = 0
            for k in range(3):
                width = high[k] - low[k]
                scale[k] = np.float32(_BINS * 0.9999) / width if width > 0 else np.float32(0)
                if m > _LARGE and k != only:
                    scale[k] = np.float32(0)
                for b in range(_BINS):
                    for j in range(3):
                        bins[k, b, j] = np.inf
                        bins[k, b, j + 3] = -np.inf
            for k in range(3):
                if scale[k] != 0:
                    _fill_bins(face_boxes, s, e, k, low[k], scale[k], size, bins)
            for k in range(3):
                if scale[k] != 0:
                    cost, at = _best_split(size, bins, k, right_cost, right_size)
                    if cost < best:
                        best = cost
                        axis = k
                        split = at
        i = s
        j = e - 1
        if axis >= 0:
            while i <= j:
                c = face_boxes[i, axis] * half + face_boxes[i, axis + 3] * half
                if int((c - low[axis]) * scale[axis]) < split:
                    i += 1
                else:
                    _swap(face_boxes, order, i, j)
                    j -= 1
        elif deep < _DEEP:
            k = 0
            if high[1] - low[1] > high[0] - low[0]:
                k = 1
            if high[2] - low[2] > high[k] - low[k]:
                k = 2
            middle = low[k] * half + high[k] * half
            while i <= j:
                if face_boxes[i, k] * half + face_boxes[i, k + 3] * half < middle:
                    i += 1
                else:
                    _swap(face_boxes, order, i, j)
                    j -= 1
        if i <= s or i >= e:
            i = (s + e) // 2
        child[node] = free
        count[node] = 0
        for j in range(2):
            stack[height, 0] = s if j == 0 else i
            stack[height, 1] = i if j == 0 else e
            stack[height, 2] = free + j
            stack[height, 3] = deep + 1
            height += 1
        free += 2
    if alone == 0:
        for node in range(free - 1, lowest_new - 1, -1):
            _directions_of(node, directions, child, count, leaf_normals)
        _directions_of(root, directions, child, count, leaf_normals)
    return tasks[:put_off], free


@inlined
def _directions_of(node: int, directions: Any, child: Any, count: Any, leaf_normals: Any) -> None:
    """Box of the normals below one node, its children's being done."""
    c = child[node]
    if count[node] == 0:
        for k in range(3):
            directions[node, k] = min(directions[c, k], directions[c + 1, k])
            directions[node, k + 3] = max(directions[c, k + 3], directions[c + 1, k + 3])
    else:
        for k in range(3):
            least = np.inf
            most = -np.inf
            for q in range(c, c + count[node]):
                least = min(least, leaf_normals[q, k])
                most = max(most, leaf_normals[q, k])
            directions[node, k] = _below(least)
            directions[node, k + 3] = _above(most)


@compiled
def _join(top: int, directions: Any, child: Any, count: Any, leaf_normals: Any) -> None:
    """Directions of the crown, once all subtrees have theirs."""
    for node in range(top - 1, -1, -1):
        _directions_of(node, directions, child, count, leaf_normals)
