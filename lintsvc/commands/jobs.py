"""What the command tells a checking process, and what comes back. Sent as pickles between our own processes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lintsvc.model.choices import Choices
from lintsvc.model.report import PartReport
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments

if TYPE_CHECKING:
    from lintsvc.packet.drawn import Drawn
    from lintsvc.reports.picture import Svgs


@dataclass(frozen=True, slots=True)
class Job:
    """One file to check. `number` is its place in the report."""

    number: int
    path: Path
    name: str
    choices: Choices
    #: Where highlights are written, and under which name; None: no highlights.
    highlights: tuple[Path, str] | None = None
    #: Whether a picture is wanted, for a report that shows one; and pictures near to findings too.
    picture: bool = False
    close_ups: bool = False
    #: What the user changes of the rules.
    adjustments: Adjustments = NO_ADJUSTMENTS
    #: Whether the part's shape is wanted too, for an order.
    shape: bool = False
    #: False for a bought-in thing's envelope: it is read and measured, and held against no rule.
    rules: bool = True
    #: Whether what a packet shows of the part is wanted too.
    drawn: bool = False
    #: Rules that took a checking process down with this file, and how.
    without: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """The file is being read, measured, or held against a rule."""

    number: int
    step: str
    percent: float


@dataclass(frozen=True, slots=True)
class Compiling:
    """The measuring code is being compiled (`begins`), or that has ended. It happens once, not for every file."""

    number: int
    begins: bool


@dataclass(frozen=True, slots=True)
class Done:
    """The file's entry of the report; its pictures where they were asked for."""

    number: int
    report: PartReport
    pictures: Svgs | None = None
    #: Why the highlights could not be written; empty where they were, or none were asked for.
    trouble: str = ""
    #: The part's shape as `order.shape.to_bytes` writes it; None where none was asked for.
    shape: bytes | None = None
    #: What a packet shows of the part; None where it was not asked for, or could not be drawn: `trouble` says why.
    drawn: Drawn | None = None


@dataclass(frozen=True, slots=True)
class Refused:
    """Nothing can be checked at all, by what the user said: a rule file or a choice is wrong."""

    why: str


@dataclass(frozen=True, slots=True)
class Lost:
    """The check of this file came to nothing: in which step, and why."""

    number: int
    step: str
    why: str


Message = Step | Compiling | Done | Lost | Refused
