"""Faces that lie on each other: where one thing stands when a face of it lies on a face of another."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from lintsvc.order.frames import Floats, frame_on
from lintsvc.order.relations import FacesMeet, Holds, HolesMeet, Relation
from lintsvc.order.shape import Shape
from lintsvc.rulebook.rule import CannotCheck

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder

#: A point named on a face may lie this far off it.
_OFF_MM = 2.0


def two_of(relation: Relation) -> tuple[str, str]:
    """Return the ids that a relation is between."""
    if isinstance(relation, HolesMeet | FacesMeet):
        return relation.a.of, relation.b.of
    return (relation.part, relation.thing) if isinstance(relation, Holds) else (relation.a, relation.b)


def place_by_faces(order: CheckedOrder, relation: FacesMeet) -> Floats:
    """Return where b stands in the frame of a (4 × 4). Raises CannotCheck where a point lies on no face."""
    at_a, frame_a = _face(order.things[relation.a.of].shape, relation.a.at, relation.a.of)
    at_b, frame_b = _face(order.things[relation.b.of].shape, relation.b.at, relation.b.of)
    c, s = math.cos(math.radians(relation.turn_deg)), math.sin(math.radians(relation.turn_deg))
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    place = np.eye(4)
    # Face to face: the way out of one is the way into the other.
    place[:3, :3] = frame_a @ turn @ np.diag([1.0, -1.0, -1.0]) @ frame_b.T
    place[:3, 3] = at_a - place[:3, :3] @ at_b
    return place


def _face(shape: Shape, at: Any, id: str) -> tuple[Floats, Floats]:
    """Return the nearest place on the surface to a point, and a frame there whose z points out of the part."""
    point = np.asarray(at, float)
    a, b, c = (shape.vertices[shape.faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1)
    whole = area > 1e-12
    a, b, c, normal = a[whole], b[whole], c[whole], normal[whole] / area[whole, None]
    height = np.einsum("ij,ij->i", point - a, normal)
    foot = point - height[:, None] * normal
    # Inside the triangle when it lies to the left of all three sides, seen from outside.
    sides = [np.einsum("ij,ij->i", np.cross(q - p, foot - p), normal) for p, q in ((a, b), (b, c), (c, a))]
    inside = np.min(sides, axis=0) >= -1e-6
    if not inside.any() or np.abs(height[inside]).min() > _OFF_MM:
        where = ", ".join(f"{x:g}" for x in point)
        raise CannotCheck(f"{id}: there is no face within {_OFF_MM:g} mm of {where}")
    nearest = int(np.where(inside, np.abs(height), np.inf).argmin())
    return foot[nearest], frame_on(normal[nearest])
