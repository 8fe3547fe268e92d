"""How far what arrives may be off: places of holes, sizes of holes and pockets, bends, finish. mm and degrees.

A pitch that is held to ±t is what two holes give whose position zones have the diameter t (ASME Y14.5): each may be off
by t/2, one to the left and one to the right. So the zone of a process is its ± tolerance at the pattern's size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lintsvc.handbook.finishes import finish
from lintsvc.handbook.tolerances import general_tolerance, powder_bed_tolerance
from lintsvc.model.material import Value
from lintsvc.model.source import Source

if TYPE_CHECKING:
    from lintsvc.order.things import OrderedPart, Thing
    from lintsvc.rulebook.measured import Measured

_SHOP = Source("shop", "What the order says that the shop holds.")
_LASER = Source("common-practice", "Laser cut places and sizes are held to ±0.1 mm up to 100 mm, 0.1 % beyond.")
_PRINTED_HOLES = Source("common-practice", "Holes of powder-bed prints come out 0.1 to 0.3 mm small.")
_CUT_HOLES = Source("common-practice", "Laser cut holes are held to ±0.1 mm.")
#: Spreads that are usual: of the size of holes, of the angle of bends, of flats beside them.
_HOLE_MM, _BEND_DEG, _FLAT_MM = 0.1, 1.0, 0.2
_BENDS = Source("common-practice", "Bends are held to ±1° and flats between them to ±0.2 mm.")
_BOUGHT = Source("shop", "The tolerance of the bought-in thing as the order says it.")


@dataclass(frozen=True, slots=True)
class HoleSize:
    """How much smaller than drawn a hole comes out: as a rule, and at worst."""

    usual_mm: float
    worst_mm: float
    source: Source


def size_tolerance(thing: Thing, size_mm: float) -> Value:
    """Return the ± tolerance of a size between features of one body or one flat."""
    from lintsvc.order.things import BoughtThing

    if isinstance(thing, BoughtThing):
        return Value(thing.entry.tolerance, _BOUGHT)
    part = thing
    if part.entry.tolerance is not None:
        return Value(part.entry.tolerance, _SHOP)
    usual = _usual(part, size_mm)
    shown = part.shop.figure("length", part.process, part.report.material, part.entry.supplier)
    if shown is None:
        return usual
    return Value(abs(shown.offset) + (shown.tolerance or usual).value, shown.source)


def _usual(part: OrderedPart, size_mm: float) -> Value:
    if part.process == "powder-bed":
        return powder_bed_tolerance(size_mm)
    if part.material is not None and part.material.family == "soft":
        # Cut by hand: the coarse class of the general tolerances.
        return general_tolerance(max(size_mm, 0.5), "c")
    return Value(max(0.1, 0.001 * size_mm), _LASER)


def hole_figure(thing: Thing) -> Measured | None:
    """Return what the shop's own record says of how wide holes come out; None where there is none."""
    part = _part(thing)
    if part is None:
        return None
    return part.shop.figure("hole", part.process, part.report.material, part.entry.supplier)


def hole_size(thing: Thing) -> HoleSize:
    """Return how much smaller than drawn the holes of a thing come out, without its finish."""
    part = _part(thing)
    if part is None:
        return HoleSize(0.0, 0.0, _BOUGHT)
    shown = hole_figure(thing)
    if shown is not None:
        spread = _HOLE_MM if shown.tolerance is None else shown.tolerance.value
        return HoleSize(-shown.offset, -shown.offset + spread, shown.source)
    if part.process == "powder-bed":
        return HoleSize(0.2, 0.2 + _HOLE_MM, _PRINTED_HOLES)
    return HoleSize(0.0, _HOLE_MM, _CUT_HOLES)


def bend_tolerance(part: OrderedPart) -> tuple[float, float, Source]:
    """Return ± degrees of a bend, ± mm of a flat beside it, and where they come from."""
    if part.entry.bend_tolerance_deg is not None:
        return part.entry.bend_tolerance_deg, part.entry.tolerance or _FLAT_MM, _SHOP
    shown = part.shop.figure("bend", part.process, part.report.material, part.entry.supplier)
    if shown is not None:
        spread = _BEND_DEG if shown.tolerance is None else shown.tolerance.value
        return abs(shown.offset) + spread, part.entry.tolerance or _FLAT_MM, shown.source
    return _BEND_DEG, _FLAT_MM, _BENDS


def finish_per_face(thing: Thing) -> Value:
    """Return how far the finish moves each face outward at most."""
    part = _part(thing)
    if part is None:
        return Value(0.0, _BOUGHT)
    if part.entry.finish_per_face is not None:
        return Value(part.entry.finish_per_face, _SHOP)
    found = finish(part.entry.finish)
    return Value(found.most_mm, found.source)


def _part(thing: Thing) -> OrderedPart | None:
    from lintsvc.order.things import OrderedPart

    return thing if isinstance(thing, OrderedPart) else None
