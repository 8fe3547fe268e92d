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
    #: Outside, once a flat is bent.
    folded_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class SolidShown:
    """One solid of a file that holds several, however often it is placed; findings name it."""

    name: str
    count: int
    process: Literal["powder-bed", "sheet"] | None
    part: PartShown
    #: Why it is not taken as a sheet part.
    not_a_sheet_because: str = ""


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
    #: The different solids of an assembly, each judged by its own process.
    solids: tuple[SolidShown, ...] = ()


@dataclass(frozen=True, slots=True)
class PlacedShown:
    """Where a part or bought-in thing stands in the assembly. `place`: rows of the 3 x 4 matrix part to assembly."""

    id: str
    #: The part's file as its entry in `parts` names it; empty for a bought-in thing.
    file: str
    quantity: int
    mass_g: float | None
    #: None where no relation and no [[place]] says where it stands.
    place: tuple[tuple[float, float, float, float], ...] | None = None
    #: What placed it, or why nothing did.
    why: str = ""


@dataclass(frozen=True, slots=True)
class RelationShown:
    """What came of one relation of the order, in words and numbers. `values` have their unit in the name."""

    kind: str
    of: tuple[str, str]
    text: str
    values: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class StiffnessShown:
    """A first estimate of one loaded part, as chosen and for other choices side by side."""

    part: str
    material: str
    thickness_mm: float | None
    deflection_mm: float
    stress_mpa: float
    yield_mpa: float | None
    mass_g: float | None
    #: How it was estimated: beam, plate, elements.
    by: str
    #: The row of the order's own choice; the others are to compare.
    chosen: bool = True


@dataclass(frozen=True, slots=True)
class CostShown:
    """What drives the cost of a part, as (name, value with unit), and what so many cost where a price is entered."""

    part: str
    drivers: tuple[tuple[str, str], ...]
    count: int
    #: In the order's currency, setup included; None where no quote and no rate says it.
    together: float | None = None
    currency: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class OrderReport(PartReport):
    """An order's own entry: what its parts have to do with each other. `part` is None, `format` is "order"."""

    name: str = ""
    mass_g: float | None = None
    #: Centre of gravity in the frame of the assembly.
    centre_mm: tuple[float, float, float] | None = None
    #: Angle at which it tips over its weakest edge; below zero it falls by itself.
    tip_deg: float | None = None
    placed: tuple[PlacedShown, ...] = ()
    relations: tuple[RelationShown, ...] = ()
    stiffness: tuple[StiffnessShown, ...] = ()
    costs: tuple[CostShown, ...] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """All parts of one run."""

    parts: tuple[PartReport, ...]
    schema: str = "1"
    #: Version of lintsvc that made it.
    made_by: str = ""
    #: For `lintsvc order`: what the parts have to do with each other.
    order: OrderReport | None = None

    @property
    def entries(self) -> tuple[PartReport, ...]:
        """The parts, and after them the order where there is one."""
        return self.parts if self.order is None else (*self.parts, self.order)
