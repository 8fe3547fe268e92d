"""What the command tells a checking process, and what comes back. Sent as pickles between our own processes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from lintsvc.model.choices import Choices
from lintsvc.model.report import PartReport
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments


@dataclass(frozen=True, slots=True)
class Job:
    """One file to check. `number` is its place in the report."""

    number: int
    path: Path
    name: str
    choices: Choices
    #: Where highlights are written, and under which name; None: no highlights.
    highlights: tuple[Path, str] | None = None
    #: Whether a picture is wanted, for a report that shows one.
    picture: bool = False
    #: What the user changes of the rules.
    adjustments: Adjustments = NO_ADJUSTMENTS
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
    """The file's entry of the report; SVG text of the picture where one was asked for."""

    number: int
    report: PartReport
    picture: str | None = None
    #: Why the highlights could not be written; empty where they were, or none were asked for.
    trouble: str = ""


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
