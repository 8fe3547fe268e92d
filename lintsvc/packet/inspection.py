"""Which sizes of a part to measure when it arrives, with what, and between which limits."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from lintsvc.order.relations import HolesMeet
from lintsvc.order.tolerances import bend_tolerance, finish_per_face, hole_size, size_tolerance
from lintsvc.packet.drawn import BendLine, Drawn, HoleGroup, place_words, sink_words
from lintsvc.rulebook.shop import NO_SHOP
from lintsvc.rulebook.wording import number

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import OrderedPart

#: `folded`: an outside size over bends; `thread`, `countersink`: yes or no, as 1 or 0.
Kind = Literal["hole", "pitch", "length", "folded", "thickness", "bend", "thread", "countersink"]
#: Of many holes of one kind so many are measured: the first, the last, some between.
_MEASURED = 4
#: A diameter that a relation names is meant within this.
_SAME_MM = 0.06
#: Instruments with what they may be off, coarsest first (common practice, no source): the first that is off by no more
#: than a quarter of the width between the limits is named.
_OUTSIDE = (("steel rule", 0.5), ("caliper", 0.05), ("micrometer", 0.005))
_INSIDE = (("caliper", 0.05), ("plug gauges", 0.01))
_ANGLE = (("protractor", 0.5), ("bevel protractor", 0.1))


@dataclass(frozen=True, slots=True)
class Size:
    """One size to measure. `low_way`, `high_way`: what can be done where it is under or over; empty: nothing."""

    id: str
    kind: Kind
    name: str
    nominal: float
    lower: float
    upper: float
    tool: str
    source: str
    low_way: str = ""
    high_way: str = ""

    @property
    def unit(self) -> str:
        """mm, deg, or nothing for yes and no."""
        return {"bend": "deg", "thread": "", "countersink": ""}.get(self.kind, "mm")

    @property
    def yes_no(self) -> bool:
        """True where the answer is yes or no."""
        return self.unit == ""


def sizes_of(order: CheckedOrder, part: OrderedPart, drawn: Drawn) -> tuple[Size, ...]:
    """Return the sizes to measure on a part, the ones that others hang on first."""
    # By what was ordered, not by what the shop was seen to do: else the limits of a bad shop would widen.
    part = replace(part, shop=NO_SHOP)
    meets = _meets(order, part)
    return (
        *_holes(part, drawn, meets),
        *_bends(part, drawn.bends),
        *_outside(part, drawn),
        *_thickness(part, drawn),
    )


def tool_for(kind: Kind, lower: float, upper: float) -> str:
    """Return the coarsest usual instrument whose own error is at most a quarter of the width between the limits.

    >>> tool_for("length", 99.7, 100.3), tool_for("hole", 6.5, 6.7), tool_for("bend", 89.0, 91.0)
    ('caliper', 'caliper', 'protractor')
    """
    tools = _ANGLE if kind == "bend" else _INSIDE if kind == "hole" else _OUTSIDE
    return next((name for name, off in tools if off <= (upper - lower) / 4 + 1e-9), tools[-1][0])


def _meets(order: CheckedOrder, part: OrderedPart) -> list[tuple[float | None, str]]:
    """Return, for each relation whose holes meet here: the diameter it names, and words for what it meets."""
    found = []
    for relation in (x for x in order.order.relation if isinstance(x, HolesMeet)):
        for own, other in ((relation.a, relation.b), (relation.b, relation.a)):
            if own.of == part.id:
                found.append((own.diameter, f"meets {other.of} with {relation.screw.size}"))
    return found


def _holes(part: OrderedPart, drawn: Drawn, meets: Sequence[tuple[float | None, str]]) -> Iterator[Size]:
    off = hole_size(part)
    for group in drawn.holes:
        words = [x for d, x in meets if d is not None and abs(d - group.diameter_mm) <= _SAME_MM]
        what = f"hole {group.name}" + (f", {'; '.join(words)}" if words else "")
        if group.thread:
            text = f"Thread {group.thread}: a screw or gauge runs in by hand through its whole length."
            name = f"{what}, tapped {group.thread}{_each(group)}"
            yield _yes(f"{group.name}t", "thread", name, text, "tap it again")
        elif group.countersink:
            text = f"The head of {group.countersink} lies flush or below, and does not stand on its edge."
            name = f"{what}, {sink_words(group)}{_each(group)}"
            yield _yes(f"{group.name}c", "countersink", name, text, "sink it deeper")
        else:
            reach = size_tolerance(part, group.diameter_mm)
            low, high = group.diameter_mm - max(off.worst_mm, reach.value), group.diameter_mm + reach.value
            source = off.source.text if off.worst_mm > reach.value else reach.source.text
            for i in _some(group.count):
                at = place_words(group.centres_mm[i], 1)
                said = f"{what}, {i + 1} of {group.count}, at {at}" if group.count > 1 else what
                tool, way = tool_for("hole", low, high), "open it with a drill or reamer"
                yield Size(f"{group.name}{i + 1}", "hole", said, group.diameter_mm, low, high, tool, source, way)
        yield from _pitch(part, drawn, group, what)


def _each(group: HoleGroup) -> str:
    """Return ', each of 4': one answer for all holes of a group."""
    return f", each of {group.count}" if group.count > 1 else ""


def _some(count: int) -> list[int]:
    if count <= _MEASURED:
        return list(range(count))
    return sorted({round(i * (count - 1) / (_MEASURED - 1)) for i in range(_MEASURED)})


def _pitch(part: OrderedPart, drawn: Drawn, group: HoleGroup, what: str) -> Iterator[Size]:
    """The widest distance between two holes of a group on one panel: what a screw pattern hangs on."""
    best: tuple[float, int, int] | None = None
    # Far apart holes are what tells; a pattern of very many needs no search of all pairs.
    centres = group.centres_mm if group.count <= 60 else group.centres_mm[:: group.count // 60 + 1]
    for i, a in enumerate(centres):
        for j in range(i):
            apart = math.dist(a, centres[j])
            if (best is None or apart > best[0]) and not any(_crosses(a, centres[j], x) for x in drawn.bends):
                best = (apart, j, i)
    if best is None or best[0] <= 0:
        return
    apart, j, i = best
    reach = size_tolerance(part, apart)
    first, second = (place_words(centres[k], 1) for k in (j, i))
    name = f"{what}: middle to middle, at {first} and {second}"
    low, high = apart - reach.value, apart + reach.value
    yield Size(f"{group.name}p", "pitch", name, apart, low, high, tool_for("pitch", low, high), reach.source.text)


def _crosses(a: Sequence[float], b: Sequence[float], bend: BendLine) -> bool:
    """True where the way from a to b crosses the bend line."""
    (px, py), (qx, qy) = bend.start_mm, bend.end_mm

    def side(x: float, y: float) -> float:
        return (qx - px) * (y - py) - (qy - py) * (x - px)

    def other(x: float, y: float) -> float:
        return (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])

    return side(a[0], a[1]) * side(b[0], b[1]) <= 0 and other(px, py) * other(qx, qy) <= 0


def _bends(part: OrderedPart, bends: Sequence[BendLine]) -> Iterator[Size]:
    degrees, _, source = bend_tolerance(part)
    for bend in bends:
        if bend.angle_deg is None:
            continue
        low, high = bend.angle_deg - degrees, bend.angle_deg + degrees
        name = f"bend {bend.name} {bend.direction or ''}".rstrip() + ", angle bent through (90 is square)"
        tool = tool_for("bend", low, high)
        ways = ("bend it further", "bend it back once, and look for cracks")
        yield Size(bend.name, "bend", name, bend.angle_deg, low, high, tool, source.text, *ways)


def _outside(part: OrderedPart, drawn: Drawn) -> Iterator[Size]:
    kind: Kind = "length"
    names = ["length", "width", "height"]
    sides: tuple[float, ...] = drawn.drivers.box_mm
    if drawn.bends:
        kind, names, sides = "folded", [f"{x} folded" for x in names], drawn.folded_size_mm or ()
    elif drawn.kind == "sheet":
        names, sides = ["along x", "along y"], drawn.drivers.flat_mm or ()
    for place, (side, name) in enumerate(zip(sides, names, strict=False), 1):
        if side <= 0:
            continue
        reach = size_tolerance(part, side)
        more, source = reach.value, reach.source.text
        if kind == "folded" and not _as_cut(side, drawn):
            degrees, flat, bends = bend_tolerance(part)
            # At worst every bend adds its own, and a flange leans by the angle's tolerance.
            more = max(more, len(drawn.bends) * flat + math.sin(math.radians(degrees)) * min(sides))
            source = f"{bends.text} They add up, and a flange that leans reaches further."
        low, high = side - more, side + more
        way = "" if kind == "folded" else "file or trim it"
        yield Size(f"L{place}", kind, f"outside {name}", side, low, high, tool_for(kind, low, high), source, "", way)


def _as_cut(side: float, drawn: Drawn) -> bool:
    """True for a side along every bend: no bend changes it, so it is as good as it was cut."""
    for axis, cut in enumerate(drawn.drivers.flat_mm or ()):
        along = all(abs(x.start_mm[1 - axis] - x.end_mm[1 - axis]) < 0.01 for x in drawn.bends)
        if along and abs(side - cut) < 0.01:
            return True
    return False


def _thickness(part: OrderedPart, drawn: Drawn) -> Iterator[Size]:
    """The sheet's thickness, told from its neighbours in stock: a wrong sheet is what happens."""
    thickness, material = drawn.thickness_mm, part.material
    if thickness is None or material is None:
        return
    inch = [round(x * 25.4, 3) for x in material.stock_in]
    for series in (list(material.stock_mm), inch):
        if not any(abs(x - thickness) < 0.005 for x in series):
            continue
        below = max((x for x in series if x < thickness - 0.005), default=None)
        above = min((x for x in series if x > thickness + 0.005), default=None)
        coat = 2 * finish_per_face(part).value
        low = thickness - ((thickness - below) if below is not None else thickness / 4) / 2
        high = thickness + ((above - thickness) if above is not None else thickness / 4) / 2 + coat
        text = "Half way to the neighbouring stock thicknesses"
        yield Size("T", "thickness", "thickness", thickness, low, high, tool_for("length", low, high), text)
        return


def _yes(id: str, kind: Kind, name: str, text: str, way: str) -> Size:
    return Size(id, kind, name, 1.0, 1.0, 1.0, "the screw itself", text, way)


def limits_text(size: Size) -> str:
    """Return '6.5 to 6.7 mm', or 'yes'."""
    if size.yes_no:
        return "yes"
    unit = "°" if size.unit == "deg" else " mm"
    return f"{number(round(size.lower, 2))} to {number(round(size.upper, 2))}{unit}"


def meant_text(size: Size) -> str:
    """Return '6.6 mm', or 'yes'."""
    if size.yes_no:
        return "yes"
    # A sheet of 3.175 mm is not one of 3.17.
    return number(round(size.nominal, 3 if size.kind == "thickness" else 2)) + ("°" if size.unit == "deg" else " mm")
