"""What drives the cost of a part, and what it costs by the quotes or rates that the user entered. Nothing is invented:
without a quote or a rate there are the drivers and no price.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from lintsvc.order.file import OrderFile, PartEntry, PriceEntry, RateEntry

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lintsvc.rulebook.checked import Checked


@dataclass(frozen=True, slots=True)
class Drivers:
    """What a maker's price hangs on, for one part. None: not known, or not of this process."""

    process: str | None
    #: Sides of the box around the part as it is sent: folded, as printed; longest first.
    box_mm: tuple[float, float, float]
    mass_g: float | None = None
    #: Outside area that a finish covers, cut edges included.
    finish_area_mm2: float | None = None
    # sheet
    cut_length_mm: float | None = None
    engraved_length_mm: float | None = None
    pierces: int | None = None
    bends: int | None = None
    taps: int | None = None
    countersinks: int | None = None
    #: Rectangle of sheet that the flat takes.
    flat_mm: tuple[float, float] | None = None
    # powder bed
    #: The least height that it takes in the powder, lying on a face of its hull.
    packed_height_mm: float | None = None
    #: What could not be known, and why.
    unknown: tuple[str, ...] = field(default=())

    @property
    def box_volume_mm3(self) -> float:
        """Volume of the box."""
        return self.box_mm[0] * self.box_mm[1] * self.box_mm[2]


@dataclass(frozen=True, slots=True)
class Price:
    """What a part costs: each, once for the setup, and where that is from."""

    each: float
    setup: float
    source: str

    def of(self, count: int) -> float:
        """Return what so many cost together."""
        return self.setup + count * self.each


def drivers_of(checked: Checked) -> Drivers:
    """Return what drives the cost of a checked part. Measures what it needs; what fails is named in `unknown`."""
    if checked.part.kind == "sheet" and checked.choices.process != "powder-bed":
        return _sheet(checked)
    return _body(checked)


def _body(checked: Checked) -> Drivers:
    body = checked.body
    volume = body.volume_mm3 if body.watertight else None
    long, mid, short = sorted((float(x) for x in checked.part.size_mm), reverse=True)
    unknown = [] if volume is not None else ["mass: the body is not closed"]
    if checked.material is None and volume is not None:
        unknown.append("mass: no material is given")
    return Drivers(
        checked.choices.process,
        (long, mid, short),
        _mass_g(checked, volume),
        body.area_mm2,
        packed_height_mm=packed_height(body.mesh.vertices),
        unknown=tuple(unknown),
    )


def _sheet(checked: Checked) -> Drivers:
    from lintsvc.model.part import NotMeasurable
    from lintsvc.rulebook.rule import CannotCheck

    flat, thickness = checked.flat, checked.thickness_mm
    unknown: list[str] = []
    wide, high = _flat_size(checked)
    box = [wide, high, thickness or 0.0]
    cut = sum(x.length_mm for x in flat.contours) + sum(x.length_mm for x in flat.open_chains)
    bends: int | None = len(flat.bends)
    taps = sinks = None
    try:
        taps, sinks = len(checked.screws.tapped), len(checked.screws.countersunk)
    except (CannotCheck, NotMeasurable) as why:
        unknown.append(f"taps and countersinks: {why}")
    if flat.bends:
        try:
            folded = checked.folded
            box = list(folded.finished_size_mm)
            # Pieces of one line between the same panels are one stroke of the press.
            bends = len(folded.operations)
        except (CannotCheck, NotMeasurable) as why:
            unknown.append(f"size after bending: {why}")
    if thickness is None:
        unknown.append("mass and finish: no thickness is given")
    elif checked.material is None:
        unknown.append("mass: no material is given")
    area = None if flat.unsure else flat.area_mm2
    if area is None:
        unknown.append(f"mass and finish: {flat.unsure}")
    long, mid, short = sorted(box, reverse=True)
    return Drivers(
        checked.choices.process,
        (long, mid, short),
        None if thickness is None or area is None else _mass_g(checked, area * thickness),
        None if thickness is None or area is None else 2 * area + cut * thickness,
        cut,
        _engraved(checked),
        len(flat.contours) + len(flat.open_chains),
        bends,
        taps,
        sinks,
        (wide, high),
        unknown=tuple(unknown),
    )


def _flat_size(checked: Checked) -> tuple[float, float]:
    """Return the size of the flat; where its outline is open, of everything that is cut."""
    flat = checked.flat
    points = flat.drawing.curves.points
    if not flat.unsure or not len(points):
        return flat.flat_mm
    wide, high = (points.max(axis=0) - points.min(axis=0)).tolist()
    return wide, high


def _engraved(checked: Checked) -> float:
    from lintsvc.measure.flat_drawing import draw

    drawing = draw([x for x in checked.flat.sheet.entities if x.role == "engrave" and x.shapes])
    return sum(x.length_mm for x in drawing.contours) + sum(x.length_mm for x in drawing.open_chains)


def _mass_g(checked: Checked, volume_mm3: float | None) -> float | None:
    if volume_mm3 is None or checked.material is None:
        return None
    return volume_mm3 * checked.material.density_kg_m3.value * 1e-6


def packed_height(vertices: NDArray[Any]) -> float:
    """Return the least height of points (n, 3) that lie on a face of their hull; 0 for points in one plane."""
    import numpy as np
    from scipy.spatial import ConvexHull, QhullError

    points: NDArray[np.float64] = np.asarray(vertices, np.float64)
    try:
        hull = ConvexHull(points)
    except (QhullError, ValueError):
        return 0.0
    normals = np.unique(np.round(hull.equations[:, :3], 9), axis=0)
    reach = points[hull.vertices] @ normals.T
    return float(np.ptp(reach, axis=0).min())


def price_of(order: OrderFile, part: PartEntry, drivers: Drivers | None, count: int | None = None) -> Price | None:
    """Return the price of a part, for `count` of them (as many as are ordered when not given).

    The quote for the largest number that is not more than `count`, else for the smallest; then the user's own
    rates, where `drivers` are known and hold every one that a rate asks for. None when there is neither.
    """
    wanted = count or part.quantity + (part.spares or 0)
    quotes = [x for x in order.price if x.part == part.id]
    if quotes:
        return _quoted(quotes, wanted)
    rates = [x for x in order.rate if _holds(x, part, drivers)]
    if not rates or drivers is None:
        return None
    each = setup = 0.0
    for rate in rates:
        if rate.per == "order":
            setup += rate.price
            continue
        amount = _amount(rate, drivers)
        if amount is None:
            return None
        each += amount * rate.price
    return Price(each, setup, "By the rates entered in the order: an estimate, not a quote.")


def _quoted(quotes: list[PriceEntry], wanted: int) -> Price:
    fitting = [x for x in quotes if x.quantity <= wanted]
    quote = max(fitting, key=lambda x: x.quantity) if fitting else min(quotes, key=lambda x: x.quantity)
    return Price(quote.each, quote.setup, f"The quote for {quote.quantity}, as entered in the order.")


def _holds(rate: RateEntry, part: PartEntry, drivers: Drivers | None) -> bool:
    process = part.process or (None if drivers is None else drivers.process)
    return rate.process in (None, process) and rate.supplier in (None, part.supplier)


def _amount(rate: RateEntry, drivers: Drivers) -> float | None:
    """Return how many of what a rate is for are in a part."""

    def scaled(value: float | None, by: float) -> float | None:
        return None if value is None else value / by

    amounts: dict[str, float | None] = {
        "part": 1.0,
        "cut-metre": scaled(drivers.cut_length_mm, 1e3),
        "pierce": drivers.pierces,
        "bend": drivers.bends,
        "tap": drivers.taps,
        "countersink": drivers.countersinks,
        "kg": scaled(drivers.mass_g, 1e3),
        "box-litre": drivers.box_volume_mm3 / 1e6,
        "packed-cm": scaled(drivers.packed_height_mm, 10.0),
        "finish-dm2": scaled(drivers.finish_area_mm2, 1e4),
    }
    amount = amounts[rate.per]
    sheet_only = ("cut-metre", "pierce", "bend", "tap", "countersink")
    # A printed part is not cut, and a sheet is not packed in powder: none of it, not unknown.
    if amount is None and (
        (drivers.process == "powder-bed" and rate.per in sheet_only)
        or (drivers.process == "sheet" and rate.per == "packed-cm")
    ):
        return 0.0
    return amount


def driver_rows(drivers: Drivers) -> Iterator[tuple[str, str]]:
    """Yield what drives the cost as (name, value with unit), what is not known left out."""
    from lintsvc.rulebook.wording import number

    def at(value: float, digits: int = 1) -> str:
        return number(round(value, digits))

    yield "box", " × ".join(at(x) for x in drivers.box_mm) + f" mm, {at(drivers.box_volume_mm3 / 1e3)} cm³"
    if drivers.flat_mm is not None:
        yield "flat", f"{at(drivers.flat_mm[0])} × {at(drivers.flat_mm[1])} mm"
    if drivers.mass_g is not None:
        yield "mass", f"{at(drivers.mass_g)} g"
    if drivers.cut_length_mm is not None:
        yield "cut length", f"{at(drivers.cut_length_mm, 0)} mm"
    if drivers.engraved_length_mm:
        yield "engraved", f"{at(drivers.engraved_length_mm, 0)} mm"
    for name, count in (
        ("pierces", drivers.pierces),
        ("bends", drivers.bends),
        ("taps", drivers.taps),
        ("countersinks", drivers.countersinks),
    ):
        if count is not None:
            yield name, number(count)
    if drivers.packed_height_mm is not None:
        yield "packed height", f"{at(drivers.packed_height_mm)} mm"
    if drivers.finish_area_mm2 is not None:
        yield "finish area", f"{at(drivers.finish_area_mm2 / 1e4, 2)} dm²"
