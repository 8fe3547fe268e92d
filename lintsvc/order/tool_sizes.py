"""Sizes of hand tools that turn screws and nuts, as the room that they need. In mm, heights from the head's seat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from lintsvc.model.source import Source

#: Hexagon keys: across flats, long arm, short arm, each over all.
_KEYS_MM = (
    (0.9, 33.0, 11.0),
    (1.3, 41.0, 13.0),
    (1.5, 46.5, 15.5),
    (2.0, 52.0, 18.0),
    (2.5, 58.5, 20.5),
    (3.0, 66.0, 23.0),
    (4.0, 74.0, 29.0),
    (5.0, 85.0, 33.0),
    (6.0, 96.0, 38.0),
    (8.0, 108.0, 44.0),
    (10.0, 122.0, 50.0),
    (12.0, 137.0, 57.0),
    (14.0, 154.0, 70.0),
    (17.0, 177.0, 80.0),
    (19.0, 199.0, 89.0),
    (22.0, 222.0, 102.0),
    (24.0, 248.0, 114.0),
    (27.0, 277.0, 127.0),
)
#: Across the corners of a key, whose corners are rounded a little.
_CORNERS = 1.135
KEY = Source(
    "memory",
    "A straight tool is as wide as the head. Hexagon keys: arms as in JIS B 4648:2008, read in a published excerpt, in "
    "ISO 2936 the same as recalled; a socket is half as deep as the head is high; put on anew every 60°.",
)
SPANNER = Source(
    "memory",
    "A socket for a hexagon: 1.3 times the width across flats and 2 mm across. Open-ended spanner: its head 2.2 times "
    "that width wide and forward as far as the corners, its handle as wide as it and 8 times as long; put on anew "
    "every 30°, its jaw at 15° and it turned over. All recalled.",
)


@dataclass(frozen=True, slots=True)
class Tool:
    """A tool with an arm: what has to be free is a column about the axis, and to one side the arm, and its jaw."""

    name: str
    #: Zero: nothing but what it turns.
    column_mm: float
    column_heights: tuple[float, float]
    arm_mm: float
    long_mm: float
    heights: tuple[float, float]
    #: It turns at least this far before it is put on anew.
    swing_deg: float
    source: Source
    #: A jaw about the axis: across, open to the front over its mouth, and forward of the axis so far.
    jaw_mm: float = 0.0
    mouth_mm: float = 0.0
    front_mm: float = 0.0


def spanner(flats_mm: float, height_mm: float) -> Tool:
    """Return the open-ended spanner of a hexagon, which lies at the height of what it turns."""
    heights = (0.0, height_mm)
    return Tool(
        name=f"a spanner of {flats_mm:g} mm",
        column_mm=0.0,
        column_heights=heights,
        arm_mm=flats_mm,
        long_mm=8 * flats_mm,
        heights=heights,
        swing_deg=30.0,
        source=SPANNER,
        jaw_mm=2.2 * flats_mm,
        mouth_mm=flats_mm,
        front_mm=flats_mm / math.sqrt(3),
    )


def angled_key(flats_mm: float, height_mm: float, *, sunk: bool = False) -> Tool:
    """Return the key of a hexagon socket, its short arm in the socket.

    `height_mm`: of the head; a sunk one has its upper side at the seat. The long arm is lifted by the socket's depth
    when the key is put in.
    """
    top, deep = 0.0 if sunk else height_mm, height_mm / 2
    long, short = _arms(flats_mm)
    across = _CORNERS * flats_mm
    heights = (top - deep + short - flats_mm, top + short)
    name = f"an angled key of {flats_mm:g} mm"
    return Tool(name, across, (top, top + short), across, long, heights, 60.0, KEY)


def socket_mm(flats_mm: float) -> float:
    """Return how wide a socket for a hexagon is, across."""
    return 1.3 * flats_mm + 2.0


def _arms(flats_mm: float) -> tuple[float, float]:
    """Return a key's long and short arm; between two rows of the table in proportion."""
    if flats_mm <= _KEYS_MM[0][0]:
        return _KEYS_MM[0][1:]
    for (s, long, short), (s2, long2, short2) in pairwise(_KEYS_MM):
        if flats_mm <= s2:
            share = (flats_mm - s) / (s2 - s)
            return long + share * (long2 - long), short + share * (short2 - short)
    return _KEYS_MM[-1][1:]
