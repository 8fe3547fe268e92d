"""The page of one part: what is to be made, so that it cannot be misread, and what was checked of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from lintsvc.model.finding import Quantity
from lintsvc.order.cost import driver_rows
from lintsvc.order.relations import Holds
from lintsvc.packet.blocks import Block, Drawing, Head, Line, Page, Rows
from lintsvc.packet.drawn import NAMED, BendLine, Drawn, HoleGroup, place_words, sink_words
from lintsvc.packet.inspection import Size, limits_text, meant_text
from lintsvc.reports.remedy import remedy_in_report
from lintsvc.reports.words import against, counted, missed_by_reason, plural, size, source_text
from lintsvc.rulebook.wording import number, show

if TYPE_CHECKING:
    from lintsvc.model.report import PartReport
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import OrderedPart

#: Places of so many holes are written out; the file has all.
_PLACES = 12


def part_page(order: CheckedOrder, part: OrderedPart, drawn: Drawn | None, sizes: Sequence[Size]) -> Page:
    """Return the page. `drawn` is None for a file that could not be read."""
    title = f"{part.id}: {file_name(part)}"
    masked = [("Keep free of finish", x) for x in masked_places(order, part)]
    blocks: list[Block] = [Head(title, 1), *_not_ready(part)]
    blocks.append(Rows((*facts(part, drawn), *masked), widths=(1.0, 4.5)))
    if drawn is not None:
        blocks += _pictures(drawn)
        blocks += _holes(part, drawn)
        blocks += _bends(drawn)
        blocks += _screws(drawn)
        blocks += _tolerances(sizes)
        blocks.append(Head("What drives its cost"))
        blocks.append(Rows(tuple(driver_rows(drawn.drivers)), widths=(1.0, 4.5)))
        blocks += [Line(f"Not known: {x}.", quiet=True) for x in drawn.drivers.unknown]
    blocks += _checked(part.report)
    return Page(title, tuple(blocks))


def not_ready(part: OrderedPart) -> str:
    """Return why a part is not to be made as it is; empty where no error was found."""
    if part.report.unreadable is not None:
        return "NOT READY: the file cannot be read."
    errors = sum(1 for x in part.report.findings if x.level == "error" and not x.set_aside)
    return f"NOT READY: {plural(errors, 'error')} found in this file." if errors else ""


def _not_ready(part: OrderedPart) -> Iterator[Block]:
    if words := not_ready(part):
        yield Line(f"{words} See below, what was checked.", level="error")


def file_name(part: OrderedPart) -> str:
    """Return the name of a part's file, without its folders."""
    return part.path.name


def facts(part: OrderedPart, drawn: Drawn | None) -> Iterator[tuple[str, str]]:
    """Yield what stands at the head of a part: name and value, only what is known."""
    entry, report = part.entry, part.report
    yield "File", file_name(part)
    yield "SHA-256", report.sha256 or "the file could not be read"
    yield "Quantity", quantity_text(part)
    if report.process:
        yield "Process", report.process + (f", cut by {entry.cut}" if entry.cut else "")
    yield "Material", material_text(part)
    thickness = thickness_text(part)
    if thickness:
        yield "Thickness", thickness
    yield "Finish", finish_text(part)
    if report.part is not None:
        yield "Unit", f"{report.part.units.value}: {report.part.units.why}"
        yield "Size", _size(part, drawn)
        # An open outline has an area by chance only.
        if report.part.mass_g is not None and (drawn is None or drawn.drivers.mass_g is not None):
            yield "Mass", f"{number(round(report.part.mass_g, 1))} g each"
    if entry.supplier:
        yield "Supplier", ", then ".join((entry.supplier, *entry.then))
    for assumed in report.assumed:
        yield "Assumed", f"{assumed.what} {assumed.value}: {assumed.why}"
    for note in report.notes:
        yield "Noticed", note


def masked_places(order: CheckedOrder, part: OrderedPart) -> Iterator[str]:
    """Yield what of a part is to be kept free of its finish, where it has one."""
    if part.entry.finish == "none":
        return
    for relation in order.order.relation:
        if isinstance(relation, Holds) and relation.part == part.id and relation.masked:
            at = "" if relation.at is None else f", about {' '.join(number(round(x, 2)) for x in relation.at)} mm"
            yield f"the place of {relation.thing}{at}"


def quantity_text(part: OrderedPart) -> str:
    """Return '4', or '5 (4 and 1 spare)'."""
    spares = part.entry.spares or 0
    if not spares:
        return number(part.entry.quantity)
    return f"{number(part.entry.quantity + spares)} ({number(part.entry.quantity)} and {plural(spares, 'spare')})"


def material_text(part: OrderedPart) -> str:
    """Return the material's name and id, or that none is named."""
    if part.material is None:
        return "not named"
    return f"{part.material.name} ({part.material.id})"


def thickness_text(part: OrderedPart) -> str:
    """Return the sheet's thickness; empty for a body, a plain word where nobody said it."""
    if part.report.process != "sheet":
        return ""
    if part.report.thickness is None:
        return "not named"
    return show(part.report.thickness) + inch_words(part, (part.report.thickness.value,))


def inch_words(part: OrderedPart, sizes_mm: Sequence[float], by: str = " × ") -> str:
    """Return sizes again as ' (6 × 4 in)' where the file is drawn in inches; else nothing."""
    shown = part.report.part
    if shown is None or shown.units.value not in ("in", "mil", "ft"):
        return ""
    return f" ({by.join(number(round(x / 25.4, 3)) for x in sizes_mm)} in)"


def finish_text(part: OrderedPart) -> str:
    """Return the finish, with what it adds to each face where it adds anything."""
    from lintsvc.order.tolerances import finish_per_face

    if part.entry.finish == "none":
        return "none"
    added = finish_per_face(part)
    more = f", up to {number(added.value)} mm on each face ({source_text(added.source)})" if added.value else ""
    return part.entry.finish + more


def _size(part: OrderedPart, drawn: Drawn | None) -> str:
    shown = part.report.part
    assert shown is not None  # the caller looked
    if drawn is not None and drawn.kind == "sheet":
        cut = drawn.drivers.flat_mm or ()
        flat = f"flat {size([round(x, 2) for x in cut])}{inch_words(part, cut)}"
        if drawn.folded_size_mm is None:
            return flat
        folded = drawn.folded_size_mm
        return f"{flat}; folded {size([round(x, 2) for x in folded])}{inch_words(part, folded)} outside"
    return size([round(x, 3) for x in shown.size_mm]) + inch_words(part, shown.size_mm)


def _pictures(drawn: Drawn) -> Iterator[Block]:
    if drawn.picture is not None:
        caption = (
            "Seen from the front, the right and above; dashed to what lies behind."
            if drawn.kind == "body"
            else "The flat, seen from above."
        )
        if drawn.bends:
            caption += " Dashed bends (blue) fold up, towards the viewer; those in dash and dot (brown) down."
        named = [x.name for x in drawn.holes if drawn.kind == "sheet" and x.count > NAMED]
        if named:
            caption += f" Of the holes {', '.join(named)} only {NAMED} each carry their letter."
        yield Drawing(drawn.picture, caption)


def hole_text(group: HoleGroup) -> str:
    """Return what is done with a hole: 'tapped M4x0.7', 'countersunk for M5', 'through', '12 mm deep'."""
    words = []
    if group.thread:
        words.append(f"tapped {group.thread}")
    if group.countersink:
        words.append(sink_words(group))
    if group.depth_mm is not None:
        words.append(f"{number(group.depth_mm)} mm deep" + (", through" if group.through else ""))
    return ", ".join(words) or "plain"


def _holes(part: OrderedPart, drawn: Drawn) -> Iterator[Block]:
    if not drawn.holes:
        return
    yield Head("Round holes")
    rows = []
    for group in drawn.holes:
        places = [place_words(c, 2) for c in group.centres_mm[:_PLACES]]
        more = f" … {group.count - _PLACES} more" if group.count > _PLACES else ""
        rows.append(
            (
                group.name,
                number(group.count),
                f"{number(group.diameter_mm)} mm{inch_words(part, (group.diameter_mm,))}",
                hole_text(group),
                "; ".join(places) + more,
            )
        )
    yield Rows(tuple(rows), ("Hole", "Count", "Diameter", "What", "Middles"), (0.6, 0.6, 1.6, 2.1, 4.1))
    origin = "the flat's lower left corner" if drawn.kind == "sheet" else "the file's own origin"
    yield Line(f"Middles in mm from {origin}.", quiet=True)


def _bends(drawn: Drawn) -> Iterator[Block]:
    if not drawn.bends:
        return
    yield Head("Bends")
    rows = tuple(_bend_row(x) for x in drawn.bends)
    head = ("Bend", "Direction", "Angle", "Inside radius", "K-factor", "Length", "Middle")
    yield Rows(rows, head, (0.7, 1.0, 0.9, 1.2, 1.0, 1.1, 1.6))
    yield Line(
        "Angles are bent through: 90° is square, 0° flat. Up is towards whoever looks at the flat above. "
        "Middles in mm from the flat's lower left corner.",
        quiet=True,
    )
    if drawn.not_folded:
        yield Line(f"No picture of the folded part: {drawn.not_folded}.", level="error")
    if drawn.folded is not None:
        yield Drawing(drawn.folded, "Folded, the largest panel lying as in the flat.")
    if drawn.bend_order:
        yield Line(f"Can be bent with common tools in the order {', '.join(drawn.bend_order)}.", quiet=True)


def _bend_row(bend: BendLine) -> tuple[str, ...]:
    def known(value: float | None, unit: str) -> str:
        return "NOT SAID" if value is None else show(Quantity(round(value, 3), unit))

    return (
        bend.name,
        bend.direction or "NOT SAID",
        known(bend.angle_deg, "deg"),
        known(bend.radius_mm, "mm"),
        "the shop's" if bend.k_factor is None else number(round(bend.k_factor, 3)),
        f"{number(round(bend.length_mm, 1))} mm",
        place_words(bend.at_mm, 2),
    )


def _screws(drawn: Drawn) -> Iterator[Block]:
    from lintsvc.handbook.countersinks import countersink
    from lintsvc.handbook.threads import thread

    rows = []
    for group in drawn.holes:
        if group.thread:
            try:
                row = thread(group.thread)
                drill = f"tap drill {number(round(row.tap_drill.value, 3))} mm ({source_text(row.tap_drill.source)})"
            except ValueError:
                drill = "not in the handbook"
            rows.append(
                (group.name, number(group.count), f"thread {group.thread}", f"{number(group.diameter_mm)} mm", drill)
            )
        if group.countersink:
            try:
                head = countersink(group.countersink)
                across = f"{number(head.angle_deg)}°, {number(round(head.head_mm, 2))} mm across"
                words = f"{across} ({source_text(head.source)})"
            except ValueError:
                words = "not in the handbook"
            what = sink_words(group)
            rows.append((group.name, number(group.count), what, f"{number(group.diameter_mm)} mm", words))
    if rows:
        yield Head("Threads and countersinks")
        yield Rows(tuple(rows), ("Hole", "Count", "What", "Drawn", "Handbook"), (0.6, 0.6, 1.9, 1.0, 4.9))


def _tolerances(sizes: Sequence[Size]) -> Iterator[Block]:
    rows = []
    seen: set[tuple[str, float, float]] = set()
    for each in sizes:
        # Of equal holes one row: they have one limit.
        key = (each.kind, round(each.nominal, 3), round(each.lower, 3))
        if key in seen:
            continue
        seen.add(key)
        rows.append((each.name.partition(", 1 of")[0], meant_text(each), limits_text(each), each.source))
    if rows:
        yield Head("Tolerances that matter")
        yield Rows(tuple(rows), ("Size", "Meant", "Limits", "Where the limits come from"), (2.6, 1.0, 1.6, 3.8))


def _checked(report: PartReport) -> Iterator[Block]:
    """What was checked, found, set aside and not checked."""
    yield Head("What was checked")
    if report.unreadable is not None:
        why = report.unreadable
        text = " ".join(x for x in (why.why, why.where and f"({why.where})", why.remedy) if x)
        yield Line(f"UNREADABLE: {text}", level="error")
        return
    missed = f"; {plural(len(report.not_checked), 'rule')} not checked" if report.not_checked else ""
    yield Line(f"{plural(len(report.checked), 'rule')} checked: {counted(report.findings)}{missed}.")
    for finding in (x for x in report.findings if not x.set_aside):
        held = against(finding)
        text = f"{finding.level.upper()} {finding.rule}: {finding.message}" + (f" ({held})" if held else "")
        yield Line(f"{text} {remedy_in_report(finding)}", level=finding.level)
        if finding.caution:
            yield Line(f"Caution: {finding.caution}", quiet=True)
    aside = [x for x in report.findings if x.set_aside]
    if aside:
        yield Head("Set aside")
        yield from (Line(f"{x.rule}: {x.message} Set aside: {x.set_aside}") for x in aside)
    if report.not_checked:
        yield Head("Not checked")
        yield from (Line(f"{why}: {', '.join(rules)}") for why, rules in missed_by_reason(report))
    yield Line(f"Rules checked: {_by_pack(report.checked) or 'none'}.", quiet=True)


def _by_pack(rules: Sequence[str]) -> str:
    """Return 'bend: angle-missing, no-relief; sheet: narrow-neck': the pack's name once."""
    packs: dict[str, list[str]] = {}
    for rule in rules:
        pack, _, name = rule.partition("/")
        packs.setdefault(pack, []).append(name)
    return "; ".join(f"{pack}: {', '.join(names)}" for pack, names in packs.items())
