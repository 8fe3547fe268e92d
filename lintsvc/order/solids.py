"""Shapes as solids of manifold3d: what they have in common, cuts, gaps. Only closed meshes are solids."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from lintsvc.order.frames import Floats
from lintsvc.order.shape import Shape

#: An overlap is no deeper than its box's least side; thinner ones are faces that touch.
TOUCH_MM = 0.02


def solid_of(shape: Shape) -> Any | None:
    """Return the shape as a manifold3d solid in its own frame; None where its mesh is none."""
    from manifold3d import Error, Manifold, Mesh64

    vertices = np.require(shape.vertices, np.float64, ["C"])
    faces = np.require(shape.faces, np.uint64, ["C"])
    solid = Manifold(Mesh64(vert_properties=vertices, tri_verts=faces))
    if solid.status() != Error.NoError or solid.is_empty() or solid.volume() <= 0:
        return None
    return solid


def placed(solid: Any, place: Floats) -> Any:
    """Return a solid moved to a place."""
    return solid.transform(np.ascontiguousarray(place[:3, :], np.float64))


@dataclass(frozen=True, eq=False)
class Standing:
    """A solid in its place in the assembly, with its box: most pairs are told apart by their boxes."""

    id: str
    solid: Any
    box: tuple[float, ...]

    @staticmethod
    def at(id: str, solid: Any, place: Floats) -> Standing:
        """Return a solid moved to a place."""
        here = placed(solid, place)
        return Standing(id, here, tuple(here.bounding_box()))

    def near(self, box: tuple[float, ...], gap_mm: float = 0.0) -> bool:
        """True when its box comes within a gap of another."""
        return all(self.box[i] - gap_mm < box[i + 3] and box[i] - gap_mm < self.box[i + 3] for i in range(3))


def overlap(one: Standing, other: Standing) -> tuple[float, Floats, tuple[Floats, Floats], float]:
    """Return the depth (mm), middle, box and volume of what two solids have in common; depth 0 where they only touch.

    The depth is the least side of the largest common piece's box: what they have to be moved apart along an axis, at
    most. Of a thin shell, as of a pin in a bore that is a little too small, it is the shell's thickness.
    """
    nothing = (0.0, np.zeros(3), (np.zeros(3), np.zeros(3)), 0.0)
    if not one.near(other.box):
        return nothing
    common = one.solid ^ other.solid
    if common.is_empty():
        return nothing
    deepest = nothing
    for piece in common.decompose():
        box = np.array(piece.bounding_box())
        depth = float((box[3:] - box[:3]).min())
        # Twice the volume over the surface is a shell's thickness, and a third of a ball's or a cube's.
        thin = 2 * float(piece.volume()) / float(piece.surface_area())
        depth = min(depth, 3 * thin) if 3 * thin > 0.5 * depth else thin
        if depth > max(TOUCH_MM, deepest[0]):
            deepest = (depth, (box[:3] + box[3:]) / 2, (box[:3], box[3:]), float(common.volume()))
    return deepest


def gap(one: Standing, other: Standing, most_mm: float) -> float:
    """Return how far apart two solids are, at most `most_mm`; 0 where they touch or overlap."""
    if not one.near(other.box, most_mm):
        return most_mm
    return float(one.solid.min_gap(other.solid, most_mm))
