"""Round holes: stretches of surface that bend around an axis, hollow side inward."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from lintsvc.measure.bores_grow import grow_bores
from lintsvc.measure.circles import fit_circle
from lintsvc.measure.mesh import Floats, Ints, Mesh, frame_of, point3
from lintsvc.measure.rays import first_hits
from lintsvc.model.finding import Where

#: A hole shows at least this much of its circle; less is a rounded corner or an open channel.
_SWEEP_DEG = 300.0
#: So many stretches are looked at, those of the most faces.
_MOST = 4000
#: A hole of fewer flats is a polygon: a nut's seat, a square pocket.
_FACETS = 8
#: The middles of its flats come no nearer to the axis than those of so few.
_FLATS = np.cos(np.pi / _FACETS) - 0.01
#: Material this near behind the end, in diameters, is the hole's bottom: flat, round or a drill's cone.
_BOTTOM = 0.75

#: Pieces of one hole have one diameter and one axis, to within half a degree and a share of the diameter.
_SAME = 1.005
_IN_LINE = np.cos(np.radians(0.5))
_OFF = 0.02
#: A hole that another crosses is interrupted by no more than this many of the other's diameters: they may cross aslant.
_CROSSED = 1.5


@dataclass(frozen=True, eq=False)
class Bore:
    """A round hole. `low`, `high`: the ends of its axis. `closed`: whether each end has a bottom.
    `facets`: into how many flats its circle is cut. `off_round_mm`: how far corners stray from the circle."""

    diameter_mm: float
    low: Floats
    high: Floats
    closed: tuple[bool, bool]
    facets: int
    off_round_mm: float
    faces: Ints

    @cached_property
    def axis(self) -> Floats:
        """Unit vector from low to high."""
        along: Floats = (self.high - self.low) / self.depth_mm
        return along

    @property
    def depth_mm(self) -> float:
        """Length along the axis."""
        return float(np.linalg.norm(self.high - self.low))

    @property
    def blind(self) -> bool:
        """It has a bottom at one end."""
        return self.closed[0] != self.closed[1]

    @property
    def through(self) -> bool:
        """It is open at both ends."""
        return not self.closed[0] and not self.closed[1]

    def holds(self, point: Any) -> bool:
        """Whether a point lies in the hole."""
        along = float((point - self.low) @ self.axis)
        off = float(np.linalg.norm(point - self.low - along * self.axis))
        return -0.5 * self.diameter_mm <= along <= self.depth_mm + 0.5 * self.diameter_mm and off < self.diameter_mm / 2

    def where(self) -> Where:
        """The place as a finding shows it: the middle of the axis, and a diameter there."""
        middle = (self.low + self.high) / 2
        across = frame_of(self.axis)[:, 0] * self.diameter_mm / 2
        reach = self.diameter_mm / 2 * np.sqrt(np.maximum(0.0, 1 - self.axis**2))
        low, high = np.minimum(self.low, self.high) - reach, np.maximum(self.low, self.high) + reach
        return Where(
            point=point3(middle),
            box=(point3(low), point3(high)),
            faces=tuple(self.faces.tolist()),
            span=(point3(middle - across), point3(middle + across)),
        )


def find_bores(mesh: Mesh) -> list[Bore]:
    """Return the round holes of a mesh, the narrowest first."""
    if not len(mesh):
        return []
    label, count = grow_bores(mesh)
    order = np.argsort(label, kind="stable")
    starts = np.searchsorted(label[order], np.arange(count + 1))
    largest = np.argsort(starts[:-1] - starts[1:], kind="stable")[:_MOST]
    found = [
        bore
        for i in largest.tolist()
        if (bore := _bore(mesh, np.sort(order[starts[i] : starts[i + 1]]).astype(np.int32))) is not None
    ]
    return sorted(_joined(found), key=lambda x: x.diameter_mm)


def _joined(bores: list[Bore]) -> list[Bore]:
    """Put together the pieces of holes that wider ones cross."""
    left = sorted(bores, key=lambda x: x.diameter_mm)
    done: list[Bore] = []
    while left:
        one = left.pop(0)
        # Of one diameter are those next to it.
        alike = [x for x in left if x.diameter_mm <= one.diameter_mm * _SAME]
        piece = next((x for x in alike if _one_hole(one, x, left)), None)
        if piece is None:
            done.append(one)
            continue
        left.remove(piece)
        left.insert(0, _together(one, piece))
    return done


def _one_hole(one: Bore, other: Bore, wider: list[Bore]) -> bool:
    """Whether two bores are one hole, cut in two by a wider one that it is deeper than on both sides."""
    apart = other.low - one.low
    off = apart - (apart @ one.axis) * one.axis
    if abs(float(one.axis @ other.axis)) < _IN_LINE or np.linalg.norm(off) > _OFF * one.diameter_mm:
        return False
    along = np.sort([float((x - one.low) @ one.axis) for x in (other.low, other.high)])
    gap = max(float(along[0]) - one.depth_mm, -float(along[1]))
    if not 0 < gap < min(one.depth_mm, other.depth_mm):
        return False
    middle = one.low + one.axis * ((one.depth_mm + along[0]) / 2 if along[0] > 0 else along[1] / 2)
    return any(
        x is not other
        and gap < _CROSSED * x.diameter_mm
        and abs(float(x.axis @ one.axis)) < _IN_LINE
        and x.holds(middle)
        for x in wider
    )


def _together(one: Bore, other: Bore) -> Bore:
    ends = [(one.low, one.closed[0]), (one.high, one.closed[1]), (other.low, other.closed[0])]
    ends = sorted([*ends, (other.high, other.closed[1])], key=lambda x: float((x[0] - one.low) @ one.axis))
    (low, shut), (high, ended) = ends[0], ends[-1]
    return Bore(
        max(one.diameter_mm, other.diameter_mm),
        low,
        high,
        (shut, ended),
        min(one.facets, other.facets),
        max(one.off_round_mm, other.off_round_mm),
        np.sort(np.concatenate([one.faces, other.faces])),
    )


def _bore(mesh: Mesh, faces: Ints) -> Bore | None:
    """Fit the axis and the circle to the faces of one stretch; None when they are no hole."""
    normals, weight = mesh.normals[faces], mesh.areas[faces]
    _, vectors = np.linalg.eigh((normals * weight[:, None]).T @ normals)
    axis = vectors[:, 0]
    frame = frame_of(axis)
    corners = mesh.vertices[np.unique(mesh.faces[faces])]
    flat = corners @ frame
    centre, radius = fit_circle(flat)
    off = np.linalg.norm(flat - centre, axis=1)
    # Corners of facets lie on the circle; a facet that was split again has more corners, on its chord.
    radius = max(radius, float(off.max()))
    sweep, facets = _around(mesh, faces, frame, centre)
    if sweep < _SWEEP_DEG or facets < _FACETS or off.min() < _FLATS * radius:
        return None
    along = corners @ axis
    start = frame @ centre
    low, high = start + axis * along.min(), start + axis * along.max()
    middle = (low + high) / 2
    half = float(np.ptp(along)) / 2
    if half <= 0:
        return None
    ahead, _ = first_hits(mesh.bvh, np.stack([middle, middle]), np.stack([-axis, axis]))
    closed = ahead < half + _BOTTOM * 2 * radius
    return Bore(2 * radius, low, high, (bool(closed[0]), bool(closed[1])), facets, float(radius - off.min()), faces)


def _around(mesh: Mesh, faces: Ints, frame: Floats, centre: Floats) -> tuple[float, int]:
    """How many degrees the faces cover around the centre, and in how many directions they look."""
    corners: Any = mesh.vertices[mesh.faces[faces]] @ frame - centre
    turn = np.degrees(np.arctan2(corners[..., 1], corners[..., 0]))
    first = turn[:, :1]
    # Corners of a face as turns from its first corner, so that none jumps at 180 degrees.
    turn = first + (turn - first + 180.0) % 360.0 - 180.0
    # Each face covers the half degrees from its lowest to its highest corner, between -720 and 720 of them.
    low, high = np.floor(turn.min(axis=1) * 2).astype(np.intp), np.ceil(turn.max(axis=1) * 2).astype(np.intp)
    begun = np.bincount(low + 720, minlength=1441) - np.bincount(high + 720, minlength=1441)
    covered = (np.cumsum(begun)[:1440] > 0).reshape(2, 720).any(axis=0)
    looks = np.degrees(np.arctan2(mesh.normals[faces] @ frame[:, 1], mesh.normals[faces] @ frame[:, 0]))
    directions = np.sort(np.round(looks % 360.0, 1))
    distinct = 1 + int((np.diff(directions) > 1.0).sum())
    return float(covered.sum()) / 2, distinct
