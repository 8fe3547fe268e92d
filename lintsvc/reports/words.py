"""Words that several reports share: text made safe to show, places, sizes, counts."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Sequence

from lintsvc.model.finding import LEVELS, Finding, Level, Quantity, Where
from lintsvc.model.report import CostShown, OrderReport, PartReport, PartShown, Report, StiffnessShown
from lintsvc.model.source import Source
from lintsvc.reports.remedy import remedy_in_report
from lintsvc.rulebook.wording import number, show

#: Control signs, text direction marks and the like, lone surrogates, line and paragraph separators.
_UNSAFE_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


def clean(text: str) -> str:
    r"""Return `text` on one line with everything that could steer a terminal shown as an escape.

    File names, layer names and texts inside a part file are written by strangers.

    >>> clean("a\x1b[31mb.stl"), clean("two\nlines")
    ('a\\x1b[31mb.stl', 'two\\nlines')
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_escaped(sign) if unicodedata.category(sign) in _UNSAFE_CATEGORIES else sign for sign in text)


def _escaped(sign: str) -> str:
    return sign.encode("unicode_escape").decode("ascii")


#: Signs that XML 1.0 cannot hold at all, not even escaped (section 2.2, production 2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def xml_text(text: str) -> str:
    """Return `text` with what XML cannot hold written as an escape. Markup is not escaped here."""
    return _NOT_XML.sub(lambda match: _escaped(match.group()), text)


def at_or_above(level: Level, threshold: str) -> bool:
    """True when `level` is as bad as `threshold`, or worse. Nothing is as bad as `never`."""
    return threshold != "never" and LEVELS.index(level) <= LEVELS.index(threshold)


def counted(findings: Iterable[Finding]) -> str:
    """Return '2 errors, 1 warning', or 'no findings'. What is set aside is counted apart."""
    findings = tuple(findings)
    counts = Counter(x.level for x in findings if not x.set_aside)
    words = [plural(counts[level], level) for level in LEVELS if counts[level]]
    set_aside = sum(1 for x in findings if x.set_aside)
    if set_aside:
        words.append(f"{set_aside} set aside")
    return ", ".join(words) or "no findings"


def plural(count: int, word: str) -> str:
    """Return '1 error', '2 errors'."""
    return f"{number(count)} {word}" + ("" if count == 1 else "s")


def size(size_mm: Sequence[float]) -> str:
    """Return '40 × 30 × 12 mm'."""
    return " × ".join(number(x) for x in size_mm) + " mm"


def place(where: Where, kind: str) -> str:
    """Return where a finding is, in words: the point, and the faces or entities it is about."""
    names = "xy" if kind == "sheet" else "xyz"
    # Adding 0.0 turns the -0.0 that rounding leaves into 0.
    pairs = [f"{name} {number(round(value, 3) + 0.0)}" for name, value in zip(names, where.point, strict=False)]
    words = [", ".join(pairs) + " mm"]
    if where.faces:
        words.append(_numbers("face", where.faces))
    if where.entities:
        words.append(_numbers("entity", where.entities, "entities"))
    return "; ".join(words)


def _numbers(word: str, values: Sequence[int], many: str = "", show_at_most: int = 5) -> str:
    if len(values) == 1:
        return f"{word} {values[0]}"
    listed = ", ".join(str(x) for x in values[:show_at_most])
    more = f" … ({len(values)} in all)" if len(values) > show_at_most else ""
    return f"{many or word + 's'} {listed}{more}"


def against(finding: Finding) -> str:
    """Return '0.62 mm, limit 0.8 mm', as far as there is a measured value and a limit."""
    words = [show(finding.measured)] if finding.measured else []
    if finding.limit:
        words.append("limit " + show(Quantity(finding.limit.value, finding.limit.unit)))
    return ", ".join(words)


def source_text(source: Source) -> str:
    """Return where a value is from, its kind first: 'standard: ISO 2768-1:1989, table 1'."""
    kind = source.kind.replace("-", " ")
    # "common practice: Common practice in the trade …" would say it twice.
    return source.text if source.text.lower().startswith(kind) else f"{kind}: {source.text}"


def _rounded(value: float, digits: int) -> float:
    """Round to so many digits, but never to nothing what is something."""
    return round(value, digits) or float(f"{value:.1g}")


def facts(part: PartShown) -> tuple[str, ...]:
    """Return what the part is, in a few short pieces: size, volume, mass, triangles or holes."""
    words = [size(part.size_mm)]
    if part.kind == "sheet" and part.flat_mm is not None:
        flat = size(part.flat_mm)
        # A plain flat is its own flat size; only a folded part differs.
        words = [f"flat {flat}"] if part.size_mm[2] == 0 else [size(part.size_mm), f"flat {flat}"]
        words += [f"folded {size([round(x, 2) for x in part.folded_mm])}"] if part.folded_mm is not None else []
    if part.kind == "sheet" and part.thickness_mm is not None:
        words.append(f"{number(part.thickness_mm)} mm thick")
    if part.volume_mm3 is not None:
        words.append(f"{number(_rounded(part.volume_mm3 / 1000, 2))} cm³")
    if part.mass_g is not None:
        words.append(f"{number(_rounded(part.mass_g, 1))} g")
    if part.kind == "body":
        words += _body_facts(part)
    else:
        words += [plural(part.contours, "contour")] if part.contours is not None else []
        words += [plural(len(part.holes), "round hole")] if part.holes else []
        words += [plural(len(part.bends), "bend")] if part.bends else []
    return tuple(words)


def bend_words(direction: str | None, angle_deg: float | None) -> str:
    """Return what a bend is in short: 'up 90°'; and what nobody said of it: 'up or down? 90°'."""
    angle = "angle?" if angle_deg is None else f"{number(round(angle_deg, 1))}°"
    return f"{direction or 'up or down?'} {angle}"


def bends_line(part: PartShown) -> str:
    """Return the bends, equal ones together: 'bends: 2 up 90°, inside radius 3 mm, K 0.407'. Empty without bends."""
    alike: dict[str, int] = {}
    for bend in part.bends:
        radius = "not said" if bend.radius_mm is None else f"{number(round(bend.radius_mm, 2))} mm"
        k = "" if bend.k_factor is None else f", K {round(bend.k_factor, 3):g}"
        words = f"{bend_words(bend.direction, bend.angle_deg)}, inside radius {radius}{k}"
        alike[words] = alike.get(words, 0) + 1
    told = [f"{count} {words}" for words, count in alike.items()]
    more = len(told) - _MOST_KINDS_OF_BENDS
    told = told[:_MOST_KINDS_OF_BENDS] + ([f"and {plural(more, 'more kind')}"] if more > 0 else [])
    return "bends: " + "; ".join(told) if told else ""


#: So many kinds of bends are told in one line.
_MOST_KINDS_OF_BENDS = 6


def _body_facts(part: PartShown) -> list[str]:
    words = []
    if part.triangles is not None:
        words.append(plural(part.triangles, "triangle"))
    if part.bodies is not None and part.bodies != 1:
        words.append(f"{part.bodies} bodies")
    if part.watertight is not None:
        words.append("watertight" if part.watertight else "not watertight")
    return words


_UNIT_NAMES = {
    "micron": "microns",
    "mm": "millimetres",
    "cm": "centimetres",
    "m": "metres",
    "mil": "thousandths of an inch",
    "in": "inches",
    "ft": "feet",
}


def unit_line(part: PartShown) -> str:
    """Return which unit the file was read in and why; for a doubtful one, the other size."""
    units = part.units
    line = f"{units.value}: {units.why.rstrip('.')}"
    if not units.stated and units.other is not None and units.other_size_mm is not None:
        # A flat has no third length.
        other = units.other_size_mm[:2] if part.kind == "sheet" and part.size_mm[2] == 0 else units.other_size_mm
        line += f"; read in {_UNIT_NAMES.get(units.other, units.other)} it would be {size(other)}"
    return line


def title_of(report: Report) -> str:
    """Return the heading of a report."""
    if report.order is not None:
        return f"Check of the order {clean(report.order.name or report.order.file)}"
    return f"Check of {clean(report.parts[0].file)}" if len(report.parts) == 1 else "Check of part files"


def about(part: PartReport) -> tuple[str, ...]:
    """Return lines that say what the part is, for what it was checked, and what was assumed or noticed."""
    if isinstance(part, OrderReport):
        return about_order(part)
    thickness = show(part.thickness) if part.thickness else ""
    choices = [
        f"{part.format} {part.part.kind if part.part else ''}".strip(),
        f"checked for {part.process}" if part.process else "",
        " ".join(x for x in (thickness, part.material) if x),
    ]
    lines = [", ".join(x for x in choices if x)]
    if part.part is not None:
        lines += [", ".join(facts(part.part)), bends_line(part.part), "unit " + unit_line(part.part)]
    lines += [f"assumed {x.what} {x.value}: {x.why}" for x in part.assumed]
    lines += [f"noticed: {x}" for x in part.notes]
    return tuple(x for x in lines if x)


def hash_line(part: PartReport) -> str:
    """Return the line that says exactly which bytes were checked."""
    return f"file SHA-256: {part.sha256}"


def finding_rows(finding: Finding, kind: str) -> tuple[tuple[str, str], ...]:
    """Return what a finding says beside its message, as (name, text), clean; empty ones are left out."""
    rows = (
        ("parts", ", ".join(finding.parts)),
        ("where", place(finding.where, kind) if finding.where else ""),
        ("measured", against(finding)),
        ("source", source_text(finding.limit.source) if finding.limit else ""),
        ("remedy", remedy_in_report(finding)),
        ("mend", finding.fix),
        ("caution", finding.caution),
        ("reason", finding.set_aside),
    )
    return tuple((name, clean(text)) for name, text in rows if text)


def about_order(order: OrderReport) -> tuple[str, ...]:
    """Return lines on an order: what it weighs, where things stand, what came of each relation and load."""
    lines = [f"order {order.name}".strip()]
    facts = [] if order.mass_g is None else [f"{number(round(order.mass_g, 1))} g"]
    if order.centre_mm is not None:
        facts.append("centre of gravity " + ", ".join(number(round(x, 1) + 0.0) for x in order.centre_mm) + " mm")
    if order.tip_deg is not None:
        facts.append(f"tips at {number(round(order.tip_deg, 1))}°")
    lines += ["assembled: " + ", ".join(facts)] if facts else []
    lines += [f"{x.kind} {x.of[0]}, {x.of[1]}: {x.text}" for x in order.relations]
    lines += [_stiffness(x) for x in order.stiffness]
    lines += _costs(order.costs)
    lines += [f"assumed {x.what} {x.value}: {x.why}" for x in order.assumed]
    lines += [f"noticed: {x}" for x in order.notes]
    return tuple(lines)


def _costs(costs: Sequence[CostShown]) -> list[str]:
    """Return what drives the cost of each part, and the sum of what is priced."""
    lines = []
    for row in costs:
        drivers = ", ".join(f"{name} {value}" for name, value in row.drivers)
        price = "no price is entered" if row.together is None else f"{row.together:.2f} {row.currency} for {row.count}"
        lines.append(f"cost {row.part}: {price}" + (f"; {drivers}" if drivers else ""))
    priced = [x.together for x in costs if x.together is not None]
    if priced:
        missing = [x.part for x in costs if x.together is None]
        without = f" without {', '.join(missing)}" if missing else ""
        lines.append(f"cost in all: {sum(priced):.2f} {costs[0].currency}{without}; the packet has it line by line")
    return lines


def _stiffness(row: StiffnessShown) -> str:
    thickness = "" if row.thickness_mm is None else f"{number(row.thickness_mm)} mm "
    strength = "" if row.yield_mpa is None else f" of {number(round(row.yield_mpa, 1))} yield"
    mass = "" if row.mass_g is None else f", {number(round(row.mass_g, 1))} g"
    return (
        f"{'loaded' if row.chosen else 'compared'} {row.part}, {thickness}{row.material}: bends "
        f"{number(round(row.deflection_mm, 3))} mm, {number(round(row.stress_mpa, 1))} MPa{strength}{mass}"
        f" (by {row.by})"
    )


def missed_by_reason(part: PartReport) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return why rules were not checked, and which, for each reason once; clean."""
    rules: dict[str, list[str]] = {}
    for missed in part.not_checked:
        rules.setdefault(clean(missed.why), []).append("every rule" if missed.rule == "*" else missed.rule)
    return tuple((why, tuple(names)) for why, names in rules.items())


def total(report: Report) -> str:
    """Return one line for the whole run."""
    parts = report.entries
    findings = [x for part in parts for x in part.findings]
    words = [plural(len(parts), "file"), counted(findings)]
    unreadable = sum(1 for x in parts if x.unreadable is not None)
    if unreadable:
        words.append(f"{unreadable} unreadable")
    missed = sum(1 for part in parts if part.unreadable is None for _ in part.not_checked)
    if missed:
        words.append(f"{plural(missed, 'rule')} not checked")
    return "; ".join(words)
