"""The report: one entry a file. `reports.json_report` writes it, `lintsvc schema` publishes its schema."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from lintsvc.model.choices import Assumed
from lintsvc.model.finding import Finding, NotChecked, Quantity


@dataclass(frozen=True, slots=True)
class UnitsShown:
    """Which unit the file was read in, and why."""

    value: str
    stated: bool
    why: str
    #: For a doubtful unit: the other unit it may have meant, and the size it would then have.
    other: str | None = None
    other_size_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class HoleShown:
    """A round hole."""

    diameter_mm: float
    centre_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class BendShown:
    """A bend; None where it is not known."""

    angle_deg: float | None
    direction: Literal["up", "down"] | None
    radius_mm: float | None
    k_factor: float | None


@dataclass(frozen=True, slots=True)
class PartShown:
    """What the part is. Fields of the other kind are None."""

    kind: Literal["body", "sheet"]
    units: UnitsShown
    size_mm: tuple[float, float, float]
    volume_mm3: float | None = None
    area_mm2: float | None = None
    mass_g: float | None = None
    # body
    triangles: int | None = None
    bodies: int | None = None
    watertight: bool | None = None
    # sheet
    thickness_mm: float | None = None
    flat_mm: tuple[float, float] | None = None
    contours: int | None = None
    holes: tuple[HoleShown, ...] = ()
    bends: tuple[BendShown, ...] = ()


@dataclass(frozen=True, slots=True)
class UnreadableShown:
    """Why a file could not be used, where in it, and what to do."""

    why: str
    where: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Seconds:
    """Wall time by step."""

    read: float = 0.0
    measure: float = 0.0
    rules: float = 0.0


@dataclass(frozen=True, slots=True)
class PartReport:
    """One file's entry."""

    file: str
    sha256: str
    process: Literal["powder-bed", "sheet"] | None
    material: str | None
    thickness: Quantity | None
    part: PartShown | None
    findings: tuple[Finding, ...] = ()
    not_checked: tuple[NotChecked, ...] = ()
    seconds: Seconds = field(default_factory=Seconds)
    unreadable: UnreadableShown | None = None
    format: str = ""
    assumed: tuple[Assumed, ...] = ()
    #: Things noticed while reading that are no findings.
    notes: tuple[str, ...] = ()
    #: Ids of the rules that ran to their end.
    checked: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """All parts of one run."""

    parts: tuple[PartReport, ...]
    schema: str = "1"
    #: Version of lintsvc that made it.
    made_by: str = ""
