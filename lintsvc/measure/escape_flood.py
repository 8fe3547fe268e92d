"""Ways out of hollows over a grid of clearances, of which only what a way needs is measured.

A hollow is flooded from its widest place down until the flood gets out. What it had reached before its narrowest cell
is the hollow, and that cell is the door. Nothing beyond the door is looked at but the way to the open.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.compiled import compiled
from lintsvc.measure.nearest import walk_nearest

#: Clearances are sorted into so many steps.
_STEPS = 512
#: In `label`: from here the way out is nowhere narrower than the grid tells.
OPEN = -1


@compiled
def find_ways_out(grid: Any, tree: Any, spare: Any, clear: Any, label: Any, known: Any, cells: Any) -> Any:
    """Flood from each of some cells, see `_find_way_out`. Returns their labels; and of each hollow, from 1 on, its
    door and its widest cell."""
    labels = np.empty(len(cells), np.int64)
    doors = np.empty(len(cells) + 1, np.int64)
    peaks = np.empty(len(cells) + 1, np.int64)
    number = 1
    for k in range(len(cells)):
        labels[k], door, peak = _find_way_out(grid, tree, spare, clear, label, known, cells[k], number)
        if labels[k] == number:
            doors[number] = door
            peaks[number] = peak
            number += 1
    return labels, doors[:number], peaks[:number]


@compiled
def _find_way_out(grid: Any, tree: Any, spare: Any, clear: Any, label: Any, known: Any, cell: int, number: int) -> Any:
    """Flood from a cell, the widest places first, until the rim or a cell with a `known` way out is reached.

    `grid`: nx, ny, nz, x, y, z of the low corner, spacing and the largest clearance that is told. `clear`: the
    clearance of each cell, 0 where it is not yet measured and -1 on the surface. `known`: how narrow the way out
    of a cell is at most, as a place in the order of flooding and 1. The cells of the hollow get the label `number`,
    OPEN where there is none. Returns the label that the cell has then, the door (-1 for none), and the widest cell.
    """
    cell = _climb(grid, tree, spare, clear, cell)
    if cell < 0 or label[cell] != 0:
        return (OPEN if cell < 0 else label[cell]), -1, cell
    reach = grid[6] * 1.001
    waiting = np.empty(1024, np.int64)
    left = 0
    plain = np.empty(1024, np.int64)
    plains = 0
    reached = np.empty(1024, np.int64)
    count = 0
    worst = np.int64(-1)
    worst_at = 0
    out = False
    # While it is under way each cell that waits or was reached has this label.
    here = -number - 1
    kept = np.empty(1024, np.int32)
    seen = np.empty(1024, np.int64)
    touched = 0
    plain[0] = cell
    plains = 1
    seen[0] = cell
    kept[0] = label[cell]
    touched = 1
    label[cell] = here
    while plains + left > 0:
        if plains > 0:
            plains -= 1
            i = plain[plains]
        else:
            i = _take(waiting, left) % _total(grid)
            left -= 1
        c = clear[i]
        o = _order(grid, c, i)
        if count == len(reached):
            reached = _longer(reached)
        if o > worst:
            worst = o
            worst_at = count
        reached[count] = i
        count += 1
        x, y, z = _place(grid, i)
        rim = x == 0 or y == 0 or z == 0 or x == grid[0] - 1 or y == grid[1] - 1 or z == grid[2] - 1
        if rim or 0 < known[i] <= worst + 1:
            out = True
            break
        for dx in range(-1, 2):
            for dy in range(-1, 2):
                for dz in range(-1, 2):
                    j = ((x + dx) * grid[1] + y + dy) * grid[2] + z + dz
                    if label[j] == here:
                        continue
                    other = clear[j]
                    if other == 0:
                        other = _measured(grid, tree, spare, clear, j)
                    if other <= 0 or other + c <= reach * np.sqrt(float(dx * dx + dy * dy + dz * dz)):
                        continue
                    if touched == len(seen):
                        seen = _longer(seen)
                        more = np.empty(2 * touched, np.int32)
                        more[:touched] = kept
                        kept = more
                    seen[touched] = j
                    kept[touched] = label[j]
                    touched += 1
                    label[j] = here
                    order = _order(grid, other, j)
                    if order == 0:
                        if plains == len(plain):
                            plain = _longer(plain)
                        plain[plains] = j
                        plains += 1
                    else:
                        if left == len(waiting):
                            waiting = _longer(waiting)
                        _put(waiting, left, order)
                        left += 1
    for k in range(touched):
        label[seen[k]] = kept[k]
    if not out:
        worst_at = count
    is_open = out and (worst == 0 or worst_at == 0)
    for k in range(count):
        i = reached[k]
        if out and (known[i] == 0 or known[i] > worst + 1):
            known[i] = worst + 1
        if k < worst_at or is_open:
            label[i] = OPEN if is_open else number
    if is_open:
        return OPEN, -1, cell
    door = reached[worst_at] if out else -1
    return number, door, _widest(grid, clear, reached[:worst_at], door)


@compiled
def fill(grid: Any, tree: Any, spare: Any, clear: Any, label: Any, start: int) -> Any:
    """Give its label to every cell from which the steepest way up leads to the cell `start`'s hollow; return them."""
    number = label[start]
    members = np.empty(1024, np.int64)
    members[0] = start
    count = 1
    done = 0
    steepest = np.zeros(len(label), np.int32)
    # The flood has labelled what is wider than the door; from there on only what hangs on it is added.
    marked = -number - 1
    label[start] = marked
    while done < count:
        i = members[done]
        done += 1
        x, y, z = _place(grid, i)
        if x == 0 or y == 0 or z == 0 or x == grid[0] - 1 or y == grid[1] - 1 or z == grid[2] - 1:
            continue
        for dx in range(-1, 2):
            for dy in range(-1, 2):
                for dz in range(-1, 2):
                    j = ((x + dx) * grid[1] + y + dy) * grid[2] + z + dz
                    if label[j] == marked:
                        continue
                    if label[j] != number:
                        if label[j] != 0:
                            continue
                        if steepest[j] == 0:
                            other = clear[j] if clear[j] != 0 else _measured(grid, tree, spare, clear, j)
                            steepest[j] = _best(grid, tree, spare, clear, j) + 2 if other > 0 else 1
                        if steepest[j] != i + 2:
                            continue
                    label[j] = marked
                    if count == len(members):
                        members = _longer(members)
                    members[count] = j
                    count += 1
    for k in range(count):
        label[members[k]] = number
    return members[:count]


@compiled
def _climb(grid: Any, tree: Any, spare: Any, clear: Any, cell: int) -> Any:
    """The widest cell that the steepest way up from a cell leads to; -1 from the surface itself."""
    if _measured(grid, tree, spare, clear, cell) <= 0:
        return -1
    while _order(grid, clear[cell], cell) > 0:
        best = _best(grid, tree, spare, clear, cell)
        if best < 0:
            break
        cell = best
    return cell


@compiled
def _best(grid: Any, tree: Any, spare: Any, clear: Any, i: int) -> Any:
    """The widest of the cells around one that come before it and whose clearances reach its own; -1 for none.

    Nothing leaks through a thin wall so.
    """
    # Two cells right across a flat wall reach each other exactly: rounding must not open it.
    reach = grid[6] * 1.001
    x, y, z = _place(grid, i)
    c = clear[i]
    own = _order(grid, c, i)
    best = np.int64(-1)
    best_c = np.float32(-1)
    for dx in range(-1, 2):
        for dy in range(-1, 2):
            for dz in range(-1, 2):
                u = x + dx
                v = y + dy
                w = z + dz
                if u < 0 or v < 0 or w < 0 or u >= grid[0] or v >= grid[1] or w >= grid[2]:
                    continue
                j = (u * grid[1] + v) * grid[2] + w
                if j == i:
                    continue
                other = clear[j]
                if other == 0:
                    other = _measured(grid, tree, spare, clear, j)
                if other <= best_c or other <= 0 or _order(grid, other, j) > own:
                    continue
                if other + c <= reach * np.sqrt(float(dx * dx + dy * dy + dz * dz)):
                    continue
                best_c = other
                best = j
    return best


@compiled
def _widest(grid: Any, clear: Any, cells: Any, door: int) -> Any:
    """The widest of some cells, of those as good as alike the one nearest to the door."""
    most = np.float32(0)
    for i in cells:
        most = max(most, clear[i])
    x, y, z = _place(grid, door if door >= 0 else cells[0])
    best = cells[0]
    least = np.inf
    for i in cells:
        if clear[i] >= most * np.float32(0.9999):
            u, v, w = _place(grid, i)
            far = float((u - x) ** 2 + (v - y) ** 2 + (w - z) ** 2)
            if far < least:
                least = far
                best = i
    return best


@compiled
def _measured(grid: Any, tree: Any, spare: Any, clear: Any, i: int) -> Any:
    """Measure a cell's clearance. Asked for only where `clear` has none: handing over so much takes time itself."""
    x, y, z = _place(grid, i)
    points, within, enough, distance, place, face = spare
    boxes, child, count, corners, order = tree
    points[0, 0] = grid[3] + (x + 0.5) * grid[6]
    points[0, 1] = grid[4] + (y + 0.5) * grid[6]
    points[0, 2] = grid[5] + (z + 0.5) * grid[6]
    within[0] = grid[7]
    walk_nearest(0, 1, points, within, enough, boxes, child, count, corners, order, distance, place, face)
    clear[i] = distance[0] if distance[0] > 0 else -1.0
    return clear[i]


@compiled
def _order(grid: Any, c: float, i: int) -> Any:
    """When a cell is flooded: by the step of its clearance, then by its number; all of the largest clearance at 0."""
    if c >= grid[7] * 0.999999:
        return np.int64(0)
    step = _STEPS - int(c * (_STEPS / (grid[7] * 1.000001)))
    return np.int64(step) * _total(grid) + i


@compiled
def _total(grid: Any) -> Any:
    return np.int64(grid[0]) * grid[1] * grid[2]


@compiled
def _place(grid: Any, i: int) -> Any:
    return i // (grid[1] * grid[2]), (i // grid[2]) % grid[1], i % grid[2]


@compiled
def _put(heap: Any, size: int, value: int) -> None:
    """Add to a heap of `size` numbers, the least first."""
    k = size
    while k > 0:
        above = (k - 1) // 2
        if heap[above] <= value:
            break
        heap[k] = heap[above]
        k = above
    heap[k] = value


@compiled
def _take(heap: Any, size: int) -> Any:
    """Take the least out of a heap of `size` numbers."""
    least = heap[0]
    last = heap[size - 1]
    k = 0
    while True:
        below = 2 * k + 1
        if below >= size - 1:
            break
        if below + 1 < size - 1 and heap[below + 1] < heap[below]:
            below += 1
        if heap[below] >= last:
            break
        heap[k] = heap[below]
        k = below
    heap[k] = last
    return least


@compiled
def _longer(array: Any) -> Any:
    longer = np.empty(2 * len(array), array.dtype)
    longer[: len(array)] = array
    return longer
