"""Screws as an order names them: diameter, head, nut, what they need of a hole. Sizes in mm."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from lintsvc.handbook.clearance import clearance_hole, screw_size
from lintsvc.handbook.threads import thread
from lintsvc.model.material import Value
from lintsvc.model.source import COMMON_PRACTICE, Source
from lintsvc.order.relations import Screw
from lintsvc.order.tool_sizes import socket_mm

_HEAD = Source("memory", "ISO 4762 socket head: 1.5 d across to M2.5 and from M8 on, a little more between; recalled.")
#: Socket heads: largest diameter of the plain head (ISO 4762, recalled); the height is the screw's diameter.
_HEADS_MM = {"M2": 3.8, "M2.5": 4.5, "M3": 5.5, "M4": 7.0, "M5": 8.5, "M6": 10.0, "M8": 13.0, "M10": 16.0, "M12": 18.0}
#: Hexagon nuts: largest height (ISO 4032, recalled).
_NUTS_MM = {"M2": 1.6, "M2.5": 2.0, "M3": 2.4, "M4": 3.2, "M5": 4.7, "M6": 5.2, "M8": 6.8, "M10": 8.4, "M12": 10.8}
#: Hexagon nuts: across corners (ISO 4032, recalled).
_CORNERS_MM = {
    "M2": 4.32,
    "M2.5": 5.45,
    "M3": 6.01,
    "M4": 7.66,
    "M5": 8.79,
    "M6": 11.05,
    "M8": 14.38,
    "M10": 17.77,
    "M12": 20.03,
}
#: Hexagon nuts and heads: across flats, which is the spanner that turns them (ISO 4032 and ISO 272, recalled).
_FLATS_MM = {"M2": 4.0, "M2.5": 5.0, "M3": 5.5, "M4": 7.0, "M5": 8.0, "M6": 10.0, "M8": 13.0, "M10": 16.0, "M12": 18.0}
#: Hexagon sockets: across flats, which is the key that turns them (ISO 4762, recalled).
_KEYS_MM = {"M2": 1.5, "M2.5": 2.0, "M3": 2.5, "M4": 3.0, "M5": 4.0, "M6": 5.0, "M8": 6.0, "M10": 8.0, "M12": 10.0}
#: Hexagon heads: height (ISO 4017, recalled).
_HEXAGONS_MM = {"M2": 1.4, "M2.5": 1.7, "M3": 2.0, "M4": 2.8, "M5": 3.5, "M6": 4.0, "M8": 5.3, "M10": 6.4, "M12": 7.5}
_HEXAGON = Source("memory", "ISO 4017 hexagon head, across its corners and high; recalled.")
_NUT = Source("memory", "ISO 4032 hexagon nut, across its corners; recalled.")
_ENGAGED = Source("common-practice", "Thread engagement: 1 d in steel, 1.5 d in aluminium, 2 d in plastics.")


@dataclass(frozen=True, slots=True)
class Head:
    """Room that a screw's head and the tool that turns it take."""

    diameter_mm: float
    height_mm: float
    tool_mm: float
    source: Source
    #: A socket head: the order says nothing else.
    plain: bool = False
    #: What turns it: a key in its hexagon socket, or a spanner on its hexagon; empty where nobody says.
    kind: Literal["socket", "hexagon", ""] = ""
    #: That key or spanner, across flats.
    flats_mm: float = 0.0


@lru_cache(maxsize=64)
def diameter_mm(size: str) -> float:
    """Return the nominal diameter of a screw: M4, #10, 1/4. Raises ValueError for what is none."""
    name = screw_size(size)
    if name.startswith("M"):
        return float(name[1:])
    if name.startswith("#"):
        # ASME B1.1: the number sizes start at 0.060 in and step by 0.013 in.
        return (0.060 + 0.013 * int(name[1:])) * 25.4
    above, below = name.split("/")
    return int(above) / int(below) * 25.4


def pitch_mm(size: str) -> float:
    """Return the pitch of the coarse thread of a screw; a sixth of the diameter where the handbook has none."""
    for name in (size, screw_size(size)):
        try:
            return thread(name).pitch_mm
        except ValueError:
            continue
    return diameter_mm(size) / 6


def head_of(screw: Screw) -> Head:
    """Return the head: as the order says it, else a socket head's."""
    d = diameter_mm(screw.size)
    said = screw.head_diameter is not None and screw.head_height is not None
    source = Source("shop", "The screw's head as the order says it.")
    if screw.head == "hexagon":
        flats = across_flats_mm(screw.size)
        across = screw.head_diameter or _corners_mm(screw.size)
        high = screw.head_height or _HEXAGONS_MM.get(screw_size(screw.size), 0.7 * d)
        tool = screw.tool_diameter or socket_mm(flats)
        return Head(across, high, tool, source if said else _HEXAGON, False, "hexagon", flats)
    across = screw.head_diameter or _HEADS_MM.get(screw_size(screw.size), 1.6 * d)
    high = screw.head_height or d
    plain = screw.head_diameter is None and screw.head_height is None and screw.tool_diameter is None
    kind: Literal["socket", ""] = "socket" if plain or screw.head == "socket" else ""
    return Head(across, high, screw.tool_diameter or across, source if said else _HEAD, plain, kind, key_mm(screw.size))


def key_mm(size: str) -> float:
    """Return the hexagon key of a usual socket head, across flats."""
    return _KEYS_MM.get(screw_size(size), 0.8 * diameter_mm(size))


def across_flats_mm(size: str) -> float:
    """Return the spanner of a usual hexagon nut, across flats."""
    return _FLATS_MM.get(screw_size(size), 1.6 * diameter_mm(size))


def nut_height_mm(size: str) -> float:
    """Return the height of a usual hexagon nut."""
    return _NUTS_MM.get(screw_size(size), 0.9 * diameter_mm(size))


def nut_of(size: str) -> Head:
    """Return a usual hexagon nut as the room that it takes: across its corners, and the socket that turns it."""
    flats = across_flats_mm(size)
    return Head(_corners_mm(size), nut_height_mm(size), socket_mm(flats), _NUT, False, "hexagon", flats)


def _corners_mm(size: str) -> float:
    return _CORNERS_MM.get(screw_size(size), 1.95 * diameter_mm(size))


def engagement_mm(size: str, family: str | None) -> Value:
    """Return how much thread a screw needs in a material of this family for its usual strength."""
    factor = {"aluminium": 1.5, "brass": 1.5, "copper": 1.5, "steel": 1.0, "stainless": 1.0}.get(family or "", 2.0)
    return Value(factor * diameter_mm(size), _ENGAGED)


def closest_hole(size: str) -> Value | None:
    """Return the fine (close) clearance hole of ISO 273 or ASME B18.2.8; None for a size they leave out."""
    try:
        return clearance_hole(size, "close")
    except ValueError:
        return None


def usual_hole(size: str) -> Value:
    """Return the medium clearance hole; 1.1 d where the tables leave the size out."""
    try:
        return clearance_hole(size, "normal")
    except ValueError:
        return Value(1.1 * diameter_mm(size), COMMON_PRACTICE)
