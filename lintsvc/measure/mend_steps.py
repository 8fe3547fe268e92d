"""The steps of a mend that only join, drop and turn: no vertex goes further than the reach said."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from lintsvc.measure.edges import CROWDED, NO_EDGE, OPEN
from lintsvc.measure.facets import heights
from lintsvc.measure.mend_draft import Draft
from lintsvc.measure.mesh import Ints, turned_over
from lintsvc.measure.topology_seams import close_seams

#: Ends of open edges are joined over at most this share of the part's size.
_SEAM_SHARE = 2e-5
#: A face no higher than this share of `Draft.reach` has its corners on one line.
_FLAT = 0.5
_MOST_ROUNDS = 16
#: With more open edges than this, stitching would take too long, and the file needs more than a mend.
_MOST_OPEN = 5000


def join_seams(draft: Draft) -> tuple[Draft, int, float]:
    """Join open edges that lie a hair apart; say how many vertices were joined and how far the furthest moved.

    The reach grows step by step, and a step counts only where it closes edges, crowds none and flattens no face.
    """
    joined, furthest = 0, 0.0
    reach = draft.reach
    while reach <= max(draft.reach, draft.mesh.size * _SEAM_SHARE):
        found = close_seams(draft.vertices, draft.faces, draft.mesh.mates, reach, draft.vertex_objects)
        reach *= 4.0
        if found is None:
            continue
        faces, mate = found
        before = draft.mesh.mates
        if (mate <= CROWDED).sum() > (before <= CROWDED).sum() or (mate == NO_EDGE).sum() > (before == NO_EDGE).sum():
            continue
        moved = np.unique(np.stack([draft.faces.ravel(), faces.ravel()], axis=1), axis=0)
        moved = moved[moved[:, 0] != moved[:, 1]]
        joined += len(moved)
        step = np.linalg.norm(draft.vertices[moved[:, 0]] - draft.vertices[moved[:, 1]], axis=1)
        furthest = max(furthest, float(step.max()))
        draft = draft.renamed(faces)
    return draft, joined, furthest


def stitch(draft: Draft) -> tuple[Draft, int]:
    """Split faces whose open edge has vertices of other open edges on it; say how many were split.

    One side of such a seam has an edge in one piece, the other the same edge in several.
    """
    split = 0
    for _ in range(_MOST_ROUNDS):
        half = draft.topology.open
        if not 0 < len(half) <= _MOST_OPEN:
            break
        ends = draft.topology.ends(half)
        loose = np.unique(ends)
        replaced: dict[int, list[tuple[int, int, int]]] = {}
        for h, (a, c) in zip(half.tolist(), ends.tolist(), strict=True):
            face = h // 3
            if face in replaced:
                continue
            on = _between(draft, a, c, loose)
            if len(on):
                tip = int(draft.faces[face, (h + 2) % 3])
                chain = [a, *on, c]
                if tip not in chain:
                    replaced[face] = [(p, q, tip) for p, q in pairwise(chain)]
        if not replaced:
            break
        kept = np.ones(len(draft.faces), bool)
        kept[list(replaced)] = False
        new = np.array([f for faces in replaced.values() for f in faces], np.int32)
        owners = np.repeat(draft.objects[list(replaced)], [len(x) for x in replaced.values()])
        after = draft.keep(kept).with_faces(new, owners)
        if len(after.topology.open) >= len(half) or len(after.topology.crowded) > len(draft.topology.crowded):
            break
        draft = after
        split += len(replaced)
    return draft, split


def _between(draft: Draft, a: int, c: int, loose: Ints) -> list[int]:
    """Vertices of `loose` on the line from a to c, in order, the ends left out."""
    start, way = draft.vertices[a], draft.vertices[c] - draft.vertices[a]
    length = float(np.linalg.norm(way))
    if length <= 2.0 * draft.reach:
        return []
    offset = draft.vertices[loose] - start
    along = offset @ way / length
    off = np.linalg.norm(offset - np.outer(along / length, way), axis=1)
    on = (along > draft.reach) & (along < length - draft.reach) & (off <= draft.reach)
    on &= draft.vertex_objects[loose] == draft.vertex_objects[a]
    return [int(x) for x in loose[on][np.argsort(along[on])]]


def drop_spare(draft: Draft) -> tuple[Draft, int, int]:
    """Take out collapsed faces and copies of faces; say how many of each.

    Of faces on the same corners one stays where one way is in the majority, none where both ways balance.
    """
    collapsed = len(draft.topology.collapsed)
    copies = len(draft.topology.set_aside) - collapsed
    return (draft.keep(draft.topology.counted), collapsed, copies) if collapsed + copies else (draft, 0, 0)


def take_out_flat(draft: Draft) -> tuple[Draft, int]:
    """Take out faces whose three corners lie on one line; say how many there are less.

    The face across the longest edge is split at the corner that lies on that edge, so the surface stays
    closed. Where two corners are one but for rounding they are joined, if that pinches nothing: their only
    common neighbours are then the tips of the two faces between them.
    """
    start, before = draft, len(flat_faces(draft))
    for _ in range(_MOST_ROUNDS):
        flat = flat_faces(draft)
        faces, mate, around = draft.faces.copy(), draft.mesh.mates, _Around(draft.faces)
        touched = np.zeros(len(draft.vertices), bool)
        rename = np.arange(len(draft.vertices), dtype=np.int32)
        done = 0
        for f in flat.tolist():
            corner = faces[f]
            sides = np.linalg.norm(draft.vertices[corner] - draft.vertices[np.roll(corner, -1)], axis=1)
            short, long = int(sides.argmin()), int(sides.argmax())
            other = int(mate[3 * f + (short if sides[short] <= draft.reach else long)])
            if other < 0 or touched[corner].any() or touched[faces[other // 3]].any():
                continue
            if sides[short] <= draft.reach:
                gone, stays = int(corner[(short + 1) % 3]), int(corner[short])
                if len(around(gone) & around(stays)) != 2:
                    continue
                rename[gone] = stays
            else:
                # The edge from a to c gives way to the edge from b, on it, to the tip across.
                a, c, b = (int(corner[(long + k) % 3]) for k in range(3))
                g = other // 3
                tip = int(faces[g, (other + 2) % 3])
                if tip == b or faces[g, other % 3] != c or tip in around(b):
                    continue
                faces[f], faces[g] = (b, a, tip), (c, b, tip)
                touched[tip] = True
            touched[corner] = True
            touched[faces[other // 3]] = True
            done += 1
        if not done:
            break
        draft = draft.renamed(rename[faces])
        draft = draft.keep(draft.topology.counted)
    taken = before - len(flat_faces(draft))
    # Chains of flat faces may only be pushed around: then nothing is touched.
    return (draft, taken) if taken > 0 else (start, 0)


def flat_faces(draft: Draft) -> Ints:
    """Numbers of the faces whose corners lie on one line."""
    return np.flatnonzero(heights(draft.mesh) <= _FLAT * draft.reach).astype(np.int32)


class _Around:
    """Which vertices share an edge with a vertex."""

    def __init__(self, faces: Ints) -> None:
        self._faces = faces
        corners = faces.ravel()
        self._order = np.argsort(corners, kind="stable")
        self._sorted = corners[self._order]

    def __call__(self, vertex: int) -> set[int]:
        first, last = np.searchsorted(self._sorted, [vertex, vertex + 1])
        return set(self._faces[self._order[first:last] // 3].ravel().tolist()) - {vertex}


def turn(draft: Draft) -> tuple[Draft, int, int]:
    """Turn faces the way of their surface, and shells that are inside out, with all in them; say how many of each."""
    shells = draft.pieces
    against, wrong = int(shells.against.sum()), int(shells.to_turn.sum())
    return (draft.renamed(turned_over(draft.faces, shells.over)) if against or wrong else draft), against, wrong


def open_edges(draft: Draft) -> int:
    """How many edges have a face on one side only."""
    return int((draft.mesh.mates == OPEN).sum())
