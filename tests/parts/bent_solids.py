"""Bent sheet parts as exact solids, made from straight pieces and arcs, with the flat that they came from.

Everything is drawn from first principles: the profile of a strip is walked along its lower face, straight
pieces between tangent lines, bends as concentric arcs. The length of the flat is then the sum of the
straight pieces and of the allowances. Needs build123d.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

T, R = 2.0, 3.0


@dataclass(frozen=True)
class Bent:
    """A part. `flat(k)`: the two sizes of its flat for a K-factor; the rest is what its bends and holes are."""

    name: str
    make: Callable[[], Any]
    flat: Callable[[float], tuple[float, float]]
    #: Angles bent through.
    angles_deg: tuple[float, ...]
    #: Directions as drawn, +1 towards the upper face of the strip; the reader may look from below.
    directions: tuple[int, ...]
    radius_mm: float = R
    thickness_mm: float = T
    holes_mm: tuple[float, ...] = ()
    #: The part without the work on its edges, which its flat does not hold; None where there is none.
    plain: Callable[[], Any] | None = None


def allowance(angle_deg: float, k: float, radius: float = R, thickness: float = T) -> float:
    """Length of the neutral line of a bend."""
    return math.radians(angle_deg) * (radius + k * thickness)


def profile(straights: Sequence[float], bends: Sequence[float], thickness: float = T, radius: float = R) -> Any:
    """Return the cross section of a strip, in the XY plane. Positive bends turn left, towards its upper face."""
    from build123d import Edge, Face, Vector, Wire

    def side(offset: float) -> tuple[list[Any], Any]:
        edges, at, heading = [], Vector(0, offset, 0), 0.0
        for i, straight in enumerate(straights):
            to = at + Vector(math.cos(heading), math.sin(heading), 0) * straight
            edges.append(Edge.make_line(at, to))
            at = to
            if i == len(bends):
                break
            turn = math.radians(bends[i])
            left = Vector(-math.sin(heading), math.cos(heading), 0)
            arm = radius + thickness - offset if turn > 0 else -(radius + offset)
            centre = at + left * arm
            points = []
            for part in (turn / 2, turn):
                d, c, s = at - centre, math.cos(part), math.sin(part)
                points.append(centre + Vector(d.X * c - d.Y * s, d.X * s + d.Y * c, 0))
            edges.append(Edge.make_three_point_arc(at, *points))
            at, heading = points[1], heading + turn
        return edges, at

    low, low_end = side(0.0)
    high, high_end = side(thickness)
    ends = [Edge.make_line(Vector(0, 0, 0), Vector(0, thickness, 0)), Edge.make_line(low_end, high_end)]
    return Face(Wire([*low, *high, *ends]))


def strip(
    straights: Sequence[float], bends: Sequence[float], width: float, thickness: float = T, radius: float = R
) -> Any:
    """Return a bent strip, its width along Z."""
    from build123d import extrude

    return extrude(profile(straights, bends, thickness, radius), width, dir=(0, 0, 1))


def drill(solid: Any, at: tuple[float, float, float], direction: tuple[float, float, float], diameter: float) -> Any:
    """Return the solid with a round hole, right through whatever lies within 8 mm of the point."""
    from build123d import Cylinder, Location, Plane

    return solid - Cylinder(diameter / 2, 16).moved(Location(Plane(origin=at, z_dir=direction)))


def _strip(name: str, straights: Sequence[float], bends: Sequence[float], width: float, **more: Any) -> Bent:
    radius, thickness = more.get("radius", R), more.get("thickness", T)
    after = more.pop("after", lambda solid: solid)
    holes = more.pop("holes", ())
    plain = more.pop("plain", None)
    return Bent(
        name,
        lambda: after(strip(straights, bends, width, **more)),
        lambda k: (sum(straights) + sum(allowance(abs(b), k, radius, thickness) for b in bends), width),
        tuple(abs(b) for b in bends),
        tuple(1 if b > 0 else -1 for b in bends),
        radius,
        thickness,
        holes,
        None if plain is None else lambda: plain(strip(straights, bends, width, **more)),
    )


def _with_holes(solid: Any) -> Any:
    for z in (12, 38):
        solid = drill(solid, (15, 1, z), (0, 1, 0), 5.5)
    return solid


def _window(solid: Any) -> Any:
    from build123d import Box, Location

    # Cuts the bend of a 40 + 30 strip into two.
    return solid - Box(16, 16, 12).moved(Location((40 + 2, 3, 20)))


def _two_windows(solid: Any) -> Any:
    from build123d import Box, Location

    for z in (12, 28):
        solid = solid - Box(16, 16, 5).moved(Location((40 + 2, 3, z)))
    return solid


def _end_edges(solid: Any) -> Any:
    """Edges across the free end at x = 0."""
    return solid.edges().filter_by(lambda e: e.center().X < 1e-6 and abs(e.length - 40) < 1e-6)


def _rounded(solid: Any) -> Any:
    from build123d import fillet

    return fillet(_end_edges(solid), 0.4)


def _rounded_all_along(solid: Any) -> Any:
    from build123d import fillet

    # The long edges of one side of the strip, through the bend.
    return fillet(solid.edges().filter_by(lambda e: abs(e.center().Z) < 1e-6 and e.length > T + 0.5), 0.4)


def _chamfered(solid: Any) -> Any:
    from build123d import chamfer

    return chamfer(_end_edges(solid), 0.3)


def _countersunk(solid: Any) -> Any:
    from build123d import Plane, Solid

    solid = drill(solid, (20, 1, 20), (0, 1, 0), 4.5)
    # 90 degrees, 8 mm wide at the lower face, 1.75 mm deep: a cylinder of 0.25 mm is left.
    return solid - Solid.make_cone(4.0, 2.25, 1.75, plane=Plane(origin=(20, 0, 20), z_dir=(0, 1, 0)))


def _as_it_is(solid: Any) -> Any:
    return solid


def _drilled(diameter: float) -> Callable[[Any], Any]:
    """A plain hole where the countersunk parts have theirs."""
    return lambda solid: drill(solid, (20, 1, 20), (0, 1, 0), diameter)


def _sunk_through(solid: Any) -> Any:
    from build123d import Plane, Solid

    # A countersink deeper than the sheet: only a cone is left of the hole.
    return solid - Solid.make_cone(5.0, 2.0, 3.0, plane=Plane(origin=(20, 0, 20), z_dir=(0, 1, 0)))


def _splines(solid: Any) -> Any:
    from build123d import Solid
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

    return Solid(BRepBuilderAPI_NurbsConvert(solid.solids()[0].wrapped, True).Shape())


BOX_BASE, BOX_WALL = (90.0, 60.0), 20.0


def _box() -> Any:
    """A tray: four walls up, their ends pulled back to the bend lines (square corner notches)."""
    from build123d import Align, Box, Location, Plane

    x, y = BOX_BASE
    solid = Box(x, y, T, align=(Align.CENTER, Align.CENTER, Align.MIN))
    for turn, half, along in ((0, x / 2, y), (180, x / 2, y), (90, y / 2, x), (270, y / 2, x)):
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        plane = Plane(origin=(0, 0, 0), x_dir=(c, s, 0), z_dir=(s, -c, 0))
        # One millimetre reaches into the base.
        solid = solid + strip([1, BOX_WALL], [90], along).moved(Location(plane) * Location((half - 1, 0, -along / 2)))
    for place in (-25, 25):
        solid = drill(solid, (place, 0, 1), (0, 0, 1), 8)
    return solid


TAB = (30.0, 18.0)


def _hat_with_tab() -> Any:
    """A hat of four bends, with a tab across them on its top."""
    from build123d import Location, Plane

    solid = strip([25, 20, 50, 20, 25], [90, -90, -90, 90], 80)
    # The top's lower face starts after the first two bends.
    start_x, top_y = 25 + (R + T) + R, (R + T) + 20 + R
    tab = strip([1, TAB[1]], [90], TAB[0])
    plane = Plane(origin=(start_x + 25, top_y, 80 - 1), x_dir=(0, 0, 1), z_dir=(-1, 0, 0))
    return solid + tab.moved(Location(plane) * Location((0, 0, -TAB[0] / 2)))


def _sharp(legs: Sequence[float], bends: Sequence[float], width: float) -> Any:
    """A strip whose bends have no radius: mitred corners inside and outside. Legs are those of the lower face."""
    from build123d import Face, Vector, Wire, extrude

    low, heading = [Vector(0, 0, 0)], 0.0
    headings = [0.0]
    for leg, bend in zip(legs, [*bends, 0.0], strict=True):
        low.append(low[-1] + Vector(math.cos(heading), math.sin(heading), 0) * leg)
        heading += math.radians(bend)
        headings.append(heading)
    high = []
    for i, point in enumerate(low):
        before = headings[max(0, i - 1)]
        after = headings[min(i, len(legs) - 1)]
        middle = (before + after) / 2
        high.append(point + Vector(-math.sin(middle), math.cos(middle), 0) * (T / math.cos((after - before) / 2)))
    return extrude(Face(Wire.make_polygon([*low, *reversed(high)], close=True)), width, dir=(0, 0, 1))


def _sharp_inside(solid: Any, *outer: tuple[float, float]) -> Any:
    """The outer corners, at these places of the profile, get the radius that a sharp inside gives them."""
    from build123d import fillet

    for x, y in outer or ((40.0, 0.0),):
        near = solid.edges().filter_by(lambda e, x=x, y=y: math.dist((e.center().X, e.center().Y), (x, y)) < 1e-6)
        solid = fillet(near, T)
    return solid


PARTS: tuple[Bent, ...] = (
    _strip("angle", [40, 30], [90], 50, after=_with_holes, holes=(5.5, 5.5)),
    _strip("open angle", [40, 30], [45], 40),
    _strip("acute angle", [40, 30], [120], 40),
    _strip("channel", [30, 60, 30], [90, 90], 100),
    _strip("offset", [30, 20, 30], [90, -90], 60),
    _strip("shallow offset", [30, 10, 30], [30, -30], 60),
    _strip("hat", [20, 25, 40, 25, 20], [90, -90, -90, 90], 70),
    _strip("hem", [50, 15], [180], 40, radius=1.0),
    _strip("hem on an angle", [15, 40, 30], [180, 90], 40, radius=1.2, thickness=1.5),
    _strip("window in the bend", [40, 30], [90], 40, after=_window),
    _strip("two windows in the bend", [40, 30], [90], 40, after=_two_windows),
    _strip("tight angle", [40, 30], [90], 40, radius=0.5, thickness=1.0),
    _strip("wide curve", [40, 30], [60], 40, radius=60.0),
    _strip("rounded ends", [40, 30], [90], 40, after=_rounded, plain=_as_it_is),
    _strip("rounded sides", [40, 30], [90], 40, after=_rounded_all_along, plain=_as_it_is),
    _strip("chamfered ends", [40, 30], [90], 40, after=_chamfered, plain=_as_it_is),
    _strip("countersunk", [40, 30], [90], 40, after=_countersunk, plain=_drilled(4.5), holes=(4.5,)),
    _strip("sunk through", [40, 30], [90], 40, after=_sunk_through, plain=_drilled(6.0), holes=(2 * (5.0 - 2.0),)),
    _strip("free-form faces", [40, 25, 30], [90, -60], 40, after=_splines),
    # Straight lengths of a sharp corner end where its inner edge is: the outer leg less the thickness.
    Bent(
        "sharp angle",
        lambda: _sharp([40, 30], [90], 40),
        lambda k: (66 + allowance(90, k, 0.0), 40),
        (90,),
        (1,),
        0.0,
        plain=lambda: _sharp_inside(_sharp([40, 30], [90], 40)),
    ),
    Bent(
        "sharp offset",
        lambda: _sharp([40, 20, 30], [90, -90], 40),
        # The lower face's legs: outside of the first bend, inside of the second.
        lambda k: (40 - T + 20 - T + 30 + 2 * allowance(90, k, 0.0), 40),
        (90, 90),
        (1, -1),
        0.0,
        plain=lambda: _sharp_inside(_sharp([40, 20, 30], [90, -90], 40), (40.0, 0.0), (40.0 - T, 20.0 + T)),
    ),
    Bent(
        "sharp inside, round outside",
        lambda: _sharp_inside(_sharp([40, 30], [90], 40)),
        lambda k: (66 + allowance(90, k, 0.0), 40),
        (90,),
        (1,),
        0.0,
    ),
    Bent(
        "tray",
        _box,
        lambda k: tuple(b + 2 * (allowance(90, k) + BOX_WALL) for b in BOX_BASE),  # type: ignore[return-value,arg-type]
        (90.0,) * 4,
        (1, 1, 1, 1),
        holes_mm=(8.0, 8.0),
    ),
    Bent(
        "hat with a tab",
        _hat_with_tab,
        lambda k: (25 + 20 + 50 + 20 + 25 + 4 * allowance(90, k), 80 + allowance(90, k) + TAB[1]),
        (90.0,) * 5,
        (1, -1, -1, 1, 1),
    ),
)


def written(shape: Any, path: Path, unit: str = "MM") -> Path:
    """Write a shape as a STEP file; `unit`: MM or INCH. Names of assemblies go along in MM only."""
    from build123d import export_step
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer

    if unit == "MM":
        export_step(shape, str(path))
        return path
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.unit", unit)
    try:
        writer.Transfer(shape.wrapped, STEPControl_AsIs)
        writer.Write(str(path))
    finally:
        Interface_Static.SetCVal_s("write.step.unit", "MM")
    return path
