"""What the report says of an order beside its findings: places, relations, mass, loads, what was assumed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lintsvc.model.choices import Assumed
from lintsvc.model.report import CostShown, PlacedShown, RelationShown, StiffnessShown
from lintsvc.order.cost import driver_rows, price_of
from lintsvc.order.faces import two_of
from lintsvc.order.relations import Apart, FacesMeet, Holds, HolesMeet
from lintsvc.order.screw_mass import SOURCE as SCREW_MASS
from lintsvc.order.stiffness import ASSUMED
from lintsvc.rulebook.measured import WHATS, Measured

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.clash import Apartness
    from lintsvc.order.meeting import Meets
    from lintsvc.order.pocket import Held

Row = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Shown:
    """Facts for the order's entry of the report."""

    mass_g: float | None
    centre_mm: tuple[float, float, float] | None
    tip_deg: float | None
    placed: tuple[PlacedShown, ...]
    relations: tuple[RelationShown, ...]
    stiffness: tuple[StiffnessShown, ...]
    costs: tuple[CostShown, ...]
    assumed: tuple[Assumed, ...]
    notes: tuple[str, ...]


def shown(order: CheckedOrder) -> Shown:
    """Return the facts."""
    from lintsvc.order.balance import total
    from lintsvc.order.standing import lumps

    mass, unknown = order.mass
    stands = order.balance
    heavy = lumps(order)
    whole = bool(heavy) and not unknown and not order.placing.missing
    return Shown(
        mass_g=mass if mass > 0 and not unknown else None,
        centre_mm=total(heavy)[1] if whole else None,
        tip_deg=None if isinstance(stands, str) else stands.tip_deg,
        placed=tuple(_placed(order)),
        relations=tuple(_relations(order)),
        stiffness=tuple(row for x in order.loaded for row in x.rows),
        costs=tuple(_costs(order)),
        assumed=tuple(_assumed(order)),
        notes=tuple(_notes(order, unknown)),
    )


def _costs(order: CheckedOrder) -> Iterator[CostShown]:
    """What drives each part's cost, and its price where a quote or rate is entered."""
    for part in order.parts:
        drivers = part.drivers
        price = price_of(order.order, part.entry, drivers)
        rows = () if drivers is None else tuple(driver_rows(drivers))
        count = part.entry.quantity + (part.entry.spares or 0)
        if price is None:
            yield CostShown(part.id, rows, count)
        else:
            yield CostShown(part.id, rows, count, price.of(count), order.order.order.currency, price.source)


def _placed(order: CheckedOrder) -> Iterator[PlacedShown]:
    from lintsvc.order.things import OrderedPart

    for id, thing in order.things.items():
        file = thing.report.file if isinstance(thing, OrderedPart) else ""
        common = (id, file, thing.entry.quantity, thing.mass_g)
        places = [x for x in order.placing.placed if x.id == id]
        for each in places:
            rows = tuple(_row(x) for x in each.place[:3].tolist())
            yield PlacedShown(*common, place=(rows[0], rows[1], rows[2]), why=each.why)
        if not places:
            yield PlacedShown(*common, why=order.placing.missing[id])


def _row(values: list[float]) -> Row:
    a, b, c, d = (round(x, 9) + 0.0 for x in values)
    return a, b, c, d


def _relations(order: CheckedOrder) -> Iterator[RelationShown]:
    meets = {x.number: x for x in order.meetings}
    held = {x.number: x for x in order.held}
    apart = {x.number: x for x in order.apart}
    for each in meets.values():
        if each.of is not None:
            yield _meets(order, each)
    for number, relation in enumerate(order.order.relation):
        if isinstance(relation, HolesMeet):
            yield _meets(order, meets[number])
        elif isinstance(relation, FacesMeet):
            why = next((x.why for x in order.placing.placed if x.id in two_of(relation) and "face" in x.why), "")
            yield RelationShown("faces-meet", two_of(relation), why or "both stand by something else, or do not stand")
        elif isinstance(relation, Holds):
            yield _held(held[number])
        elif isinstance(relation, Apart):
            yield _apart(apart[number])


def _meets(order: CheckedOrder, meets: Meets) -> RelationShown:
    if not meets.ways:
        return RelationShown("holes-meet", meets.pair, meets.why or "no holes come together")
    play = order.play(meets)
    way = order.way(meets)
    off = float(way.off_mm.max())
    chance = "all go together" if play.chance == 1.0 else f"{100 * play.chance:.1f} % go together"
    also = order.placing.also.get(meets.number, 0)
    clearance = float(play.clearance_mm.min())
    text = (
        f"{meets.count} of {meets.wanted} holes meet within {off:.2f} mm; each screw has {clearance:.2f} mm "
        f"to all sides, at worst {_left(play.worst_mm)}, by root sum square {_left(play.rss_mm)}; {chance}"
    )
    if also:
        text += f"; it also goes together in {also} other {'way' if also == 1 else 'ways'}"
    values = (
        ("meet", float(meets.count)),
        ("wanted", float(meets.wanted)),
        ("off_mm", off),
        ("clearance_mm", clearance),
        ("worst_mm", play.worst_mm),
        ("root_sum_square_mm", play.rss_mm),
        ("position_a_mm", play.zone_mm[0]),
        ("position_b_mm", play.zone_mm[1]),
        ("chance", play.chance),
        ("chance_within", play.chance_within),
        ("bends_between", float(play.bends)),
        ("other_ways", float(also)),
    )
    return RelationShown("holes-meet", meets.pair, text, values)


def _left(play_mm: float) -> str:
    return f"{abs(play_mm):.2f} mm are {'missing' if play_mm < -0.005 else 'left'}"


def _held(held: Held) -> RelationShown:
    pair = (held.relation.part, held.relation.thing)
    if held.place is None:
        return RelationShown("holds", pair, held.why)
    left = held.left_mm - held.finish_mm
    text = (
        f"{held.clearance_mm:.2f} mm of play to each side as drawn, {left:.2f} mm after tolerances"
        f"{' and finish' if held.finish_mm else ''}; {held.relation.play:g} mm are wanted"
    )
    if held.relation.at is None:
        text += "; the only place of about its size, at " + ", ".join(f"{x:.4g}" for x in held.place[:3, 3]) + " mm"
    if held.turned_deg is not None:
        turn = ", ".join(f"{x:g}" for x in held.turned_deg)
        text += f"; it goes in turned, and the order says no turn: write turn_deg = [{turn}] if that is meant"
    values = (
        ("clearance_mm", held.clearance_mm),
        ("tolerance_mm", held.loss_mm),
        ("finish_mm", held.finish_mm),
        ("left_mm", left),
        ("wanted_mm", held.relation.play),
    )
    return RelationShown("holds", pair, text, values)


def _apart(apart: Apartness) -> RelationShown:
    pair = (apart.relation.a, apart.relation.b)
    if apart.gap_mm is None:
        return RelationShown(apart.relation.kind, pair, apart.why)
    pressed, far = apart.relation.kind == "presses", apart.gap_mm >= apart.far_mm
    text = f"{apart.gap_mm:.2f} mm{' or more' if far else ''} apart"
    if apart.gap_mm < 0:
        text = f"{-apart.gap_mm:.2f} mm into each other"
    if apart.along_mm is not None:
        text += f" at least, {apart.along_mm:.1f} mm along the way that {apart.relation.b} slides"
    left = apart.left_mm - (0.0 if pressed else apart.finish_mm)
    if not far and (apart.gap_mm < 0) == pressed:
        text += f" as drawn, {left:.2f} mm after tolerances{' and finish' if apart.finish_mm and not pressed else ''}"
    if apart.relation.play is not None:
        text += f"; {apart.relation.play:g} mm are wanted"
    if apart.relation.kind == "slides" and apart.along_mm is None:
        text += "; looked at where they stand only: say how far it slides (travel) for the whole way"
    values = (("gap_mm", apart.gap_mm), ("tolerance_mm", apart.loss_mm), ("finish_mm", apart.finish_mm))
    return RelationShown(apart.relation.kind, pair, text, (*values, ("left_mm", left)))


def _shop(order: CheckedOrder) -> Iterator[Assumed]:
    """What parts that arrived have shown of the shops, where these parts are checked by it: each figure once."""
    figures: dict[Measured, list[str]] = {}
    for part in order.parts:
        for what in WHATS:
            figure = part.shop.figure(what, part.process, part.report.material, part.entry.supplier)
            if figure is not None:
                figures.setdefault(figure, []).append(part.id)
    for figure, ids in figures.items():
        unit = "°" if figure.unit == "deg" else " mm"
        yield Assumed(f"{figure.what} of {', '.join(ids)}", f"{figure.offset:+.3g}{unit}", figure.source.text)


def _assumed(order: CheckedOrder) -> Iterator[Assumed]:
    from lintsvc.order.fasteners import head_of

    if order.loaded:
        yield Assumed("loads", "linear", ASSUMED)
    several = [x.id for x in order.parts if x.entry.quantity > 1]
    if several and order.placing.placed:
        yield Assumed("assembly", "one of each", "only what [[place]] names twice stands twice, whatever the quantity")
    yield from _shop(order)
    heads = {
        (x.screw.size, x.screw.head): head_of(x.screw)
        for x in order.order.relation
        if isinstance(x, HolesMeet) and (x.screw.head_diameter is None or x.screw.head_height is None)
    }
    if order.screws:
        each = ", ".join(
            f"{x.count} {x.meets.relation.screw.size} × {x.meets.relation.screw.length:g} mm"
            + (" with nuts" if x.nut_g else "")
            for x in order.screws
        )
        yield Assumed("screws", f"{each}: {sum(x.mass_g for x in order.screws):.1f} g", SCREW_MASS.text)
    for (size, _), head in heads.items():
        yield Assumed("head", f"{size}: {head.diameter_mm:g} × {head.height_mm:g} mm", head.source.text)


def _too_far(order: CheckedOrder) -> Iterator[str]:
    """Tell of estimates that are beyond what they assume: small moves."""
    for one in order.loaded:
        if one.why:
            continue
        shape = order.part(one.part).shape
        low, high = shape.box
        long, thick = float((high - low).max()), float((high - low).min())
        if one.deflection_mm > 0.1 * long:
            yield (
                f"{one.part} gives way by more than a tenth of its length: the estimate is for small moves, and says "
                "here only that it is far too soft"
            )
        elif "plate" in one.by and one.deflection_mm > 0.5 * thick:
            yield (
                f"{one.part} gives way by more than half its thickness: a plate so far bent carries as a skin as well, "
                "and gives way less than the formula says"
            )


def _notes(order: CheckedOrder, unknown: tuple[str, ...]) -> Iterator[str]:
    if unknown:
        yield f"the mass of {', '.join(unknown)} is not known; the order's is without it"
    named = order.order.order.shop
    if named is not None and not (order.path.parent / named).exists():
        yield f"{named} is not there yet: nothing is known of what came out of the shops"
    short = [x for x in order.meetings if x.of is None and x.ways and x.relation.screw.length is None]
    if short:
        pairs = ", ".join(dict.fromkeys(" and ".join(x.pair) for x in short))
        yield f"the screws between {pairs} are not weighed: nobody says how long they are"
    yield from _too_far(order)
    for id, why in order.placing.missing.items():
        if order.placing.placed:
            yield f"{id} is not placed: {why}"
    for meets in order.meetings:
        if meets.number in order.placing.loops:
            a, b = meets.pair
            apart = order.placing.loops[meets.number]
            yield f"{a} and {b} are placed by others; their holes are {apart:.2f} mm apart then" + _round(order, meets)


def _round(order: CheckedOrder, meets: Meets) -> str:
    """Say what adds up round the loop that a relation closes."""
    loop = order.loops.get(meets.number)
    if loop is None:
        return "; what adds up round that loop is not counted: it does not go by screws between firm parts alone"
    by = f" by {', '.join(loop.by)}" if loop.by else ""
    bends = f"{loop.bends} {'bend' if loop.bends == 1 else 'bends'}"
    return (
        f". Round that loop{by}, {bends} in it, the screws give {loop.room_mm:.2f} mm; at worst "
        f"{_left(loop.worst_mm)}, by root sum square {_left(loop.rss_mm)}; {100 * loop.chance:.1f} % go together"
    )
