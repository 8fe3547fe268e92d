"""The first page of a packet: the order as a whole, who delivers when, spares, what it costs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

from lintsvc.order.cost import Price, price_of
from lintsvc.order.schedule import Schedule, schedule
from lintsvc.order.spares import ASSUMPTION, Spares, spares_of
from lintsvc.packet.blocks import Block, Head, Line, Page, Rows
from lintsvc.packet.drawn import Drawn
from lintsvc.packet.part_page import file_name, material_text, not_ready, quantity_text, thickness_text
from lintsvc.reports.remedy import remedy_in_report
from lintsvc.reports.words import against, counted, missed_by_reason, plural
from lintsvc.rulebook.wording import number

if TYPE_CHECKING:
    from lintsvc.model.report import OrderReport, PartReport
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import OrderedPart

CLOSING = (
    "Numbers are for a first choice and carry their source. Loads, heat, electricity, batteries, sharp edges and fine "
    "powder want care: the shop's own limits, local codes and licensed practice go first."
)


def order_page(order: CheckedOrder, entry: OrderReport | None, drawn: Mapping[str, Drawn]) -> Page:
    """Return the page. `entry`: what the rules of orders said; None where they were not run."""
    about = order.order.order
    blocks: list[Block] = [Head(about.name, 1), Rows(tuple(_facts(order, entry)), widths=(1.0, 4.5))]
    blocks += _parts(order, drawn)
    if entry is not None:
        blocks += _findings(entry)
        blocks += _loads(entry)
        blocks += _assumed(entry)
    blocks += _calendar(order)
    blocks += _spares(order, drawn)
    blocks.append(Line(CLOSING, quiet=True))
    return Page(about.name, tuple(blocks))


def _facts(order: CheckedOrder, entry: OrderReport | None) -> Iterator[tuple[str, str]]:
    yield "Order file", order.path.name
    yield "SHA-256", order.sha256
    if entry is not None and entry.mass_g is not None:
        yield "Mass together", f"{number(round(entry.mass_g, 1))} g"
    if entry is not None and entry.tip_deg is not None:
        yield "Tips over at", f"{number(round(entry.tip_deg, 1))}°"
    findings = sum((x.report.findings for x in order.parts), ())
    reports = [x.report for x in order.parts]
    yield "Parts checked", f"{plural(len(order.parts), 'part')}: {counted(findings)}{_missed(reports)}"
    if entry is not None:
        yield "Order checked", counted(entry.findings) + _missed([entry])
    wrong = [x.id for x in order.parts if not_ready(x)]
    if wrong:
        yield "NOT READY", f"{', '.join(wrong)}: errors were found; see there"


def _missed(reports: Sequence[PartReport]) -> str:
    count = sum(len(x.not_checked) for x in reports)
    return f"; {plural(count, 'rule')} not checked" if count else ""


def _parts(order: CheckedOrder, drawn: Mapping[str, Drawn]) -> Iterator[Block]:
    yield Head("Parts")
    rows = []
    for part in order.parts:
        thickness = thickness_text(part)
        made = material_text(part) + (f", {thickness}" if thickness else "")
        rows.append((part.id, file_name(part), quantity_text(part), made, part.entry.finish, _suppliers(part)))
    yield Rows(
        tuple(rows), ("Part", "File", "Quantity", "Material", "Finish", "Supplier"), (1.2, 1.6, 1.3, 2.6, 1.6, 1.2)
    )
    if order.bought:
        things = []
        for thing in order.bought:
            mass = "not said" if thing.mass_g is None else f"{number(thing.mass_g)} g"
            entry = thing.entry
            things.append((thing.id, number(entry.quantity), str(entry.shape), mass, entry.supplier or ""))
        yield Head("Bought-in things")
        yield Rows(tuple(things), ("Thing", "Quantity", "Envelope", "Mass", "Supplier"))
    yield from _prices(order, drawn)


def _suppliers(part: OrderedPart) -> str:
    return ", then ".join(x for x in (part.entry.supplier, *part.entry.then) if x)


def prices(order: CheckedOrder, drawn: Mapping[str, Drawn]) -> dict[str, Price]:
    """Return the price of each part that has one, by the order's quotes and rates."""
    found = {}
    for part in order.parts:
        here = drawn.get(part.id)
        price = price_of(order.order, part.entry, None if here is None else here.drivers)
        if price is not None:
            found[part.id] = price
    return found


def _prices(order: CheckedOrder, drawn: Mapping[str, Drawn]) -> Iterator[Block]:
    known = prices(order, drawn)
    if not known:
        return
    currency = order.order.order.currency
    rows = []
    total = 0.0
    for part in order.parts:
        if part.id not in known:
            continue
        price = known[part.id]
        count = part.entry.quantity + (part.entry.spares or 0)
        total += price.of(count)
        row = (
            part.id,
            f"{price.each:.2f}",
            f"{price.setup:.2f}",
            number(count),
            f"{price.of(count):.2f}",
            price.source,
        )
        rows.append(row)
    missing = [x.id for x in order.parts if x.id not in known]
    yield Head(f"Prices, {currency}")
    yield Rows(
        tuple(rows),
        ("Part", "Each", "Setup", "Count", "Together", "Where it comes from"),
        (1.2, 0.9, 0.9, 0.8, 1.0, 4.2),
    )
    words = f"{total:.2f} {currency} in all"
    yield Line(words + (f"; no price is known for {', '.join(missing)}." if missing else "."))


def _findings(entry: OrderReport) -> Iterator[Block]:
    yield Head("The parts together")
    yield from (Line(f"{x.kind} {', '.join(x.of)}: {x.text}") for x in entry.relations)
    for finding in (x for x in entry.findings if not x.set_aside):
        held = against(finding)
        text = f"{finding.level.upper()} {finding.rule}: {finding.message}" + (f" ({held})" if held else "")
        yield Line(f"{text} {remedy_in_report(finding)}", level=finding.level)
    yield from (Line(f"{x.rule}: {x.message} Set aside: {x.set_aside}") for x in entry.findings if x.set_aside)
    yield from (Line(f"Not checked, {why}: {', '.join(x)}", quiet=True) for why, x in missed_by_reason(entry))


def _loads(entry: OrderReport) -> Iterator[Block]:
    if not entry.stiffness:
        return
    yield Head("Under the loads, a first estimate")
    rows = []
    for row in entry.stiffness:
        thickness = "" if row.thickness_mm is None else f", {number(row.thickness_mm)} mm"
        limit = "not known" if row.yield_mpa is None else f"{number(round(row.yield_mpa, 1))} MPa"
        rows.append(
            (
                row.part,
                f"{row.material}{thickness}",
                "as ordered" if row.chosen else "to compare",
                f"{number(round(row.deflection_mm, 3))} mm",
                f"{number(round(row.stress_mpa, 1))} MPa",
                limit,
                "not known" if row.mass_g is None else f"{number(round(row.mass_g, 1))} g",
                row.by,
            )
        )
    head = ("Part", "Made of", "", "Gives way", "Stress", "Yields at", "Mass", "By")
    yield Rows(tuple(rows), head, (1.0, 2.2, 1.1, 1.0, 1.0, 1.0, 0.9, 1.6))


def _assumed(entry: OrderReport) -> Iterator[Block]:
    if not entry.assumed and not entry.notes:
        return
    yield Head("What was assumed")
    yield from (Line(f"{x.what} {x.value}: {x.why}", quiet=True) for x in entry.assumed)
    yield from (Line(f"Noticed: {x}", quiet=True) for x in entry.notes)


def _calendar(order: CheckedOrder) -> Iterator[Block]:
    if not order.order.supplier:
        return
    yield Head("Calendar")
    try:
        plan = schedule(order.order, order.today)
    except ValueError as error:
        yield Line(f"No calendar: {error}.", level="warning")
        return
    rows = []
    for step in plan.steps:
        waited = f"{plural(step.slack_days, 'day')} to spare" if step.slack_days else "everything waits for it"
        rows.append(
            (step.of or "all", step.what, step.who or "we", number(step.days), day(step.start), day(step.end), waited)
        )
    head = ("Part", "Step", "Who", "Working days", "From", "Over on", "To spare")
    yield Rows(tuple(rows), head, (1.2, 1.2, 1.1, 0.9, 1.3, 1.3, 2.0))
    yield from calendar_lines(plan)


def calendar_lines(plan: Schedule) -> Iterator[Line]:
    """Yield what the calendar comes to."""
    words = "Not before" if plan.unknown else "All there on"
    late = plan.late_days
    yield Line(f"{words} {day(plan.done)}." + (f" Needed by {day(plan.need_by)}." if plan.need_by else ""))
    if late:
        yield Line(f"{plural(late, 'day')} late.", level="error")
    elif plan.order_by is not None:
        yield Line(f"In time if it is ordered by {day(plan.order_by)}.")
    yield from (Line(f"Not known: {x}.", level="warning") for x in plan.unknown)
    if plan.at_hand:
        yield Line(
            f"No supplier is named for {', '.join(plan.at_hand)}: taken to be at hand, or made here.", quiet=True
        )


def day(value: date) -> str:
    """Return 'Mon 2026-03-02'."""
    return f"{('Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat', 'Sun')[value.weekday()]} {value.isoformat()}"


def _spares(order: CheckedOrder, drawn: Mapping[str, Drawn]) -> Iterator[Block]:
    known = prices(order, drawn)
    found = [(x, spares_of(order.order, x.entry, order.shop, known.get(x.id))) for x in order.parts]
    if not any(x for _, x in found):
        return
    currency = order.order.order.currency
    yield Head("Spares")
    for part, spares in found:
        if spares is None:
            continue
        yield Line(_spares_text(part.id, spares, currency))
        yield _spares_table(spares, currency)
    silent = [part.id for part, spares in found if spares is None]
    if silent:
        words = "nobody says how often such a part is bad (bad_share), so no spares are advised."
        yield Line(f"{', '.join(silent)}: {words}", quiet=True)
    yield Line(ASSUMPTION, quiet=True)


def _spares_text(id: str, spares: Spares, currency: str) -> str:
    share = f"{100 * spares.bad.value:.3g} %"
    words = (
        f"{id}: {spares.needed} needed, {plural(spares.ordered, 'spare')} ordered. Each is bad with a chance of "
        f"{share} ({spares.bad.source.text.rstrip('.')}). So enough are good with {100 * spares.chance:.1f} %; "
        f"{100 * spares.wanted_chance:g} % is wanted, which takes {plural(spares.advised, 'spare')}."
    )
    second = [] if spares.second is None else [f"costs {spares.second.each:.2f} {currency}"]
    second += [] if spares.second_days is None else [f"takes {plural(spares.second_days, 'working day')}"]
    if second:
        words += f" A second order of one {' and '.join(second)}."
    if spares.cheapest is not None:
        words += f" By cost alone, {plural(spares.cheapest, 'spare')} would be best."
    return words


def _spares_table(spares: Spares, currency: str) -> Rows:
    """What so many spares cost against what a second order is expected to: its chance times its cost and days."""
    head = ["Spares", "Enough good ones", "A second order"]
    priced, dated = spares.second is not None, spares.second_days is not None
    head += [f"Spares cost, {currency}", f"Second order, expected, {currency}", f"Together, {currency}"] * priced
    head += ["Wait for it, expected, days"] * dated
    rows = []
    for row in spares.rows:
        cells = [number(row.spares), f"{100 * row.chance:.1f} %", f"{100 * (1 - row.chance):.1f} %"]
        if row.cost is not None and row.second_cost is not None:
            cells += [f"{row.cost:.2f}", f"{row.second_cost:.2f}", f"{row.cost + row.second_cost:.2f}"]
        if row.second_days is not None:
            cells.append(f"{row.second_days:.2f}")
        rows.append(tuple(cells))
    return Rows(tuple(rows), tuple(head))
