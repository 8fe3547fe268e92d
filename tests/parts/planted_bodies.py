"""Printed parts with one fault planted at a known place and value, and the same parts without it.

A part is one of several base shapes that no rule finds fault with, a spot on one of its outer faces, and a
fault built there in the spot's own frame (z out of the face), past its limit for PA12. The whole is turned at random.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection, Manifold
from numpy.typing import NDArray
from parts.bodies import Mesh, rotation, shuffled, split

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spot:
    """A place on an outer face: its frame (columns x, y, z out of the face), and how thick the wall is there."""

    at: tuple[float, float, float]
    frame: Floats
    thickness: float


@dataclass(frozen=True)
class Planted:
    """A part, and where and what the one fault on it is. `box`: low and high corner of the fault, in the part's frame
    before it was turned by `turn`. No rule: no fault."""

    mesh: Mesh
    rule: str
    value: float
    box: tuple[Floats, Floats]
    turn: Floats

    def distance(self, point: tuple[float, float, float]) -> float:
        """How far a place is from the fault, mm."""
        local = np.array(point) @ self.turn
        return float(np.linalg.norm(np.maximum(np.maximum(self.box[0] - local, local - self.box[1]), 0.0)))


def mesh_of(part: Manifold) -> Mesh:
    """Vertices and faces of a solid."""
    mesh = part.to_mesh()
    return np.asarray(mesh.vert_properties[:, :3], float), np.asarray(mesh.tri_verts, np.int64)


def block(x: float, y: float, z: float) -> Manifold:
    """A box whose foot's middle is the origin."""
    return Manifold.cube([x, y, z]).translate([-x / 2, -y / 2, 0])


def cylinder(diameter: float, height: float, facets: int = 48) -> Manifold:
    """An upright round bar on the origin."""
    return Manifold.cylinder(height, diameter / 2, -1, facets)


UP = np.eye(3)
#: Columns x, y, z of a frame that looks along +x.
ALONG_X = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def tray() -> tuple[Manifold, list[Spot]]:
    """An open box with walls of 2.5 mm."""
    part = block(70, 50, 14) - block(65, 45, 14).translate([0, 0, 2.5])
    return part, [Spot((8.0, -5.0, 2.5), UP, 2.5), Spot((-15.0, 8.0, 2.5), UP, 2.5)]


def angle() -> tuple[Manifold, list[Spot]]:
    """An L of two plates of 4 mm."""
    part = block(60, 40, 4) + block(4, 40, 40).translate([-28, 0, 0])
    return part, [Spot((10.0, 0.0, 4.0), UP, 4.0), Spot((-26.0, 0.0, 24.0), ALONG_X, 4.0)]


def ribbed() -> tuple[Manifold, list[Spot]]:
    """A plate of 3 mm with two ribs and a round boss."""
    part = block(80, 50, 3)
    for y in (-20, 20):
        part += block(70, 2, 10).translate([0, y, 2])
    part += cylinder(9, 8).translate([-28, 0, 2]) - cylinder(4, 9).translate([-28, 0, 2])
    return part, [Spot((5.0, 0.0, 3.0), UP, 3.0), Spot((22.0, 3.0, 3.0), UP, 3.0)]


def frame() -> tuple[Manifold, list[Spot]]:
    """A flat ring of 6 mm with rounded corners."""
    outer = CrossSection.square([50, 40], True).offset(6, manifold_join(), 2.0, 64)
    inner = CrossSection.square([26, 16], True).offset(4, manifold_join(), 2.0, 64)
    part = Manifold.extrude(outer - inner, 6)
    return part, [Spot((0.0, 19.5, 6.0), UP, 6.0), Spot((0.0, -19.5, 6.0), UP, 6.0)]


def manifold_join() -> object:
    """The round join of outlines."""
    from manifold3d import JoinType

    return JoinType.Round


def pipe() -> tuple[Manifold, list[Spot]]:
    """A round pipe, its wall 4 mm; the spot's x runs along it."""
    part = cylinder(40, 50, 128) - cylinder(32, 52, 128).translate([0, 0, -1])
    frame = np.array([[0.0, 0.0, 1.0], [0.0, -1.0, 0.0], [1.0, 0.0, 0.0]])
    return part, [Spot((20.0, 0.0, 25.0), frame, 4.0)]


def gusset() -> tuple[Manifold, list[Spot]]:
    """A foot of 5 mm and a wall of 4 mm, held by two three-cornered gussets of 3 mm."""
    part = block(60, 44, 5) + block(4, 44, 34).translate([-28, 0, 0])
    outline = CrossSection([[[0.0, 0.0], [20.0, 0.0], [0.0, 20.0]]])
    for y in (-18.5, 21.5):
        part += Manifold.extrude(outline, 3).rotate([90, 0, 0]).translate([-27, y, 4])
    return part, [Spot((14.0, 0.0, 5.0), UP, 5.0), Spot((-26.0, 0.0, 22.0), ALONG_X, 4.0)]


def turned_flange() -> tuple[Manifold, list[Spot]]:
    """A round flange of 5 mm with a hub, a bore through both and a rounded shoulder between them."""
    profile = [[5.0, 0.0], [36.0, 0.0], [36.0, 5.0], [15.0, 5.0]]
    profile += [[15 - 4 * np.sin(a), 9 - 4 * np.cos(a)] for a in np.linspace(0.1, np.pi / 2, 9)]
    part = Manifold.revolve(CrossSection([[*profile, [11.0, 18.0], [5.0, 18.0]]]), 64)
    return part, [Spot((25.0, 0.0, 5.0), UP, 5.0), Spot((0.0, -25.0, 5.0), UP, 5.0)]


def dome() -> tuple[Manifold, list[Spot]]:
    """Half a hollow ball of 3 mm on a flat brim of 4 mm."""
    ball = Manifold.sphere(22, 64) - Manifold.sphere(19, 64)
    part = (ball + cylinder(84, 4, 64) - cylinder(38.5, 10, 64).translate([0, 0, -1])).trim_by_plane([0, 0, 1], 0)
    return part + ball.trim_by_plane([0, 0, 1], 0), [Spot((32.0, 0.0, 4.0), UP, 4.0), Spot((0.0, 32.0, 4.0), UP, 4.0)]


BASES: dict[str, Callable[[], tuple[Manifold, list[Spot]]]] = {
    "tray": tray,
    "angle": angle,
    "ribbed": ribbed,
    "frame": frame,
    "pipe": pipe,
    "gusset": gusset,
    "turned flange": turned_flange,
    "dome": dome,
}
#: Faults whose value a round face would change.
FLAT_ONLY = {"raised", "sunk", "loose", "floor", "hole", "void", "escape"}


def fits(base: str, fault: str) -> bool:
    """Whether a fault can be built on a base at its stated value."""
    return not (base == "pipe" and fault in FLAT_ONLY)


Change = tuple[Manifold | None, Manifold | None, tuple[Floats, Floats]]


def _box(*corners: float) -> tuple[Floats, Floats]:
    return np.array(corners[:3]), np.array(corners[3:])


def wall(value: float, spot: Spot) -> Change:
    """A fin 7 mm long and 5 mm high, or a rib a little higher than wide."""
    high = 5.0 if value < 0.6 else 1.3 * value
    return block(7, value, high + 1).translate([0, 0, -1]), None, _box(-3.5, -value / 2, 0, 3.5, value / 2, high)


def pin(value: float, spot: Spot) -> Change:
    """A round pin 5 mm high, or one not twice as long as thick."""
    r = value / 2
    high = 5.0 if value < 0.7 else 1.8 * value
    return cylinder(value, high + 1).translate([0, 0, -1]), None, _box(-r, -r, 0, r, r, high)


def post(value: float, spot: Spot) -> Change:
    """A square pin 5 mm high."""
    r = value / 2
    return block(value, value, 6).translate([0, 0, -1]), None, _box(-r, -r, 0, r, r, 5)


def gap(value: float, spot: Spot) -> Change:
    """Two round posts close to each other."""
    x = 1.5 + value / 2
    posts = cylinder(3, 7).translate([-x, 0, -1]) + cylinder(3, 7).translate([x, 0, -1])
    return posts, None, _box(-value / 2, -0.5, 0, value / 2, 0.5, 6)


def slot(value: float, spot: Spot) -> Change:
    """A straight cut through the wall."""
    cut = block(6, value, spot.thickness + 2).translate([0, 0, -spot.thickness - 1])
    return None, cut, _box(-3, -value / 2, -spot.thickness, 3, value / 2, 0)


def hole(value: float, spot: Spot) -> Change:
    """A round hole through the wall."""
    r = value / 2
    cut = cylinder(value, spot.thickness + 2).translate([0, 0, -spot.thickness - 1])
    return None, cut, _box(-r, -r, -spot.thickness, r, r, 0)


def void(value: float, spot: Spot) -> Change:
    """A closed cube-shaped hollow of the given volume in a boss."""
    side = value ** (1 / 3)
    outer = block(side + 5, side + 5, side + 4).translate([0, 0, -1])
    r = side / 2
    return outer, block(side, side, side).translate([0, 0, 0.5]), _box(-r, -r, 0.5, r, r, 0.5 + side)


def escape(value: float, spot: Spot) -> Change:
    """A hollow boss with one round hole in its lid."""
    cut = block(8, 8, 8).translate([0, 0, 1]) + cylinder(value, 5).translate([1, 0, 8.5])
    r = value / 2
    return block(12, 12, 12).translate([0, 0, -1]), cut, _box(1 - r, -r, 9, 1 + r, r, 11)


def raised(value: float, spot: Spot) -> Change:
    """A low raised bar."""
    return block(6, 2, value + 1).translate([0, 0, -1]), None, _box(-3, -1, 0, 3, 1, value)


def sunk(value: float, spot: Spot) -> Change:
    """A shallow sunk bar."""
    return None, block(6, 2, 3).translate([0, 0, -value]), _box(-3, -1, -value, 3, 1, 0)


def loose(value: float, spot: Spot) -> Change:
    """A separate cube that hovers."""
    return block(4, 4, 4).translate([0, 0, value]), None, _box(-2, -2, 0, 2, 2, value)


def blade(value: float, spot: Spot) -> Change:
    """A fin that runs out to a sharp edge; `value` is how far from the edge it is under 0.8 mm."""
    half = np.arctan(0.4 / value)
    high = 6.0
    outline = CrossSection([[[-high * np.tan(half), 0.0], [high * np.tan(half), 0.0], [0.0, high]]])
    # The outline's y is the fin's height.
    fin = Manifold.extrude(outline, 8).rotate([90, 0, 0]).translate([0, 4, 0])
    return fin + block(2 * high * np.tan(half), 8, 1).translate([0, 0, -1]), None, _box(-0.1, -4, high, 0.1, 4, high)


def floor(value: float, spot: Spot) -> Change:
    """A pocket that leaves a thin floor."""
    cut = block(8, 5, spot.thickness).translate([0, 0, value - spot.thickness])
    return None, cut, _box(-4, -2.5, -spot.thickness, 4, 2.5, value - spot.thickness)


def groove(value: float, spot: Spot) -> Change:
    """A V-shaped groove that leaves a thin bridge; only its bottom line is thin."""
    deep = spot.thickness - value
    cut = Manifold.extrude(CrossSection([[[0.0, -deep], [deep + 1, 1.0], [-deep - 1, 1.0]]]), 8)
    return None, cut.rotate([90, 0, 0]).translate([0, 4, 0]), _box(-0.3, -4, -spot.thickness, 0.3, 4, -deep)


def web(value: float, spot: Spot) -> Change:
    """Two round holes close to each other."""
    x = 2 + value / 2
    long = spot.thickness + 2
    cut = cylinder(4, long).translate([-x, 0, 0]) + cylinder(4, long).translate([x, 0, 0])
    edge = _box(-value / 2, -0.3, -spot.thickness, value / 2, 0.3, 0)
    return None, cut.translate([0, 0, -spot.thickness - 1]), edge


def corner(value: float, spot: Spot) -> Change:
    """A pocket whose one corner comes near a round hole; only the upright line of the corner is thin."""
    deep = spot.thickness / 2
    hole = cylinder(4, spot.thickness + 2).translate([-2 - value, 0, -spot.thickness - 1])
    pocket = block(4, 4, deep + 1).rotate([0, 0, 45]).translate([4 / 2**0.5, 0, -deep])
    return None, hole + pocket, _box(-value, -0.3, -deep, 0, 0.3, 0)


#: Fault: how it is built, the rule that must find it, and values past the limit (PA12), by the wall's thickness.
FAULTS: dict[str, tuple[Callable[[float, Spot], Change], str, Callable[[float], tuple[float, float]]]] = {
    "wall": (wall, "powder-bed/thin-wall", lambda t: (0.35, 0.78)),
    "floor": (floor, "powder-bed/thin-wall", lambda t: (0.3, 0.78)),
    "groove": (groove, "powder-bed/thin-wall", lambda t: (0.3, 0.74)),
    "web": (web, "powder-bed/thin-wall", lambda t: (0.25, 0.78)),
    "corner": (corner, "powder-bed/thin-wall", lambda t: (0.2, 0.7)),
    "pin": (pin, "powder-bed/thin-pin", lambda t: (0.4, 0.97)),
    "post": (post, "powder-bed/thin-pin", lambda t: (0.4, 0.97)),
    "gap": (gap, "powder-bed/narrow-gap", lambda t: (0.1, 0.48)),
    "slot": (slot, "powder-bed/narrow-slot", lambda t: (0.15, 0.48)),
    "hole": (hole, "powder-bed/small-hole", lambda t: (0.5, 0.97) if t <= 3 else (0.6, 1.45)),
    "void": (void, "powder-bed/trapped-powder", lambda t: (8.0, 60.0)),
    "escape": (escape, "powder-bed/narrow-escape", lambda t: (1.2, 3.4)),
    "raised": (raised, "powder-bed/shallow-detail", lambda t: (0.1, 0.48)),
    "sunk": (sunk, "powder-bed/shallow-detail", lambda t: (0.1, 0.48)),
    "loose": (loose, "powder-bed/narrow-clearance", lambda t: (0.1, 0.38)),
    "blade": (blade, "powder-bed/knife-edge", lambda t: (1.6, 4.0)),
}


def place(part: Manifold, spot: Spot) -> Manifold:
    """A part built about the origin, moved into a spot's frame."""
    return part.transform(np.column_stack([spot.frame, np.array(spot.at)]))


def plant(base: str, fault: str, seed: int) -> Planted:
    """Build a part with one fault, its value and place by the seed; `fault` "" for none."""
    rng = np.random.default_rng(seed)
    part, spots = BASES[base]()
    spot = spots[rng.integers(len(spots))]
    shift = spot.frame @ np.array([*rng.uniform(-0.4, 0.4, 2), 0.0])
    spot = Spot(tuple((np.array(spot.at) + shift).tolist()), spot.frame, spot.thickness)
    turn = rotation(seed)
    if not fault:
        return _turned(part, "", 0.0, (np.zeros(3), np.zeros(3)), turn)
    build, rule, values = FAULTS[fault]
    value = float(rng.uniform(*values(spot.thickness)))
    more, less, local = build(value, spot)
    if more is not None:
        part = part + place(more, spot)
    if less is not None:
        part = part - place(less, spot)
    corners = np.stack(local) @ spot.frame.T + np.array(spot.at)
    return _turned(part, rule, value, (corners.min(axis=0), corners.max(axis=0)), turn)


def _turned(part: Manifold, rule: str, value: float, box: tuple[Floats, Floats], turn: Floats) -> Planted:
    vertices, faces = mesh_of(part)
    return Planted((vertices @ turn.T, faces), rule, value, box, turn)


def variant(mesh: Mesh, seed: int) -> Mesh:
    """The same part as another program would write it: its faces shuffled, or each split into four or sixteen."""
    for _ in range(seed % 3):
        mesh = split(mesh)
    return shuffled(mesh, seed)
