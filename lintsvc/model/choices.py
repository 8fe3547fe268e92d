"""What the user says about a part: the same choices for the command, the API and an order file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lintsvc.model.line_choice import LineChoice
from lintsvc.model.sheet import Bend

Process = Literal["powder-bed", "sheet"]
PROCESSES: tuple[Process, ...] = ("powder-bed", "sheet")


Cut = Literal["laser", "water-jet", "router", "knife"]
#: How a sheet part is cut out of its sheet.
CUTS: tuple[Cut, ...] = ("laser", "water-jet", "router", "knife")


@dataclass(frozen=True, slots=True)
class ThreadChoice:
    """A hole that is to be tapped: which thread, at which centre (mm, in the flat)."""

    thread: str
    centre_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class CountersinkChoice:
    """A hole that is to be countersunk: for which screw, from which side."""

    screw: str
    centre_mm: tuple[float, float]
    side: Literal["up", "down"] = "up"


@dataclass(frozen=True, slots=True)
class Choices:
    """None means: not said. The engine then guesses where it sensibly can, and says so."""

    process: Process | None = None
    material: str | None = None
    thickness_mm: float | None = None
    #: The sheet's gauge, where that was said: `handbook.gauges.with_gauge` says how thick it is in the material.
    gauge: int | None = None
    #: Overrides what the file says or leaves open.
    units: str | None = None
    finish: str | None = None
    #: How a sheet part is cut; nothing said is taken as laser.
    cut: Cut | None = None
    quantity: int = 1
    #: What lines are for, by the user's word; it goes before everything that the file says.
    lines: tuple[LineChoice, ...] = ()
    #: Bend data by the user's word; matched to bend lines by place.
    bends: tuple[Bend, ...] = ()
    threads: tuple[ThreadChoice, ...] = ()
    countersinks: tuple[CountersinkChoice, ...] = ()
    #: The shop's own K-factor.
    k_factor: float | None = None
    #: Inside radius for bends that state none.
    bend_radius_mm: float | None = None
    #: Finished outside size after bending, as the user means it (x, y, z; mm).
    finished_size_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Assumed:
    """A choice that nobody made: what was taken, and why."""

    what: str
    value: str
    why: str
