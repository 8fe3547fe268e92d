"""A finding: one thing that is wrong, where it is, how bad, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lintsvc.model.source import Source

Level = Literal["error", "warning", "note"]
#: Worst first.
LEVELS: tuple[Level, ...] = ("error", "warning", "note")
#: What the mistake costs when nobody notices it.
Cost = Literal["scrap", "rework", "cosmetic"]
#: A choice of the check that settles a finding as well as a change of the file does.
Settles = Literal["bends", "units"]

Point3 = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured value with its unit."""

    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class LimitShown:
    """The limit of a finding, resolved for this part."""

    value: float
    unit: str
    source: Source


@dataclass(frozen=True, slots=True)
class Where:
    """A place in the geometry (mm). Flat parts have z = 0.

    `faces`: face numbers of the body. `entities`: numbers of drawn entities of the sheet.
    `lines`: line pieces to draw (open edges, the place of a gap). `span`: the two ends of
    the measured distance, drawn as a dimension.
    """

    point: Point3
    box: tuple[Point3, Point3]
    faces: tuple[int, ...] = ()
    entities: tuple[int, ...] = ()
    lines: tuple[tuple[Point3, Point3], ...] = ()
    span: tuple[Point3, Point3] | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One entry of the ranked list."""

    fingerprint: str
    rule: str
    level: Level
    #: 0 to 100, highest first; see `rulebook.rank`.
    rank: float
    message: str
    measured: Quantity | None
    limit: LimitShown | None
    where: Where | None
    remedy: str
    caution: str = ""
    #: What `lintsvc mend` does about it; empty where it leaves this alone.
    fix: str = ""
    #: The choice of the check that settles it too; how it is made is said where the finding is read.
    settles: Settles | None = None
    #: How sure the measurement is, 0 to 1.
    sure: float = 1.0
    #: Set aside by the user: the reason. Empty: not set aside.
    set_aside: str = ""
    #: For a finding of an order: ids of the parts and things it is about. `where` is in the frame of the first,
    #: in that of the assembly where none is named.
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NotChecked:
    """A rule that was not run to its end, and why. Never a pass."""

    rule: str
    why: str
    #: True when the rule itself failed (a crash, time or memory), not for want of a value.
    failed: bool = False
