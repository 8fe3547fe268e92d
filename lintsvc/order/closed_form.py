"""Loaded parts that are a beam or a plate: deflection and stress by formula. All else goes to finite elements."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lintsvc.order.file import LoadEntry, RestEntry
from lintsvc.order.frames import Floats
from lintsvc.order.plates import Push, circle, rectangle
from lintsvc.order.shape import Shape
from lintsvc.rulebook.rule import CannotCheck

#: No material of the handbook has another; stress depends little on it.
POISSON = 0.33
#: A bar or plate fills its box (a disc its cylinder) this far; a bar is this many times as long as high, a plate this
#: many times as wide as thick.
_FILLS, _SLENDER, _THIN = 0.985, 8.0, 10.0
#: A bar is pushed in the middle of its width, within this share of it, and held over all of it but this share.
_BESIDE, _UNHELD = 0.1, 0.2
#: A force this near to the middle, as a share of the plate's short side, is in the middle.
_MIDDLE = 0.02

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Estimate:
    """How far a part gives way and how hard it is strained, where, and by what that was found."""

    deflection_mm: float
    deflected_at: Point
    stress_mpa: float
    stressed_at: Point
    by: str


@dataclass(frozen=True, eq=False)
class Plate:
    """A flat plate: its box, the axis across it, and whether it is round."""

    low: Floats
    high: Floats
    across: int
    round: bool

    @property
    def along(self) -> tuple[int, int]:
        """The two axes in its plane."""
        return (self.across + 1) % 3, (self.across + 2) % 3

    @property
    def thick_mm(self) -> float:
        """Its thickness."""
        return float(self.high[self.across] - self.low[self.across])

    def depth(self, points: Floats) -> Floats:
        """Return how far points (n, 3) lie inside of the edge, in the plate's plane."""
        i, j = self.along
        middle, half = (self.low + self.high) / 2, (self.high - self.low) / 2
        away = np.abs(points - middle)[:, [i, j]]
        if self.round:
            return np.asarray(half[i] - np.linalg.norm(away, axis=1))
        return np.asarray((half[[i, j]] - away).min(axis=1))

    def edge(self, inside_mm: float, apart_mm: float) -> Floats:
        """Return points (n, 3) along the whole edge, so far inside of it and at most so far apart."""
        i, j = self.along
        middle = (self.low + self.high) / 2
        half = (self.high - self.low)[[i, j]] / 2 - inside_mm
        if (half <= 0).any():
            raise CannotCheck("what holds the edge reaches over the plate's middle; say a smaller reach")
        if self.round:
            turn = np.linspace(0, 2 * np.pi, max(8, int(np.ceil(2 * np.pi * half[0] / apart_mm))), endpoint=False)
            flat = np.column_stack([half[0] * np.cos(turn), half[0] * np.sin(turn)])
        else:
            nx, ny = (max(2, int(np.ceil(2 * x / apart_mm)) + 1) for x in half)
            x, y = np.linspace(-half[0], half[0], nx), np.linspace(-half[1], half[1], ny)[1:-1]
            sides = [np.column_stack([x, np.full(nx, s * half[1])]) for s in (-1, 1)]
            sides += [np.column_stack([np.full(ny - 2, s * half[0]), y]) for s in (-1, 1)]
            flat = np.vstack(sides)
        points = np.tile(middle, (len(flat), 1))
        points[:, [i, j]] += flat
        return points


def plate_of(shape: Shape) -> Plate | None:
    """Return a shape as a rectangular or round plate with at most small holes; None where it is none."""
    low, high = shape.box
    size = high - low
    across = int(size.argmin())
    wide = np.delete(size, across)
    if shape.volume_mm3 is None or size[across] <= 0 or wide.min() < _THIN * size[across]:
        return None
    box = float(np.prod(size))
    if shape.volume_mm3 >= _FILLS * box:
        return Plate(low, high, across, round=False)
    disc = box * np.pi / 4
    if abs(wide[0] - wide[1]) < 0.01 * wide[0] and _FILLS * disc <= shape.volume_mm3 <= disc * 1.001:
        # A square with large round corners has a disc's box and not its volume; a disc has no point outside of it.
        i, j = (across + 1) % 3, (across + 2) % 3
        middle = (low + high) / 2
        away = np.hypot(shape.vertices[:, i] - middle[i], shape.vertices[:, j] - middle[j])
        if away.max() <= wide.max() / 2 * 1.001:
            return Plate(low, high, across, round=True)
    return None


def plate_or_ask(shape: Shape, id: str) -> Plate:
    """Return a shape as a plate. Raises CannotCheck where it is none, so that its edge is not one."""
    plate = plate_of(shape)
    if plate is None:
        raise CannotCheck(f"{id} is no flat rectangle or disc, so it has no one edge: name points in its [[rest]]")
    return plate


def rest_points(shape: Shape, rest: RestEntry) -> Floats:
    """Return where a rest holds a shape (n, 3): its points, or those along the plate's edge. Raises CannotCheck."""
    if rest.along is None:
        return np.asarray(rest.points, float)
    return plate_or_ask(shape, rest.of).edge(rest.reach, rest.reach)


def force_of(load: LoadEntry) -> Floats:
    """Return a load as a vector (N)."""
    way = np.array(load.direction, float)
    return np.asarray(way / np.linalg.norm(way) * load.force)


def closed_form(
    shape: Shape, loads: Sequence[LoadEntry], rests: Sequence[RestEntry], young_mpa: float
) -> Estimate | None:
    """Return the estimate of a bar held at one end or a plate held along its edge; None for all else."""
    if shape.volume_mm3 is None or len(loads) != 1:
        return None
    if any(x.along for x in rests):
        return _plate(shape, loads[0], rests, young_mpa)
    return beam(shape, loads[0], rests, young_mpa)


def beam(shape: Shape, load: LoadEntry, rests: Sequence[RestEntry], young_mpa: float) -> Estimate | None:
    """Return deflection at the free end and stress at the clamp for a bar held at one end; else None.

    Held over its width, pushed in the middle of it: beside that it twists, which no beam's formula knows.

    Roark's Formulas for Stress and Strain, Table 8.1, case 1a: F a³ / (3 E I), and beyond the load its slope.
    """
    low, high = shape.box
    size = high - low
    if (shape.volume_mm3 or 0.0) < _FILLS * float(np.prod(size)) or load.over is not None:
        return None
    force, at = force_of(load), np.array(load.at)
    axis = int(size.argmax())
    across = int(np.abs(force).argmax())
    if across == axis or abs(force[across]) < 0.999 * np.linalg.norm(force) or any(x.kind != "clamp" for x in rests):
        return None
    if any(((np.array(p) < low - x.reach) | (np.array(p) > high + x.reach)).any() for x in rests for p in x.points):
        return None
    side = 3 - axis - across
    if abs(at[side] - (low[side] + high[side]) / 2) > _BESIDE * size[side] or not _over_the_width(
        rests, side, low, high
    ):
        return None
    held = [(p[axis] - x.reach, p[axis] + x.reach) for x in rests for p in x.points]
    first, last = min(x for x, _ in held), max(x for _, x in held)
    if first <= low[axis] + 1e-6 and at[axis] > last:
        root, end = last, high[axis]
    elif last >= high[axis] - 1e-6 and at[axis] < first:
        root, end = first, low[axis]
    else:
        return None
    arm, whole = abs(at[axis] - root), abs(end - root)
    height, width = float(size[across]), float(size[side])
    if arm < _SLENDER * height:
        return None
    inertia = width * height**3 / 12
    deflection = load.force * arm**2 / (6 * young_mpa * inertia) * (3 * whole - arm)
    stress = load.force * arm * height / 2 / inertia
    middle = (low + high) / 2
    tip, strained = middle.copy(), middle.copy()
    tip[axis], strained[axis] = end, root
    strained[across] = high[across]
    return Estimate(deflection, point_of(tip), stress, point_of(strained), "beam formula")


def _over_the_width(rests: Sequence[RestEntry], side: int, low: Floats, high: Floats) -> bool:
    """True when what holds a bar holds hardly less than its whole width: held in its middle alone it turns about it."""
    spans = sorted((p[side] - x.reach, p[side] + x.reach) for x in rests for p in x.points)
    free, reached = 0.0, float(low[side])
    for first, last in [*spans, (float(high[side]), float(high[side]))]:
        free += max(0.0, min(first, float(high[side])) - reached)
        reached = max(reached, last)
    return bool(free <= _UNHELD * (high[side] - low[side]))


def _plate(shape: Shape, load: LoadEntry, rests: Sequence[RestEntry], young_mpa: float) -> Estimate | None:
    """Return the estimate of a plate held along its whole edge and pushed evenly or in its middle; else None."""
    plate = plate_of(shape)
    if plate is None or len(rests) != 1:
        return None
    (rest,) = rests
    force, across = force_of(load), plate.across
    if abs(force[across]) < 0.999 * load.force:
        return None
    middle = (plate.low + plate.high) / 2
    free = (plate.high - plate.low)[list(plate.along)] - 2 * rest.reach
    thick = plate.thick_mm
    if free.min() < _THIN * thick:
        return None
    evenly = load.over == "face"
    off = np.delete(np.array(load.at) - middle, across)
    if not evenly and np.abs(off).max() > _MIDDLE * free.min():
        return None
    # A real push is no point: it is taken as spread over a circle as wide as twice the sheet's thickness.
    share = float(np.prod(free)) / float(np.prod((plate.high - plate.low)[list(plate.along)])) if evenly else 1.0
    push = Push(load.force * share, evenly, thick)
    clamped = rest.kind == "clamp"
    if plate.round:
        bent = circle(float(free[0]) / 2, thick, young_mpa, POISSON, clamped, push)
    else:
        bent = rectangle((float(free[0]), float(free[1])), thick, young_mpa, POISSON, clamped, push)
    # Away from what pushes: there the plate is pulled.
    face = middle.copy()
    pulled = face.copy()
    pulled[across] = plate.high[across] if force[across] > 0 else plate.low[across]
    if bent.at_edge:
        short = plate.along[int(free.argmin())]
        pulled[short] = plate.high[short] - rest.reach
        pulled[across] = plate.low[across] if force[across] > 0 else plate.high[across]
    how = "clamped" if clamped else "simply supported"
    name = f"formula of a {how} {'round' if plate.round else 'rectangular'} plate"
    return Estimate(bent.deflection_mm, point_of(middle), bent.stress_mpa, point_of(pulled), name)


def point_of(row: Floats) -> Point:
    """Return a row as a point."""
    x, y, z = np.asarray(row, float).tolist()
    return x, y, z
