"""Unfolding a sheet solid: every panel and bend laid out flat, with the bend allowance of its material.

The flat is seen from above its upper side. Which side that is: the one towards which more bends
fold (up); where as many go either way, the side of the largest panel that looks towards +Z, then +Y,
then +X. The largest panel lies along X by its longest straight edge, and the flat's corner at (0, 0).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import shapely
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.GeomAbs import GeomAbs_Line
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from lintsvc.measure.solid_faces import SolidFace, Vector
from lintsvc.measure.solid_skins import NotASheet, SharpBend, Skins
from lintsvc.model.sheet import PanelPlace

#: Two ways round to one panel may differ by so much (mm) before the skin counts as closed in itself.
_CLOSED_MM = 0.05
#: Coordinates of the flat are rounded to this when pieces are joined (mm).
_GRID_MM = 1e-6

#: Pieces whose corners agree within this are the same (mm).
_SAME_MM = 1e-5

#: K-factor for an inside radius and a thickness (mm).
KFactor = Callable[[float, float], float]
Turn = tuple[Vector, Vector]


@dataclass(frozen=True, eq=False)
class Zone:
    """A panel or a bend, and how its points lie in the flat.

    `angle_deg` is 0 for a panel. For a bend: `radius_mm` inside, `upward` when it folds towards the
    viewer, `k` its K-factor.
    """

    face: int
    angle_deg: float = 0.0
    radius_mm: float = 0.0
    upward: bool = False
    k: float = 0.0


@dataclass(frozen=True, eq=False)
class UnfoldedBend:
    """A bend in the flat: the middle of its zone, from edge to edge, over windows in it."""

    start: tuple[float, float]
    end: tuple[float, float]
    zone: Zone


@dataclass(frozen=True, eq=False)
class _Strip:
    """A bend without a radius in the flat: where its panels end, and what stands over beyond that on the outside."""

    zone: Zone
    corners: Vector
    #: For each of its two panels, the piece that is part of the corner and not of the panel.
    over: dict[int, Polygon]


@dataclass(eq=False)
class Unfolded:
    """The flat: its outline with cutouts, the bends, and circles of the panels for finding arcs again."""

    outline: BaseGeometry
    bends: list[UnfoldedBend]
    #: Centre and radius of every circular edge that lies on a panel.
    circles: list[tuple[float, float, float]] = field(default_factory=list)
    #: Where the centre of each of those is on the solid.
    centres: list[Vector] = field(default_factory=list)
    panels: list[PanelPlace] = field(default_factory=list)


def unfold(skins: Skins, k_factor: KFactor) -> Unfolded:
    """Return the flat of a sheet. Raises NotASheet for one that cannot lie flat."""
    layout = _Layout(skins, k_factor)
    pieces = [layout.piece(number, home) for number, home in layout.laid_out()]
    valid = [p for p in pieces if p is not None and p.area > 1e-9]
    valid += [Polygon(strip.corners) for strip in layout.strips]
    outline = _union(valid)
    if outline.geom_type != "Polygon":
        raise NotASheet("its faces do not make one connected flat")
    covered = sum(p.area for number, p in zip(layout.numbers, pieces, strict=True) if p and number in skins.partner)
    upper = _union([p for number, p in zip(layout.numbers, pieces, strict=True) if p and number in skins.partner])
    if covered - upper.area > 1e-3 * upper.area:
        twice = covered - upper.area
        raise NotASheet(f"its flat would overlap itself by {twice:.3g} mm²: it cannot be cut from one sheet")
    low_x, low_y, _, _ = outline.bounds
    moved = shapely.transform(outline, lambda at: at - [low_x, low_y])
    bends = [
        UnfoldedBend((a[0] - low_x, a[1] - low_y), (b[0] - low_x, b[1] - low_y), zone)
        for a, b, zone in layout.bend_lines()
    ]
    round_edges = layout.circles()
    # Without the last digits, in which a radius that was converted from inches is no round number.
    circles = [(round(x - low_x, 9), round(y - low_y, 9), round(r, 9)) for x, y, r, _ in round_edges]
    return Unfolded(
        shapely.set_precision(moved, 0.0),
        bends,
        circles,
        [x[3] for x in round_edges],
        layout.panels(np.array([low_x, low_y])),
    )


def _union(pieces: list[BaseGeometry]) -> BaseGeometry:
    """Put pieces of the flat together; a copy of another, as the lower skin of a plate is, costs nothing."""
    kept: list[BaseGeometry] = []
    for piece in pieces:
        plain = shapely.normalize(piece)
        if not any(shapely.equals_exact(plain, other, tolerance=_SAME_MM) for other in kept):
            kept.append(plain)
    if len(kept) == 1:
        return kept[0]
    found = shapely.union_all(kept, grid_size=_GRID_MM)
    # Where a seam rounds to two sides, the copies may close it; else a coarser grid does.
    if found.geom_type != "Polygon":
        found = shapely.union_all(pieces, grid_size=_GRID_MM)
    return found if found.geom_type == "Polygon" else shapely.union_all(pieces, grid_size=10 * _GRID_MM)


class _Layout:
    """Places the faces of the upper skin one after the other, beginning with the largest panel."""

    def __init__(self, skins: Skins, k_factor: KFactor) -> None:
        self.skins, self.faces = skins, skins.faces
        self.thickness = skins.thickness_mm
        self.flip = not self._upper_is_up()
        self.zones = {i: self._zone(self.faces.faces[i], k_factor) for i in skins.upper}
        self.maps = {i: self._map(self.faces.faces[i]) for i in skins.upper}
        self.numbers: list[int] = []
        self._pieces: dict[tuple[int, int], BaseGeometry | None] = {}
        self.turns: dict[int, Turn] = {}
        self.strips: list[_Strip] = []
        self._k_factor = k_factor
        self._place()

    def _upper_is_up(self) -> bool:
        # A bend that windows interrupt counts once: its pieces have one axis.
        bends = set()
        for face in (self.faces.faces[i] for i in self.skins.upper if self.faces.faces[i].kind == "cylinder"):
            foot = face.axis_point - face.axis * float(face.axis_point @ face.axis)
            bends.add((*np.round(np.abs(face.axis), 4).tolist(), *np.round(foot, 2).tolist(), face.hollow))
        ups = sum(1 if bend[-1] else -1 for bend in bends) + sum(1 if x.upward else -1 for x in self.skins.sharp)
        if ups:
            return ups > 0
        base = self._base()
        return next((bool(x > 0) for x in base.normal[::-1] if abs(x) > 1e-6), True)

    def _base(self) -> SolidFace:
        panels = [self.faces.faces[i] for i in self.skins.upper if self.faces.faces[i].kind == "plane"]
        return max(panels, key=lambda face: (face.rough_area, -face.number))

    def _zone(self, face: SolidFace, k_factor: KFactor) -> Zone:
        if face.kind == "plane":
            return Zone(face.number)
        low, high = self._span(face)
        inside = face.radius if face.hollow else face.radius - self.thickness
        if inside < -1e-6 or high - low > 2 * math.pi - 0.05:
            raise NotASheet("it is rolled into a closed tube, or bent around nothing")
        inside = max(0.0, round(inside, 9))
        upward = face.hollow != self.flip
        return Zone(face.number, math.degrees(high - low), inside, upward, k_factor(inside, self.thickness))

    def _ahead(self, face: SolidFace) -> Vector:
        """Unit vector from the axis of a bend to the middle of its face."""
        points = np.concatenate(self.faces.loops(face.number))
        away = points - face.axis_point
        away = away - np.outer(away @ face.axis, face.axis)
        # Corners alone lie on both sides of the middle, however the face is cut up.
        mean = away.mean(axis=0)
        inner = face.point - face.axis_point
        inner = inner - face.axis * float(inner @ face.axis)
        chosen = mean if float(np.linalg.norm(mean)) > 0.05 * face.radius else inner
        return np.asarray(chosen / np.linalg.norm(chosen))

    def _angles(self, face: SolidFace, points: Vector) -> Vector:
        ahead = self._ahead(face)
        across = np.cross(face.axis, ahead)
        away = points - face.axis_point
        return np.asarray(np.arctan2(away @ across, away @ ahead))

    def _span(self, face: SolidFace) -> tuple[float, float]:
        angles = self._angles(face, np.concatenate(self.faces.loops(face.number)))
        return float(angles.min()), float(angles.max())

    def _map(self, face: SolidFace) -> Callable[[Vector], Vector]:
        """How points of a panel or bend lie in its own piece of the flat, seen from the upper side."""
        side = -1.0 if self.flip else 1.0
        if face.kind == "plane":
            along = _direction(self.skins, face)
            across = np.cross(face.normal * side, along)
            return lambda points: np.stack(((points - face.point) @ along, (points - face.point) @ across), axis=-1)
        zone = self.zones[face.number]
        neutral = zone.radius_mm + zone.k * self.thickness
        # Seen from the side of the normal: with the axis upwards, angles grow to the left on the
        # outside of a bend and to the right on its inside.
        sense = (-1.0 if face.hollow else 1.0) * side
        angles = self._angles

        def bent(points: Vector) -> Vector:
            return np.stack((angles(face, points) * neutral * sense, points @ face.axis), axis=-1)

        return bent

    def _place(self) -> None:
        base = self._base().number
        self.turns[base] = (np.eye(2), np.zeros(2))
        queue = [base]
        upper = set(self.skins.upper)
        while queue:
            number = queue.pop(0)
            for edge in self.faces.around[number]:
                other = edge.faces[0] if edge.faces[1] == number else edge.faces[1]
                if not edge.smooth or other not in upper:
                    continue
                ends = self.faces.edge_points(edge.shape)[[0, -1]]
                there = self._flat(number, ends)
                if other in self.turns:
                    wrong = float(np.linalg.norm(self._flat(other, ends) - there, axis=1).max())
                    if wrong > _CLOSED_MM:
                        raise NotASheet("its bends close a ring: it cannot lie flat")
                    continue
                if BRepAdaptor_Curve(edge.shape).GetType() != GeomAbs_Line and not _straight(ends, edge.middle):
                    raise NotASheet("a bend ends along a curve: it is formed, not bent")
                self.turns[other] = _onto(self.maps[other](ends), there)
                queue.append(other)
            for sharp in self.skins.sharp:
                if number in sharp.faces:
                    queue.extend(self._place_beyond(number, sharp))

    def _place_beyond(self, number: int, sharp: SharpBend) -> list[int]:
        """Place the panel beyond a bend without a radius: its allowance of neutral line lies between the two."""
        other = sharp.faces[0] if sharp.faces[1] == number else sharp.faces[1]
        zone = Zone(-1, math.degrees(sharp.turn), 0.0, sharp.upward != self.flip, self._k_factor(0.0, self.thickness))
        allowance = sharp.turn * zone.k * self.thickness
        here = self._flat(number, sharp.ends)
        away = self._away(number, here, self._flat(number, self.faces.faces[number].point[None])[0])
        there = here + away * allowance
        if other in self.turns:
            if float(np.linalg.norm(self._flat(other, sharp.ends) - there, axis=1).max()) > _CLOSED_MM and not any(
                strip.over.keys() == set(sharp.faces) for strip in self.strips
            ):
                raise NotASheet("its bends close a ring: it cannot lie flat")
            return []
        self.turns[other] = _onto(self.maps[other](sharp.ends), there)
        # Seen from its other end, the panel beyond must lie on the far side of the line.
        middle = self._flat(other, self.faces.faces[other].point[None])[0]
        if float((middle - there[0]) @ away) < 0:
            raise NotASheet("a bend without a radius folds its panel back onto itself")
        deep = self.thickness * math.tan(sharp.turn / 2) if sharp.turn < math.radians(170) else 1e3
        wide = (here[1] - here[0]) / max(float(np.linalg.norm(here[1] - here[0])), 1e-12) * self.thickness
        over = {
            number: Polygon(_band(here, away * deep, wide)),
            other: Polygon(_band(there, -away * deep, wide)),
        }
        self.strips.append(_Strip(zone, _band(here, away * allowance, 0 * wide), over))
        return [other]

    def _away(self, number: int, line: Vector, inside: Vector) -> Vector:
        """Unit vector across a line of the flat, away from a point of its panel."""
        along = line[1] - line[0]
        across = np.array([-along[1], along[0]]) / max(float(np.linalg.norm(along)), 1e-12)
        return np.asarray(-across if float((inside - line[0]) @ across) > 0 else across)

    def _flat(self, number: int, points: Vector) -> Vector:
        turn, move = self.turns[number]
        return np.asarray(self.maps[number](points) @ turn.T + move)

    def laid_out(self) -> list[tuple[int, int]]:
        """Faces that make up the flat, each with the upper face whose panel or bend it belongs to."""
        found = [(i, i) for i in self.turns]
        found += [(i, self.skins.owner[i]) for i in (*self.skins.lower, *self.skins.edge_work)]
        found = [(i, home) for i, home in found if home in self.turns]
        self.numbers = [i for i, _ in found]
        return found

    def piece(self, number: int, home: int) -> BaseGeometry | None:
        """A face as a polygon in the flat; all must be placed."""
        if (number, home) not in self._pieces:
            self._pieces[number, home] = self._piece(number, home)
        return self._pieces[number, home]

    def _piece(self, number: int, home: int) -> BaseGeometry | None:
        loops = [self._flat(home, loop) for loop in self.faces.loops(number)]
        loops = [loop for loop in loops if len(loop) >= 3]
        if not loops:
            return None
        polygon: BaseGeometry = Polygon(loops[0], loops[1:])
        if not polygon.is_valid:
            polygon = shapely.make_valid(polygon, method="structure")
        for strip in self.strips:
            if home in strip.over:
                polygon = polygon.difference(strip.over[home])
        return polygon

    def bend_lines(self) -> list[tuple[Vector, Vector, Zone]]:
        """Middle lines of the bends; pieces of one bend between the same panels are one."""
        lines: list[tuple[Vector, Vector, Zone]] = [
            ((strip.corners[0] + strip.corners[3]) / 2, (strip.corners[1] + strip.corners[2]) / 2, strip.zone)
            for strip in self.strips
        ]
        for number, zone in self.zones.items():
            if not zone.angle_deg:
                continue
            own = self.maps[number](np.concatenate(self.faces.loops(number)))
            middle = (own[:, 0].min() + own[:, 0].max()) / 2
            turn, move = self.turns[number]
            ends = np.array([[middle, own[:, 1].min()], [middle, own[:, 1].max()]]) @ turn.T + move
            for i, (start, end, other) in enumerate(lines):
                if _one_line(start, end, ends) and _alike(zone, other):
                    lines[i] = (*_longest(np.concatenate(([start, end], ends))), other)
                    break
            else:
                lines.append((ends[0], ends[1], zone))
        return lines

    def panels(self, low: Vector) -> list[PanelPlace]:
        """Where the panels are on the solid; `low`: what becomes the flat's corner."""
        side = -1.0 if self.flip else 1.0
        found = []
        for number, laid in self.turns.items():
            face = self.faces.faces[number]
            outline = self.piece(number, number) if face.kind == "plane" else None
            if outline is not None and outline.geom_type == "Polygon":
                found.append(_place(self.skins, face, side, laid, low, outline))
        return found

    def circles(self) -> list[tuple[float, float, float, Vector]]:
        """Circular edges of panels: centre in the flat, radius, centre on the solid."""
        found = []
        for number, home in self.laid_out():
            panel = self.faces.faces[home]
            if panel.kind != "plane":
                continue
            for circle in self.faces.circles(number):
                if abs(abs(float(circle.axis @ panel.normal)) - 1) < 1e-6:
                    x, y = self._flat(home, circle.centre[None])[0].tolist()
                    found.append((x, y, circle.radius, circle.centre))
        return found


def _place(skins: Skins, face: SolidFace, side: float, laid: Turn, low: Vector, outline: BaseGeometry) -> PanelPlace:
    along = _direction(skins, face)
    across = np.cross(face.normal * side, along)
    turn, move = laid
    # The flat's own directions on the solid, and the place of its corner.
    right, up = along * turn[0, 0] + across * turn[0, 1], along * turn[1, 0] + across * turn[1, 1]
    corner = face.point + right * (low[0] - move[0]) + up * (low[1] - move[1])
    ring = np.asarray(outline.exterior.coords)[:-1, :2] - low  # type: ignore[attr-defined]
    rows = [(float(a), float(b), float(c)) for a, b, c in np.stack([right, up, corner], axis=1)]
    x, y, z = (-face.normal).tolist()
    return PanelPlace(tuple((float(a), float(b)) for a, b in ring), (rows[0], rows[1], rows[2]), (x, y, z))


def _direction(skins: Skins, face: SolidFace) -> Vector:
    """Unit vector along the longest straight edge of a panel; along an axis where it has none."""
    best, longest = None, 0.0
    for edge in skins.faces.around[face.number]:
        if BRepAdaptor_Curve(edge.shape).GetType() == GeomAbs_Line:
            ends = skins.faces.edge_points(edge.shape)
            length = float(np.linalg.norm(ends[-1] - ends[0]))
            if length > longest + 1e-6:
                best, longest = (ends[-1] - ends[0]) / length, length
    if best is None:
        least = np.eye(3)[int(np.argmin(np.abs(face.normal)))]
        best = least - face.normal * float(least @ face.normal)
        best = best / np.linalg.norm(best)
    # Towards the positive axes, so that a part does not come out upside down for nothing.
    return np.asarray(best if best[int(np.argmax(np.abs(best)))] > 0 else -best)


def _onto(points: Vector, there: Vector) -> Turn:
    """The turn and move that put two points onto two others."""
    have, want = points[1] - points[0], there[1] - there[0]
    angle = math.atan2(want[1], want[0]) - math.atan2(have[1], have[0])
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    return turn, there.mean(axis=0) - turn @ points.mean(axis=0)


def _band(line: Vector, across: Vector, wider: Vector) -> Vector:
    """Corners of the strip that a line sweeps when it moves, made longer at both ends."""
    start, end = line[0] - wider, line[1] + wider
    return np.array([start, end, end + across, start + across])


def _straight(ends: Vector, middle: Vector) -> bool:
    along = ends[1] - ends[0]
    off = np.cross(along, middle - ends[0]) / max(float(np.linalg.norm(along)), 1e-12)
    return float(np.linalg.norm(off)) < 0.005


def _one_line(start: Vector, end: Vector, ends: Vector) -> bool:
    along = (end - start) / max(float(np.linalg.norm(end - start)), 1e-12)
    off = (ends - start) @ np.array([-along[1], along[0]])
    return float(np.abs(off).max()) < 0.01


def _alike(zone: Zone, other: Zone) -> bool:
    return (
        abs(zone.angle_deg - other.angle_deg) < 0.1
        and abs(zone.radius_mm - other.radius_mm) < 0.01
        and zone.upward == other.upward
    )


def _longest(points: Vector) -> tuple[Vector, Vector]:
    along = points[1] - points[0]
    at = points @ along
    return points[int(at.argmin())], points[int(at.argmax())]
