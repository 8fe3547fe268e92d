"""Exact solids that are no sheet parts, each for a reason of its own. Needs build123d."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from parts.bent_solids import R, T, strip


def _rod() -> Any:
    from build123d import Cylinder

    return Cylinder(5, 200)


def _mast() -> Any:
    from build123d import Box, Location

    return Box(200, 100, 3) + Box(20, 20, 254).moved(Location((0, 0, 3 / 2 + 254 / 2)))


def _boss() -> Any:
    from build123d import Box, Location

    return strip([40, 30], [90], 40) + Box(8, 6, 8).moved(Location((15, T + 3, 20)))


def _milled() -> Any:
    from build123d import Align, Box

    return strip([40, 30], [90], 40) - Box(25, 0.8, 40, align=(Align.MIN, Align.MIN, Align.MIN))


def _pocket() -> Any:
    from build123d import Box, Location

    return Box(60, 40, 3) - Box(20, 20, 1).moved(Location((0, 0, 1)))


def _tube() -> Any:
    from build123d import RectangleRounded, extrude

    return extrude(RectangleRounded(60, 40, R + T) - RectangleRounded(60 - 2 * T, 40 - 2 * T, R), 80)


def _wedge() -> Any:
    from build123d import Face, Wire, extrude

    return extrude(
        Face(Wire.make_polygon([(0, 0, 0), (60, 0, 0), (60, 4, 0), (0, 2, 0)], close=True)), 40, dir=(0, 0, 1)
    )


def _dish() -> Any:
    from build123d import Align, Cylinder, Sphere

    ball = Sphere(40) - Sphere(38)
    return ball - Cylinder(80, 120, align=(Align.CENTER, Align.CENTER, Align.MIN)).moved(_up(-30))


def _up(z: float) -> Any:
    from build123d import Location

    return Location((0, 0, z))


def _block() -> Any:
    from build123d import Box

    return Box(30, 25, 20)


def _thick_angle() -> Any:
    from build123d import Box, Location

    return Box(80, 40, 10) + Box(10, 40, 60).moved(Location((-35, 0, 25)))


def _ball() -> Any:
    from build123d import Sphere

    return Sphere(10)


#: Solids that are no sheet parts, and words that the reason must hold.
NO_SHEETS: tuple[tuple[str, Callable[[], Any], str], ...] = (
    ("boss", _boss, "stands"),
    ("mast", _mast, "stands 254 mm out of the sheet of 3 mm"),
    ("rod", _rod, "flat faces lie mostly 200 mm apart, and a sheet is 0.2 to 26 mm thick"),
    ("milled", _milled, "thickness"),
    ("pocket", _pocket, "milled"),
    ("tube", _tube, "close a ring"),
    ("wedge", _wedge, "mm thick"),
    ("dish", _dish, "no two"),
    ("block", _block, "block"),
    ("ball", _ball, "no flat"),
    ("thick angle without a radius", _thick_angle, "milled, not bent"),
)
