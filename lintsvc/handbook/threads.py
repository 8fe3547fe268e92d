"""Screw threads: metric (ISO), unified coarse and fine (ASME). Sizes in mm.

Two published bases for the percentage of thread differ, and both are here by name: the tap-drill
tables of Machinery's Handbook (31st ed., p. 2155) count a full thread as 1.299 P (0.75 H a side), the
formula printed in its text as 1.0825 P (5/8 H a side). The tables' basis is the default.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from lintsvc.handbook.sources import named
from lintsvc.handbook.tables import rows
from lintsvc.model.material import Value
from lintsvc.model.source import Source
from lintsvc.model.units import MM_PER_UNIT

#: Height of the sharp V of a 60° thread, in pitches.
SHARP_V = math.sqrt(3) / 2
Basis = Literal["table", "formula"]
#: Depth of a full thread, both sides, in pitches.
_FULL_THREAD = {"table": 1.5 * SHARP_V, "formula": 1.25 * SHARP_V}


@dataclass(frozen=True, slots=True)
class Thread:
    """One thread. `name` is as it is written on a drawing: `M6x1`, `1/4-20`, `#10-32`."""

    name: str
    series: Literal["coarse", "fine", "UNC", "UNF"]
    diameter_mm: float
    pitch_mm: float
    #: The usual drill before tapping.
    tap_drill: Value
    tap_drill_name: str
    #: Limits of the minor diameter of the nut thread (6H or 2B); None where they were not read.
    minor_least: Value
    minor_most: Value | None
    source: Source

    @property
    def metric(self) -> bool:
        """True for an ISO thread."""
        return self.series in ("coarse", "fine")

    @property
    def minor_mm(self) -> float:
        """Basic minor diameter D1 of the nut thread (ISO 724)."""
        return self.diameter_mm - 1.25 * SHARP_V * self.pitch_mm

    @property
    def pitch_diameter_mm(self) -> float:
        """Basic pitch diameter D2 (ISO 724)."""
        return self.diameter_mm - 0.75 * SHARP_V * self.pitch_mm

    @property
    def stress_area_mm2(self) -> Value:
        """Tensile stress area of the screw: a circle between pitch and core diameter."""
        across = self.diameter_mm - 13 / 12 * SHARP_V * self.pitch_mm
        if not self.metric:
            across = self.diameter_mm - 0.9743 * self.pitch_mm
        return Value(math.pi / 4 * across**2, named("iso-898"))

    def percent_of_thread(self, hole_mm: float, basis: Basis = "table") -> float:
        """Return how much of a full thread a hole leaves, in percent; over 100 or negative for a silly hole."""
        return 100.0 * (self.diameter_mm - hole_mm) / (_FULL_THREAD[basis] * self.pitch_mm)

    def hole_for_percent(self, percent: float, basis: Basis = "table") -> float:
        """Return the hole (mm) that leaves this percentage of a full thread."""
        return self.diameter_mm - _FULL_THREAD[basis] * self.pitch_mm * percent / 100.0


def _thread(row: dict[str, str]) -> Thread:
    inch = row["unit"] == "in"
    scale = MM_PER_UNIT[row["unit"]]
    origin = named(row["source"])
    diameter = float(row["diameter"]) * scale
    pitch = scale / float(row["pitch_or_tpi"]) if inch else float(row["pitch_or_tpi"])
    basic_minor = diameter - 1.25 * SHARP_V * pitch
    return Thread(
        name=row["thread"],
        series=row["series"],  # type: ignore[arg-type]  # the table holds only these four
        diameter_mm=diameter,
        pitch_mm=pitch,
        tap_drill=Value(float(row["tap_drill"]) * scale, named(row["tap_drill_source"])),
        tap_drill_name=row["tap_drill_name"],
        minor_least=Value(float(row["minor_min"]) * scale, named(row["minor_source"]))
        if row["minor_min"]
        else Value(basic_minor, origin),
        minor_most=Value(float(row["minor_max"]) * scale, named(row["minor_source"])) if row["minor_max"] else None,
        source=origin,
    )


@lru_cache(maxsize=1)
def threads() -> tuple[Thread, ...]:
    """Return all threads of the handbook: metric coarse, metric fine, unified."""
    return tuple(_thread(row) for row in rows("threads.csv"))


_METRIC = re.compile(r"M(\d+(?:\.\d+)?)(?:[X*-](\d+(?:\.\d+)?))?$")
_UNIFIED = re.compile(r"(?:#|NO\.?)?(\d+(?:/\d+)?)-(\d+)$")
#: Tolerance class, series and words after a thread's size say nothing about the hole to drill.
_TAIL = re.compile(r"(?:-?(?:4H5H|4H|5H|6H|7H|6G|6E|1B|2B|3B)|UNC|UNF|TAPPED|TAP|THRU|THREAD|\s)+$")


def _plain(name: str) -> str:
    text = name.upper().replace("×", "X").replace(",", ".").replace('"', "").replace("″", "")
    text = re.sub(r"\s*([X*-])\s*", r"\1", text.strip())
    return _TAIL.sub("", text).replace(" ", "")


def thread(name: str) -> Thread:
    """Return a thread by its name, written in any usual way.

    A metric name without a pitch means the coarse one. Raises ValueError for a name that the
    handbook does not have, naming close ones.

    >>> thread("M6").name, thread("m6 x 1.0 - 6H").name, thread("1/4-20 UNC").name, thread("No. 10-32").name
    ('M6x1', 'M6x1', '1/4-20', '#10-32')
    """
    plain = _plain(name)
    found: Thread | None = None
    if match := _METRIC.match(plain):
        diameter, pitch = float(match[1]), match[2] and float(match[2])
        for x in threads():
            if x.metric and x.diameter_mm == diameter and (x.pitch_mm == pitch or (not pitch and x.series == "coarse")):
                found = x
    elif match := _UNIFIED.match(plain):
        wanted = f"{match[1]}-{match[2]}"
        found = next((x for x in threads() if not x.metric and x.name.lstrip("#") == wanted), None)
    if found is not None:
        return found
    known = [x.name for x in threads()]
    close = [x for x in known if re.split("[x-]", x)[0].upper() == re.split("[X-]", plain)[0]]
    close = close or difflib.get_close_matches(name, known, n=3, cutoff=0.5) or known[:9]
    raise ValueError(f"there is no thread {name!r} in the handbook; it has {', '.join(close)}")
