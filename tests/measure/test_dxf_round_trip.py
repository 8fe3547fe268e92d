"""A DXF folded, written as STEP, read back and unfolded gives the drawing back: contour, holes and bend lines."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from parts.flatfiles import circle, dxf, entity, line, polyline
from parts.folds import K, R, T, allowance
from parts.reading import read_bytes
from shapely.geometry import Polygon

from lintsvc.measure.flats import FlatMeasurements
from lintsvc.measure.fold_flat import fold_flat, outline_of
from lintsvc.measure.fold_solid import step_bytes
from lintsvc.measure.solid_sheet import as_sheet
from lintsvc.model.choices import Choices

Point = tuple[float, float]
QUARTER = math.tan(math.pi / 8)  # the bulge of a quarter circle


def strip(straights: Sequence[float], angles: Sequence[float], width: float, radius: float = R) -> tuple[float, str]:
    """Length of a strip along x, and its bend lines; positive angles go up."""
    x, lines = 0.0, ""
    for k, straight in enumerate(straights):
        x += straight
        if k < len(angles):
            wide = allowance(angles[k], radius)
            way = "UP" if angles[k] > 0 else "DOWN"
            at = x + wide / 2
            lines += line((at, 0.0), (at, width), layer=f"BEND_{way}_{abs(angles[k]):g}_R{radius:g}")
            x += wide
    return x, lines


def rounded(long: float, wide: float, r: float = 4.0) -> str:
    """A rectangle with two rounded and two sharp corners."""
    return polyline([(0, 0), (long - r, 0, QUARTER), (long, r), (long, wide), (r, wide, QUARTER), (0, wide - r)])


def arc(x: float, y: float, r: float, start: float, end: float) -> str:
    return entity("ARC", (10, x), (20, y), (40, r), (50, start), (51, end))


def ring(points: Sequence[Point]) -> str:
    return "".join(line(a, b) for a, b in pairwise([*points, points[0]]))


def angle() -> str:
    long, bends = strip([40, 30], [90], 50)
    return rounded(long, 50) + circle(12, 15, 3) + circle(24, 38, 2) + circle(long - 12, 20, 4) + bends


def down() -> str:
    long, bends = strip([45, 28], [-90], 40)
    slot = line((12, 10), (22, 10)) + arc(22, 13, 3, 270, 90) + line((22, 16), (12, 16)) + arc(12, 13, 3, 90, 270)
    return rounded(long, 40) + slot + bends


def odd_angles() -> str:
    long, bends = strip([25, 50, 35], [30, -112.5], 60)
    return rounded(long, 60) + circle(12, 12, 4.5) + circle(long - 14, 44, 6) + bends


def offset() -> str:
    long, bends = strip([30, 12, 40], [90, -90], 35)
    return rounded(long, 35) + circle(10, 10, 2.1) + circle(long - 20, 20, 5) + bends


def hem() -> str:
    long, bends = strip([60, 15], [180], 45, radius=1.0)
    return rounded(long, 45) + circle(15, 30, 5) + bends


def tray() -> str:
    """Four walls with reliefs at three corners; the fourth is mitred."""
    wide = allowance(90)
    x0, x1, y0, y1, out = 0.0, 80.0, 0.0, 50.0, 20.0 + wide
    notch = 2.0  # beside each wall
    points: list[Point] = [
        (x0 + notch, y0), (x0 + notch, y0 - out), (x1 - notch, y0 - out), (x1 - notch, y0), (x1, y0), (x1, y0 + notch),
        (x1 + out, y0 + notch), (x1 + out, y1 - notch), (x1, y1 - notch), (x1, y1), (x1 - notch, y1),
        (x1 - notch, y1 + out), (x0 + notch, y1 + out - 5), (x0 + notch, y1), (x0, y1), (x0, y1 - notch),
        (x0 - out, y1 - notch), (x0 - out, y0 + notch), (x0, y0 + notch), (x0, y0),
    ]  # fmt: skip
    at, layer = wide / 2, f"bend up 90 R{R:g}"
    bends = line((x0 + notch, y0 - at), (x1 - notch, y0 - at), layer=layer)
    bends += line((x0 + notch, y1 + at), (x1 - notch, y1 + at), layer=layer)
    bends += line((x0 - at, y0 + notch), (x0 - at, y1 - notch), layer=layer)
    bends += line((x1 + at, y0 + notch), (x1 + at, y1 - notch), layer=layer)
    return ring(points) + circle(20, 15, 5) + circle(60, 40, 3) + bends


def interrupted() -> str:
    """One bend in two pieces beside a window, and a sloping end."""
    wide = allowance(90)
    at = 40 + wide / 2
    long = 80 + wide
    window = ring([(30, 20), (55, 20), (55, 34), (30, 34)])
    layer = f"BEND_DOWN_90_R{R:g}"
    bends = line((at, 0), (at, 20), layer=layer) + line((at, 34), (at, 60), layer=layer)
    return ring([(0, 0), (long, 0), (long, 45), (long - 15, 60), (0, 60)]) + window + circle(10, 10, 2) + bends


FLATS: list[Callable[[], str]] = [angle, down, odd_angles, offset, hem, tray, interrupted]


@pytest.mark.parametrize("make", FLATS, ids=[x.__name__ for x in FLATS])
def test_a_drawing_comes_back(tmp_path: Path, make: Callable[[], str]) -> None:
    drawn = read_bytes(tmp_path, dxf(make())).sheet
    assert drawn is not None
    flat = FlatMeasurements(drawn, Choices(k_factor=K), None)
    folded = fold_flat(flat, T)
    solid = read_bytes(tmp_path, step_bytes(folded))
    back = as_sheet(solid, None, K)
    assert back.sheet is not None, back.not_a_sheet_because
    assert back.sheet.thickness_mm == pytest.approx(T)
    again = FlatMeasurements(back.sheet, Choices(), None)
    one, other = outline_of(flat), outline_of(again)
    assert again.area_mm2 == pytest.approx(flat.area_mm2, rel=1e-4)
    assert sorted(x.diameter_mm for x in again.holes) == pytest.approx(
        sorted(x.diameter_mm for x in flat.holes), abs=2e-3
    )
    # The same drawing, seen from this side or from the other.
    fits = [m for m in moves(one, other) if distance(one, other, m) < 0.02]
    assert fits
    assert any(same_bends(flat, again, m) for m in fits)


def moves(one: Polygon, other: Polygon) -> Iterator[NDArray[np.float64]]:
    """Rigid moves (2, 3), turned over or not, that take the longest side of one outline to one of the other's."""
    a, b = corners(one)[longest(one)]
    for mirror in (1.0, -1.0):
        flip = np.diag([1.0, mirror])
        for p, q in sides(other):
            if abs(math.dist(p, q) - math.dist(a, b)) > 0.05:
                continue
            for start, end in ((p, q), (q, p)):
                turn = complex(*(end - start)) / complex(*(flip @ (b - a)))
                turn /= abs(turn)
                spin = np.array([[turn.real, -turn.imag], [turn.imag, turn.real]]) @ flip
                yield np.column_stack([spin, (start + end) / 2 - spin @ (a + b) / 2])


def corners(shape: Polygon) -> NDArray[np.float64]:
    points = np.asarray(shape.exterior.coords)
    return np.stack([points[:-1], points[1:]], axis=1)


def sides(shape: Polygon) -> NDArray[np.float64]:
    found = corners(shape)
    return found[np.hypot(*(found[:, 1] - found[:, 0]).T) > 5.0]


def longest(shape: Polygon) -> int:
    step = corners(shape)
    return int(np.argmax(np.hypot(*(step[:, 1] - step[:, 0]).T)))


def moved(move: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(points @ move[:, :2].T + move[:, 2])


def distance(one: Polygon, other: Polygon, move: NDArray[np.float64]) -> float:
    """How far the two drawings, cutouts and all, are apart at most."""
    return float(shapely.hausdorff_distance(shapely.transform(one.boundary, lambda p: moved(move, p)), other.boundary))


def same_bends(flat: FlatMeasurements, again: FlatMeasurements, move: NDArray[np.float64]) -> bool:
    """True where bends of every angle, radius and direction (the other one, seen from the back) lie where they did."""
    over = np.linalg.det(move[:, :2]) < 0
    drawn, back = bend_lines(flat), bend_lines(again)
    there = {
        (angle, radius, up != over): shapely.transform(x, lambda p: moved(move, p))
        for (angle, radius, up), x in drawn.items()
    }
    return set(there) == set(back) and all(shapely.hausdorff_distance(x, back[key]) < 0.02 for key, x in there.items())


def bend_lines(flat: FlatMeasurements) -> dict[tuple[float, float, bool], shapely.Geometry]:
    """What of the sheet lies on bend lines, by angle, radius and whether it goes up."""
    found: dict[tuple[float, float, bool], shapely.Geometry] = {}
    for x in flat.bends:
        assert x.angle_deg is not None and x.radius_mm is not None
        key = round(x.angle_deg, 2), round(x.radius_mm, 3), x.direction == "up"
        line_there = shapely.intersection(shapely.LineString([x.start, x.end]), outline_of(flat))
        found[key] = shapely.union(found.get(key, shapely.LineString()), line_there)
    return found
