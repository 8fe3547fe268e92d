"""What screws and nuts weigh, estimated from diameter and length: of steel, with a socket head unless said."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.model.source import Source
from lintsvc.order.balance import Lump
from lintsvc.order.fasteners import across_flats_mm, diameter_mm, head_of, key_mm, nut_height_mm, pitch_mm
from lintsvc.order.frames import moved
from lintsvc.order.relations import Screw

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.meeting import Meets

#: Density of steel, g/mm3 (common practice).
_STEEL = 7.85e-3
SOURCE = Source(
    "memory",
    "Estimated: steel, 7.85 g/cm³; the shank as a rod of the stress area of ISO 898-1, 0.7854 (d - 0.9382 P)²; a "
    "cylindrical head less its hexagon socket to half its height; a nut as a hexagon less its hole. Sizes of ISO 4762 "
    "and ISO 4032 as recalled.",
)


@dataclass(frozen=True, slots=True)
class Screws:
    """The screws of one relation, with their nuts: how many, and what one with its nut weighs."""

    meets: Meets
    count: int
    each_g: float
    nut_g: float

    @property
    def mass_g(self) -> float:
        """All of them together."""
        return self.count * (self.each_g + self.nut_g)


def screw_g(screw: Screw) -> float | None:
    """Return what one screw weighs; None where its length is not known.

    >>> f"{screw_g(Screw(size='M6', length=20.0)):.1f} g"
    '6.3 g'
    """
    if screw.length is None:
        return None
    head = head_of(screw)
    face = _hexagon_mm2(head.flats_mm) if head.kind == "hexagon" else math.pi / 4 * head.diameter_mm**2
    volume = math.pi / 4 * _rod_mm(screw.size) ** 2 * screw.length + face * head.height_mm
    if head.plain:
        volume -= _hexagon_mm2(key_mm(screw.size)) * head.height_mm / 2
    return volume * _STEEL


def nut_g(size: str) -> float:
    """Return what a usual hexagon nut weighs.

    >>> f"{nut_g('M6'):.1f} g"
    '2.7 g'
    """
    hole = math.pi / 4 * _rod_mm(size) ** 2
    return (_hexagon_mm2(across_flats_mm(size)) - hole) * nut_height_mm(size) * _STEEL


def _rod_mm(size: str) -> float:
    return diameter_mm(size) - 13 / 24 * math.sqrt(3) * pitch_mm(size)


def _hexagon_mm2(across_mm: float) -> float:
    return math.sqrt(3) / 2 * across_mm**2


def screws_of(order: CheckedOrder) -> tuple[Screws, ...]:
    """Return the screws of every relation whose holes meet and whose screws have a length."""
    found = []
    for meets in order.meetings:
        each = screw_g(meets.relation.screw)
        if meets.of is None and meets.ways and each is not None:
            nut = nut_g(meets.relation.screw.size) if meets.relation.screw.into == "nut" else 0.0
            found.append(Screws(meets, len(order.way(meets).a), each, nut))
    return tuple(found)


def screw_lumps(order: CheckedOrder) -> list[Lump]:
    """Return the screws of placed things as lumps, in the frame of the assembly: in the middle of their shanks."""
    found = []
    for each in order.screws:
        id, screw = each.meets.pair[0], each.meets.relation.screw
        stands = order.placing.of(id)
        if stands is None:
            continue
        holes, openings = order.things[id].shape.holes, order.way(each.meets).a
        middle = (screw.length or 0.0) / 2 - holes.depth_mm[openings]
        points = holes.point[openings] + holes.normal[openings] * middle[:, None]
        x, y, z = np.asarray(moved(stands.place, points).mean(axis=0)).tolist()
        found.append(Lump(f"{screw.size} screws of {id}", each.mass_g, (x, y, z)))
    return found
