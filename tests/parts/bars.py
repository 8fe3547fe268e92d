"""Pins, posts and short bars of every proportion, standing or hanging, with what they are by their proportions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection, Manifold
from parts.bodies import Mesh, moved, shuffled, split, turned
from parts.planted_bodies import block, mesh_of

#: How deep a foot goes into what it stands on, mm.
_SUNK = 0.4
#: Facets of a quarter circle.
_FACETS = 6


@dataclass(frozen=True)
class Bar:
    """A bar: the width of its section at the top and its length in widths, mm; `corners`: 0 for a rectangle, `ratio`
    times as broad as thick. `draft_deg`: of each side. `fillet`, `chamfer`, `dome`: of the foot and the tip.
    `stand`: what it stands on."""

    width: float
    length: float
    corners: int
    ratio: float = 1.0
    turn_deg: float = 0.0
    draft_deg: float = 0.0
    fillet: float = 0.0
    tip: str = ""
    stand: str = "plate"

    @property
    def breadth(self) -> float:
        """How broad it is at its top."""
        return self.width * self.ratio

    @property
    def whole(self) -> float:
        """Its length with the tip."""
        return self.length + {"": 0.0, "chamfer": 0.2, "dome": 0.5}[self.tip] * self.width

    @property
    def kind(self) -> str:
        """A pin or a wall; nothing where it is near the border between kinds, or lower than that."""
        below = 2 * np.tan(np.radians(self.draft_deg))
        if self.ratio < 1.9:
            return "pin" if self.whole > 1.6 * self.breadth and not (self.corners == 3 and self.draft_deg > 1) else ""
        thin = self.length if not below else min(self.length, (0.8 - self.width) / below)
        return "wall" if self.ratio > 2.1 and thin > 1.3 * self.width else ""


def any_bar(seed: int) -> Bar:
    """A bar by number."""
    rng = np.random.default_rng(seed)
    corners = int(rng.choice([0, 0, 0, 3, 4, 5, 6, 12, 16, 24, 48, 64]))
    width = float(rng.uniform(0.4, 0.76))
    length = width * float(np.exp(rng.uniform(np.log(0.5), np.log(10.0))))
    stand = str(rng.choice(["plate", "plate", "corner", "cylinder", "strut"]))
    strut = stand == "strut"
    return Bar(
        width,
        length,
        corners,
        float(rng.uniform(1, 3)) if not corners else 1.0,
        float(rng.uniform(0, 360)),
        0.0 if strut or rng.random() < 0.4 else float(rng.uniform(0.3, 12.0)),
        min(0.3 * width, 0.4 * length) if stand == "plate" and rng.random() < 0.3 else 0.0,
        "" if strut or rng.random() < 0.7 else str(rng.choice(["chamfer", "dome"])),
        stand,
    )


def _outline(bar: Bar) -> CrossSection:
    if not bar.corners:
        return CrossSection.square([bar.breadth, bar.width], True)
    turns = 2 * np.pi * np.arange(bar.corners) / bar.corners
    # Of many corners the circle through them is meant, of few the one within.
    radius = bar.width / 2 / (1.0 if bar.corners > 8 else np.cos(np.pi / bar.corners))
    return CrossSection([(radius * np.stack([np.cos(turns), np.sin(turns)], axis=1)).tolist()])


def _layer(bar: Bar, low: float, high: float, more: tuple[float, float]) -> Manifold:
    """A piece from one height to another, so much wider than at the top at either end."""
    size = np.array([bar.breadth, bar.width])
    scales = [(size + x) / size for x in more]
    cut = _outline(bar).scale(scales[0].tolist())
    return Manifold.extrude(cut, high - low, 0, 0, (scales[1] / scales[0]).tolist()).translate([0, 0, low])


def _upright(bar: Bar) -> Manifold:
    below = 2 * float(np.tan(np.radians(bar.draft_deg)))
    length, width, r = bar.length, bar.width, bar.fillet
    part = _layer(bar, -_SUNK, length, (below * (length + _SUNK), 0.0))
    quarter = np.linspace(0, np.pi / 2, _FACETS + 1)
    if r:
        heights, out = r * (1 - np.cos(quarter)), r * (1 - np.sin(quarter))
        for k in range(_FACETS):
            more = [below * (length - heights[j]) + 2 * out[j] for j in (k, k + 1)]
            part += _layer(bar, heights[k], heights[k + 1] + 1e-4, (more[0], more[1]))
    if bar.tip == "chamfer":
        part += _layer(bar, length, bar.whole, (0.0, -0.4 * width))
    elif bar.tip == "dome":
        heights, less = width / 2 * np.sin(quarter), width * (1 - np.cos(quarter))
        for k in range(_FACETS):
            more = [-min(less[j], 0.97 * width) for j in (k, k + 1)]
            part += _layer(bar, length + heights[k] - 1e-6, length + heights[k + 1] + 1e-5, (more[0], more[1]))
    return part.rotate([0, 0, bar.turn_deg])


def standing(bar: Bar) -> Mesh:
    """The bar on a plate, in a corner, on a cylinder, or from one wall to another."""
    part = _upright(bar)
    plate = block(20, 20, 3).translate([0, 0, -3])
    if bar.stand == "cylinder":
        return mesh_of(Manifold.cylinder(24, 8, 8, 96, True).rotate([90, 0, 0]) + part.translate([0, 0, 8.0]))
    if bar.stand == "corner":
        return mesh_of(plate + block(3, 20, 14).translate([-11.4, 0, -3]) + part.translate([-7, 2, 0]))
    if bar.stand == "strut":
        plate += block(20, 20, 3).translate([0, 0, bar.length])
    return mesh_of(plate + part.translate([1.3, 2.1, 0]))


def copies(mesh: Mesh, seed: int) -> Iterator[Mesh]:
    """The same part elsewhere, turned, from inches, in another order, and finer."""
    yield mesh
    yield turned(mesh, seed)
    yield moved(turned(mesh, seed + 1), (37.3, -21.7, 5.1))
    yield shuffled(mesh, seed)[0] / 25.4 * 25.4, shuffled(mesh, seed)[1]
    yield shuffled(split(mesh), seed)
    yield turned(shuffled(split(split(mesh)), seed), seed + 2)
