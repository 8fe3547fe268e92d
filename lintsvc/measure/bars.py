"""The bar about a place of a body: its axis, its ends, and where its section is thinnest.

Told from the sides of the bar alone, and so the same wherever in it one begins, and however its faces are split.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.mesh import Floats, Ints, Mesh, frame_of
from lintsvc.measure.rays import first_hits

#: A section is looked at in so many directions.
_RAYS = 24
#: Begun so many widths along the axis, until a section of a bar is there: the tip or the foot may be rounded.
_BEGIN = (0.0, 0.5, -0.5, 1.0, -1.0, 2.0, -2.0)
#: Before its axis is known a bar's sides lean by up to 30 degrees, after that by 15: a draft of 12 a side, and room.
_LEAN_FIRST = 0.5
_LEAN = np.sin(np.radians(15.0))
#: The axis of all sides together is near the first one.
_ALONG = np.cos(np.radians(25.0))
#: It is true to within a tenth of a degree, or so often turned.
_TRUE = np.cos(np.radians(0.1))
_TURNS = 3
#: A side at right angles to the ball is met squarely, to within 25 degrees, and better to within 14; ways this near are
#: one, and so many are tried.
_SQUARE = np.cos(np.radians(25.0))
_SQUARER = np.cos(np.radians(14.0))
_ONE_WAY = np.cos(np.radians(30.0))
_WAYS = 3
#: No bar is broader than so many times its width.
BROAD = 5.0
#: Corners beyond a side by this share of the section make it hollow: no bar.
_HOLLOW = 0.02
#: The foot is looked for so far beside a side, in the width's halves; so many of the rays around must agree.
_BESIDE = 0.25
_AGREE = _RAYS // 4
#: Sections along the bar, and between the last of its own and the next.
_STATIONS = 33
_FINE = 15
#: From both ends so far off, in widths.
_OFF_END = 0.01
#: A side is the bar's own where it leans like most of that side does, within three degrees: not at a rounded tip.
_ALIKE = np.sin(np.radians(3.0))
#: Between two stations the sides do not move by more than they lean.
_STEP = 1.2 * np.tan(np.radians(15.0))
_HAIR = 1e-4
#: Sections of which none is thinner than the other by more are alike.
_SAME = 0.001
#: Sine below which a side goes along the way across.
_PARALLEL = 1e-6
#: This share of a bar, at least, is between its rounded tip and its rounded foot.
_UPRIGHT = 0.4
#: So many sides of a section tell the circle within; of more, every second is taken.
_SIDES = 12
#: So many stand for a curve.
_CURVED = 8
#: A ring of faces is looked for in so many directions.
_AROUND = 180


@dataclass(frozen=True, eq=False)
class Bar:
    """A bar: its `axis`, the `middle` of its thinnest section, the `width` of the circle there, in which direction that
    touches, and how far the section goes `across` it; its `length` from end to end, those at `low` and `high` along the
    axis from the middle.

    `curved`: the section has so many sides that they stand for a curve. `widest`: width of its widest section.
    `sides`: faces seen from within.
    """

    axis: Floats
    middle: Floats
    width: float
    touch: Floats
    across: float
    curved: bool
    widest: float
    low: float
    high: float
    sides: Ints

    @property
    def length(self) -> float:
        """From end to end."""
        return self.high - self.low

    def thinner_than(self, limit: float) -> float:
        """How much of its length is thinner than a limit: one with a draft may be so at its tip only."""
        if self.widest <= limit or self.width >= limit:
            return self.length if self.widest <= limit else 0.0
        return self.length * (limit - self.width) / (self.widest - self.width)


def bar_about(mesh: Mesh, centre: Floats, axis: Floats, across: Floats, width: float) -> Bar | None:
    """Find the bar about a ball of that `width` along an axis that is known nearly; `across`: direction in which the
    ball touches. None for no bar."""
    starts = centre + np.array(_BEGIN)[:, None] * width * axis
    seen = _look(mesh, starts, axis, across)
    good = np.flatnonzero(seen.upright(_LEAN_FIRST) & (seen.distance.max(axis=1) < BROAD * width))
    if not len(good):
        return None
    # Where the sides lean least is neither tip nor foot.
    face = seen.face[good[np.abs(seen.lean[good]).max(axis=1).round(3).argmin()]]
    straight = _axis_of(mesh, face)
    if abs(straight @ axis) > _ALONG:
        axis = straight if straight @ axis > 0 else -straight
    starts = centre + np.array(_BEGIN)[:, None] * width * axis
    seen = _look(mesh, starts, axis, across)
    good = np.flatnonzero(seen.upright(_LEAN) & (seen.distance.max(axis=1) < BROAD * width))
    if not len(good):
        return None
    section = seen.section(int(good[0]))
    for _ in range(_TURNS):
        bar = None if section is None else _along(mesh, section, axis, across)
        if bar is None:
            return None
        # The axis of all sides there are: facets of a rounded tip had a say in the first.
        straight = _axis_of(mesh, bar.sides)
        if abs(straight @ axis) > _TRUE or abs(straight @ axis) < _ALONG:
            return bar
        axis = straight if straight @ axis > 0 else -straight
        middle = bar.middle + (bar.low + bar.high) / 2 * bar.axis
        seen = _look(mesh, middle[None], axis, across)
        section = seen.section(0) if seen.upright(_LEAN)[0] else None
    return bar


def _axis_of(mesh: Mesh, faces: Ints) -> Floats:
    """The direction that is most nearly at right angles to some faces."""
    normals = np.unique(mesh.normals[faces].round(3), axis=0)
    axis: Floats = np.linalg.eigh(normals.T @ normals)[1][:, 0]
    return axis


def _along(mesh: Mesh, section: _Section, axis: Floats, across: Floats) -> Bar | None:
    """The bar about a section of it."""
    middle, width = section.middle, section.width
    low, high = _ends(mesh, middle, axis, across, width)
    length = high - low
    if not np.isfinite(length) or length < 4 * _OFF_END * width:
        return None
    least = _least(mesh, middle, axis, across, (low, high), width)
    if least is None:
        return None
    along, thinnest, widest, sides = least
    here = (thinnest.middle, thinnest.width, thinnest.touch, thinnest.across, thinnest.curved)
    return Bar(axis, *here, widest, low - along, high - along, sides)


def ring_of(mesh: Mesh, bar: Bar) -> Ints:
    """The faces around the thinnest section of a bar."""
    turns = np.arange(_AROUND) * 2 * np.pi / _AROUND
    ways: Floats = np.stack([np.cos(turns), np.sin(turns)], axis=1) @ frame_of(bar.axis).T
    _, face = first_hits(mesh.bvh, np.tile(bar.middle, (_AROUND, 1)), ways)
    return np.unique(face[face >= 0]).astype(np.int32)


def axes_about(mesh: Mesh, centre: Floats, across: Floats) -> list[Floats]:
    """Directions in which a bar may go: at right angles to the direction in which a ball touches, and to a side near
    it, the squarest and nearest first."""
    frame = frame_of(across)
    turns = np.arange(_RAYS) * 2 * np.pi / _RAYS
    ways: Floats = np.stack([np.cos(turns), np.sin(turns)], axis=1) @ frame.T
    distance, face = first_hits(mesh.bvh, np.tile(centre, (_RAYS, 1)), ways)
    normal = mesh.normals[face]
    facing = np.einsum("ij,ij->i", normal, ways)
    square = np.flatnonzero((face >= 0) & (facing > _SQUARE))
    found: list[Floats] = []
    for i in square[np.lexsort((distance[square], facing[square] < _SQUARER))].tolist():
        axis = np.cross(across, normal[i])
        axis /= np.linalg.norm(axis)
        if all(abs(axis @ x) < _ONE_WAY for x in found):
            found.append(axis)
    return found[:_WAYS]


@dataclass(frozen=True, eq=False)
class _Section:
    """One section: the middle of the widest circle within, its diameter, in which direction that touches a side, and
    how far the section goes across that."""

    middle: Floats
    width: float
    touch: Floats
    across: float
    curved: bool


@dataclass(frozen=True, eq=False)
class _Seen:
    """What is seen from (n, 3) points in (k, 3) directions at right angles to an axis: faces (n, k), how far (n, k)
    they are, how squarely (n, k) they are met, and how far (n, k) they lean toward the axis."""

    at: Floats
    axis: Floats
    ways: Floats
    distance: Floats
    face: Ints
    normal: Floats
    facing: Floats
    lean: Floats

    def upright(self, lean: float) -> NDArray[np.bool_]:
        """(n,) whether all that is seen goes along the axis."""
        good = (np.where(self.face >= 0, self.facing, -1.0) > 0) & (np.abs(self.lean) < lean)
        ok: NDArray[np.bool_] = np.asarray(good.all(axis=1), bool)
        return ok

    def leans_like(self, usual: Floats) -> NDArray[np.bool_]:
        """(n,) whether all sides lean as they do elsewhere."""
        alike: NDArray[np.bool_] = (np.abs(self.lean - usual) < _ALIKE).all(axis=1)
        return alike

    def chords(self) -> Floats:
        """(n,) the shortest way through each point from side to side."""
        half = self.distance.shape[1] // 2
        shortest: Floats = (self.distance[:, :half] + self.distance[:, half:]).min(axis=1)
        return shortest

    def section(self, i: int) -> _Section | None:
        """The section at one point; None where it is hollow."""
        frame = np.stack([self.ways[0], np.cross(self.axis, self.ways[0])], axis=1)
        out = self.normal[i] @ frame
        out /= np.linalg.norm(out, axis=1)[:, None]
        corners = self.distance[i, :, None] * (self.ways @ frame)
        far = np.einsum("ij,ij->i", corners, out)
        if (out @ corners.T - far[:, None]).max() > _HOLLOW * self.distance[i].max():
            return None
        # Facets of one side tell the same; a hair apart they would only make it longer to tell.
        lines = np.unique(np.column_stack([out, far / far.max()]).round(4), axis=0, return_index=True)[1]
        curved = len(lines) >= _CURVED
        lines = lines[:: 1 + len(lines) // (_SIDES + 1)]
        return _inscribed(self.at[i], frame, out, far, lines, curved)


def _inscribed(
    at: Floats, frame: Floats, out: Floats, far: Floats, lines: NDArray[np.intp], curved: bool
) -> _Section | None:
    """The widest circle that no side cuts: it touches three of them."""
    threes = np.array(list(combinations(lines.tolist(), 3)), np.intp).reshape(-1, 3)
    rows = np.concatenate([out[threes], np.ones((*threes.shape, 1))], axis=2)
    threes, rows = (x[np.abs(np.linalg.det(rows)) > 1e-6] for x in (threes, rows))
    if not len(threes):
        return None
    found = np.linalg.solve(rows, far[threes][..., None])[:, :2, 0]
    # Not all sides were among the threes: each circle is as wide as the nearest side of all lets it be.
    radii = (far - found @ out.T).min(axis=1)
    radius = float(radii.max())
    if radius <= 0:
        return None
    # Of a flat section many circles are the widest: that in the middle of them.
    widest = found[radii > radius * (1 - _SAME)]
    middle = (widest.min(axis=0) + widest.max(axis=0)) / 2
    rest = far - out @ middle
    touching = np.flatnonzero(rest < rest.min() * (1 + _SAME))
    ways = np.column_stack([-out[touching, 1], out[touching, 0]])
    facing = ways @ out.T
    with np.errstate(divide="ignore"):
        reach = rest / facing
    ahead = np.where(facing > _PARALLEL, reach, np.inf).min(axis=1)
    back = np.where(facing < -_PARALLEL, reach, -np.inf).max(axis=1)
    across = ahead - back
    # Of a flat section the circle may touch an end as well: its breadth is the longer way across.
    longest = int(across.argmax())
    touch = frame @ out[touching[longest]]
    half_way = middle + ways[longest] * (ahead + back)[longest] / 2
    if np.isfinite(half_way).all() and (far - out @ half_way).min() > radius * (1 - _SAME):
        middle = half_way
    return _Section(at + frame @ middle, 2 * radius, touch, float(across[longest]), curved)


def _look(mesh: Mesh, points: Floats, axis: Floats, across: Floats) -> _Seen:
    """Look around (n, 3) points, first across the width."""
    first = across - (across @ axis) * axis
    length = float(np.linalg.norm(first))
    first = first / length if length > 0.1 else frame_of(axis)[:, 0]
    turns = np.arange(_RAYS) * 2 * np.pi / _RAYS
    ways: Floats = np.cos(turns)[:, None] * first + np.sin(turns)[:, None] * np.cross(axis, first)
    distance, face = first_hits(mesh.bvh, np.repeat(points, _RAYS, axis=0), np.tile(ways, (len(points), 1)))
    face = face.reshape(-1, _RAYS)
    normal = mesh.normals[face]
    facing = np.einsum("nij,ij->ni", normal, ways)
    return _Seen(points, axis, ways, distance.reshape(-1, _RAYS), face, normal, facing, normal @ axis)


def _ends(mesh: Mesh, middle: Floats, axis: Floats, across: Floats, width: float) -> tuple[float, float]:
    """How far the bar reaches along its axis from the middle, to its tip or to the face that it stands on.

    Beside a bar with a draft one must look along its sides, not along its axis.
    """
    seen = _look(mesh, middle[None], axis, across)
    out = seen.normal[0]
    starts = middle + seen.ways * seen.distance[0, :, None] + out * (_BESIDE * width / 2)
    sides = axis - (out @ axis)[:, None] * out
    cosine = np.linalg.norm(sides, axis=1)
    sides /= cosine[:, None]
    reach = []
    for way in (-1.0, 1.0):
        inner, _ = first_hits(mesh.bvh, middle[None], way * axis[None])
        beside, _ = first_hits(mesh.bvh, starts, way * sides)
        reach.append(float(min(inner[0], np.sort(beside * cosine)[_AGREE])))
    return -reach[0], reach[1]


def _least(
    mesh: Mesh, middle: Floats, axis: Floats, across: Floats, ends: tuple[float, float], width: float
) -> tuple[float, _Section, float, Ints] | None:
    """Where along the axis the section is thinnest, the section there, the width of the widest, and all faces that are
    sides."""
    off = min(_OFF_END * width, (ends[1] - ends[0]) / 10)
    low, high = ends[0] + off, ends[1] - off
    along = np.linspace(low, high, _STATIONS)
    seen = _look(mesh, middle + along[:, None] * axis, axis, across)
    if not seen.upright(_LEAN).any():
        return None
    usual = np.median(seen.lean[seen.upright(_LEAN)], axis=0)
    first, last = _run(seen, along, usual)
    if along[last] - along[first] < _UPRIGHT * (ends[1] - ends[0]):
        return None
    sides = np.unique(seen.face[first : last + 1])
    heights, tried = [along[first : last + 1]], [seen]
    chosen = [np.arange(first, last + 1)]
    for here, beyond in ((first, first - 1), (last, last + 1)):
        if 0 <= beyond < _STATIONS:
            fine = np.linspace(along[here], along[beyond], _FINE + 2)[1:-1]
            more = _look(mesh, middle + fine[:, None] * axis, axis, across)
            good = more.upright(_LEAN) & more.leans_like(usual)
            count = int(np.argmin(good)) if not good.all() else len(good)
            heights.append(fine[:count])
            tried.append(more)
            chosen.append(np.arange(count))
    best: tuple[float, _Section] | None = None
    widest = 0.0
    for height, look, rows in zip(heights, tried, chosen, strict=True):
        if not len(rows):
            continue
        for k in dict.fromkeys((len(rows) // 2, int(look.chords()[rows].argmin()), 0, len(rows) - 1)):
            section = look.section(int(rows[k]))
            if section is None:
                return None
            widest = max(widest, section.width)
            if best is None or section.width < best[1].width * (1 - _SAME):
                best = float(height[k]), section
    return None if best is None else (*best, widest, sides.astype(np.int32))


def _run(seen: _Seen, along: Floats, usual: Floats) -> tuple[int, int]:
    """The longest stretch of stations at which all sides go along the axis, without a step: first and last."""
    good = seen.upright(_LEAN) & seen.leans_like(usual)
    step = np.abs(np.diff(seen.distance, axis=0)).max(axis=1)
    aslant = np.maximum(seen.facing[1:].min(axis=1), 0.2)
    level = step < _STEP * np.diff(along) / aslant + _HAIR * seen.distance[1:].min(axis=1)
    best, start = (0, -1), 0
    for k in range(len(good)):
        if not good[k]:
            start = k + 1
            continue
        if k and good[k - 1] and not level[k - 1]:
            start = k
        if k - start > best[1] - best[0]:
            best = (start, k)
    return best
