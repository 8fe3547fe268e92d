"""How the faces of a mesh hang together, and where they do not: the raw facts behind the soundness rules.

Faces that cannot bound a solid are set aside first, so that one mistake is told once: a face with
two corners on one vertex, and faces that lie on each other corner for corner. What is left is
`counted`; open, crowded and flipped edges are those of the counted faces.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled
from lintsvc.measure.edges import CROWDED, NO_EDGE, OPEN, mates
from lintsvc.measure.mesh import Ints, Mesh

Bools = NDArray[np.bool_]


class Topology:
    """Facts of one mesh, made on first use. Half-edge `3 f + k` runs from corner k of face f to the next."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh

    @cached_property
    def collapsed(self) -> Ints:
        """Numbers of the faces that have two corners on one vertex."""
        return np.unique(np.flatnonzero(self.mesh.mates == NO_EDGE) // 3).astype(np.int32)

    @cached_property
    def doubles(self) -> tuple[Ints, ...]:
        """Groups of faces with the same three corners, each sorted by number."""
        mate = self.mesh.mates.reshape(-1, 3)
        # Two faces on one place share all edges, so each edge is crowded or theirs alone.
        suspects = (mate[:, 0] >= 0) & (mate[:, 0] // 3 == mate[:, 1] // 3)
        suspects[np.flatnonzero(self.mesh.mates <= CROWDED) // 3] = True
        suspects[self.collapsed] = False
        numbers = np.flatnonzero(suspects)
        if len(numbers) < 2:
            return ()
        corners = np.sort(self.mesh.faces[numbers], axis=1)
        order = np.lexsort((numbers, corners[:, 2], corners[:, 1], corners[:, 0]))
        numbers, corners = numbers[order], corners[order]
        new = np.concatenate([[True], (corners[1:] != corners[:-1]).any(axis=1)])
        groups = np.split(numbers, np.flatnonzero(new)[1:])
        return tuple(x.astype(np.int32) for x in groups if len(x) > 1)

    def turns(self, numbers: Ints) -> Bools:
        """For faces on the same corners: True for each that is wound like the first."""
        corners = self.mesh.faces[numbers]
        first = corners[0]
        at = np.argmax(corners == first[0], axis=1)
        after = corners[np.arange(len(corners)), (at + 1) % 3]
        like: Bools = after == first[1]
        return like

    @cached_property
    def set_aside(self) -> Ints:
        """Faces that are not counted: collapsed ones; of faces on each other all but the one that is one too many.

        Two that face opposite ways enclose nothing: neither is counted. Two that face the same way are
        one face drawn twice.
        """
        kept = ((group, self._kept(group)) for group in self.doubles)
        aside = [self.collapsed, *(group[group != keep] for group, keep in kept)]
        return np.concatenate(aside).astype(np.int32)

    def _kept(self, group: Ints) -> int:
        """The one that counts of faces on the same corners; -1 where as many face one way as the other."""
        like = self.turns(group)
        ahead = int(like.sum()) * 2 - len(group)
        return -1 if ahead == 0 else int(group[like][0] if ahead > 0 else group[~like][0])

    @cached_property
    def copies(self) -> Ints:
        """Faces that are not counted because they lie on one that is, corner for corner."""
        kept = ((group, self._kept(group)) for group in self.doubles)
        copies = [group[group != keep] for group, keep in kept if keep >= 0]
        return np.concatenate([np.empty(0, np.int32), *copies]).astype(np.int32)

    @cached_property
    def counted(self) -> Bools:
        """(m,) True for faces that count."""
        counted = np.ones(len(self.mesh), bool)
        counted[self.set_aside] = False
        return counted

    @cached_property
    def mates(self) -> Ints:
        """(3 m,) as `Mesh.mates`, among the counted faces alone; `NO_EDGE` on the others."""
        if not len(self.set_aside):
            return self.mesh.mates
        numbers = np.flatnonzero(self.counted).astype(np.int32)
        within = mates(np.ascontiguousarray(self.mesh.faces[numbers]), len(self.mesh.vertices))
        # From half-edges of the counted faces to half-edges of all.
        whole = (3 * numbers[:, None] + np.arange(3, dtype=np.int32)).ravel()
        paired, crowded = within >= 0, within <= CROWDED
        renamed = within.copy()
        renamed[paired] = whole[within[paired]]
        renamed[crowded] = CROWDED - whole[CROWDED - within[crowded]]
        result = np.full(3 * len(self.mesh), NO_EDGE, np.int32)
        result[whole] = renamed
        return result

    @cached_property
    def open(self) -> Ints:
        """Half-edges with no face on the other side."""
        return np.flatnonzero(self.mates == OPEN).astype(np.int32)

    @cached_property
    def crowded(self) -> Ints:
        """Half-edges on which more than two faces meet."""
        return np.flatnonzero(self.mates <= CROWDED).astype(np.int32)

    def ends(self, half_edges: Ints) -> Ints:
        """Return (k, 2) vertex numbers: from, to."""
        face, corner = half_edges // 3, half_edges % 3
        return np.stack([self.mesh.faces[face, corner], self.mesh.faces[face, (corner + 1) % 3]], axis=1)

    @cached_property
    def _patches(self) -> tuple[Ints, NDArray[np.uint8], NDArray[np.uint8]]:
        label, side, twisted = _patches(self.mates, self.mesh.faces.ravel())
        return label, side, twisted

    @property
    def patch(self) -> Ints:
        """(m,) the piece of surface that a face is in, over edges of exactly two faces; -1 when not counted."""
        return self._patches[0]

    @property
    def side(self) -> NDArray[np.uint8]:
        """(m,) 0 for faces wound like the first of their patch, 1 for those wound against it."""
        return self._patches[1]

    @property
    def twisted(self) -> NDArray[np.uint8]:
        """(patches,) 1 for a patch that cannot be wound one way, like a Möbius strip."""
        return self._patches[2]

    @cached_property
    def pinched(self) -> Ints:
        """Vertices in which two or more closed fans of faces meet.

        Not those at an open or crowded edge: there the edge is what is wrong.
        """
        fans = np.zeros(len(self.mesh.vertices), np.int32)
        _fans(self.mates, self.mesh.faces, fans)
        for half_edges in (self.open, self.crowded):
            fans[self.ends(half_edges).ravel()] = 0
        return np.flatnonzero(fans > 1).astype(np.int32)

    @cached_property
    def closed(self) -> bool:
        """Every edge of the counted faces has exactly two of them, and there are some."""
        return bool(self.counted.any()) and not len(self.open) and not len(self.crowded)


@compiled
def _patches(mate: Any, corner: Any) -> Any:
    """Walk each patch once, telling faces wound against its first one."""
    count = mate.shape[0] // 3
    label = np.full(count, -1, np.int32)
    side = np.zeros(count, np.uint8)
    twisted = np.zeros(count, np.uint8)
    stack = np.empty(count, np.int32)
    found = 0
    for first in range(count):
        if label[first] >= 0 or mate[3 * first] == NO_EDGE:
            continue
        label[first] = found
        stack[0] = first
        height = 1
        while height > 0:
            height -= 1
            f = stack[height]
            for h in range(3 * f, 3 * f + 3):
                other = mate[h]
                if other < 0:
                    continue
                g = other // 3
                # Neighbours agree when they run along their edge in opposite ways.
                wanted = side[f] ^ np.uint8(corner[h] == corner[other])
                if label[g] < 0:
                    label[g] = found
                    side[g] = wanted
                    stack[height] = g
                    height += 1
                elif side[g] != wanted:
                    twisted[found] = 1
        found += 1
    return label, side, twisted[:found].copy()


@compiled
def _fans(mate: Any, faces: Any, fans: Any) -> None:
    """Count at every vertex the fans of faces that hang together around it."""
    count = mate.shape[0]
    seen = np.zeros(count, np.uint8)
    for start in range(count):
        if seen[start] or mate[start] == NO_EDGE:
            continue
        seen[start] = 1
        v = faces[start // 3, start % 3]
        fans[v] += 1
        # Leave the corner over its own edge, then, where that ends, over the edge before it.
        for way in range(2):
            edge = start if way == 0 else 3 * (start // 3) + (start % 3 + 2) % 3
            closed = False
            while True:
                other = mate[edge]
                if other < 0:
                    break
                f = other // 3
                k = other % 3
                if faces[f, k] == v:
                    corner = other
                    edge = 3 * f + (k + 2) % 3
                else:
                    corner = 3 * f + (k + 1) % 3
                    edge = corner
                if seen[corner]:
                    closed = True
                    break
                seen[corner] = 1
            if closed:
                break
