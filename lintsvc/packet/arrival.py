"""What arrived, against the limits: accept, rework or reject each piece; and what the shop's process came out at.

A value that no process gives is asked about, not judged: a comma in the wrong place, inches typed for millimetres, the
other of two angles, another part. Measured again and still so, it is written with a mark behind it: 5.5!
"""

from __future__ import annotations

import csv
import io
import re
import statistics
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

from lintsvc.model.units import MM_PER_UNIT
from lintsvc.packet.inspection import Size, limits_text
from lintsvc.rulebook.measured import Measured, What
from lintsvc.rulebook.shop import Arrived
from lintsvc.rulebook.wording import number

if TYPE_CHECKING:
    from lintsvc.order.things import OrderedPart

#: `ask`: a value is out of any sensible range, so what becomes of the piece is not known before it is measured again.
Verdict = Literal["accept", "rework", "ask", "reject"]
VERDICTS: tuple[Verdict, ...] = ("accept", "rework", "ask", "reject")
_LARGEST = 5_000_000
_MOST_ROWS = 200_000
_NEEDED = ("part", "piece", "size", "measured")
_VALUE = re.compile(r"^([+-]?\d*[.,]?\d+)\s*(mm|cm|in|inch|\"|°|deg)?\s*(!)?$", re.IGNORECASE)
_YES, _NO = frozenset({"yes", "y", "ok", "true", "1", "pass"}), frozenset({"no", "n", "false", "0", "fail"})
#: A size this many limit widths off is a slip of the pen or another part: asked about, and left out of what is learnt.
_SLIP_WIDTHS = 5.0
#: What a number was taken for, as a factor on it.
_SLIPS = (
    *((x, "the point or comma stands in the wrong place") for x in (0.1, 10.0, 0.01, 100.0, 0.001, 1000.0)),
    (25.4, "inches were typed for millimetres: write in behind it"),
    (1 / 25.4, "millimetres were typed for inches"),
)
_AGAIN = "write it with a ! behind where it is so"
#: Which kinds of size tell of a process; outside sizes over bends hang on too much, pitches are held by the machine.
_LEARNT: Mapping[str, What] = {"hole": "hole", "bend": "bend", "length": "length", "thickness": "thickness"}


class ResultsError(Exception):
    """The table of results cannot be used. Names the line and what would be right, every problem on a line."""


@dataclass(frozen=True, slots=True)
class Result:
    """One measured size of one piece; yes and no are 1 and 0. `sure`: it was measured again and is so."""

    part: str
    piece: str
    size: str
    value: float
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Judged:
    """One measured size with what becomes of it. `way`: what can be done to rework it, or what is asked."""

    size: Size
    value: float
    verdict: Verdict
    way: str = ""

    @property
    def text(self) -> str:
        """Say it: 'hole D: 6.35 mm, limits 6.5 to 6.7 mm: open it with a drill or reamer'."""
        if self.size.yes_no:
            value = "yes" if self.value else "no"
        else:
            value = number(round(self.value, 3)) + ("°" if self.size.unit == "deg" else " mm")
        words = f"{self.size.id}, {self.size.name}: {value}, limits {limits_text(self.size)}"
        return f"{words}: {self.way}" if self.way else words


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of a part: its verdict is the worst of its sizes. `missing`: sizes that were not measured."""

    part: str
    piece: str
    sizes: tuple[Judged, ...]
    missing: tuple[str, ...]

    @property
    def verdict(self) -> Verdict:
        """Accept, rework, ask or reject."""
        return max((x.verdict for x in self.sizes), key=VERDICTS.index)


@dataclass(frozen=True, slots=True)
class Arrival:
    """All pieces with their verdicts; what is learnt of the shops; and what was left out of that, in words."""

    pieces: tuple[Piece, ...]
    learnt: tuple[Measured, ...]
    counts: tuple[Arrived, ...]
    left_out: tuple[str, ...]


def read_results(text: str, sizes: Mapping[str, Sequence[Size]], name: str = "results.csv") -> tuple[Result, ...]:
    """Read a table of results: columns part, piece, size, measured; further ones are passed over.

    Comma, semicolon or tab between columns; a decimal comma counts. Rows without a result are passed over.
    Raises ResultsError.
    """
    if len(text) > _LARGEST:
        raise ResultsError(f"{name}: a table of results is at most {_LARGEST // 1_000_000} MB")
    lines = text.removeprefix("\ufeff")
    head = lines.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    try:
        rows = list(csv.reader(io.StringIO(lines, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise ResultsError(f"{name}: is no table: {error}") from None
    if not rows or len(rows) > _MOST_ROWS:
        raise ResultsError(f"{name}: holds {len(rows)} rows; 1 to {_MOST_ROWS} are read")
    columns = [x.strip().lower() for x in rows[0]]
    missing = [x for x in _NEEDED if x not in columns]
    if missing:
        raise ResultsError(f"{name}, line 1: the column {missing[0]!r} is missing; columns are {', '.join(_NEEDED)}")
    problems: list[str] = []
    found: dict[tuple[str, str, str], Result] = {}
    for line, row in enumerate(rows[1:], 2):
        cells = dict(zip(columns, (x.strip() for x in row), strict=False))
        if not cells.get("measured"):
            continue
        try:
            result = _result(cells, sizes)
            if (key := (result.part, result.piece, result.size)) in found:
                raise ValueError(f"{result.size} of {result.part}, piece {result.piece}, stands here twice")
            found[key] = result
        except ValueError as error:
            problems.append(f"{name}, line {line}: {error}")
    if problems:
        raise ResultsError("\n".join(problems[:20]))
    return tuple(found.values())


def _result(cells: Mapping[str, str], sizes: Mapping[str, Sequence[Size]]) -> Result:
    part, piece, id = (cells.get(x, "") for x in ("part", "piece", "size"))
    if part not in sizes:
        raise ValueError(f"there is no part {part!r}; there are {', '.join(sizes) or 'none'}")
    if not piece or len(piece) > 40:
        raise ValueError("the piece has no number or name")
    size = next((x for x in sizes[part] if x.id == id), None)
    if size is None:
        raise ValueError(f"{part} has no size {id!r}; it has {', '.join(x.id for x in sizes[part])}")
    return Result(part, piece, id, _value(cells["measured"], size), cells["measured"].endswith("!"))


def _value(text: str, size: Size) -> float:
    if size.yes_no:
        word = text.lower()
        if word not in _YES | _NO:
            raise ValueError(f"{text!r} is neither yes nor no")
        return float(word in _YES)
    match = _VALUE.match(text)
    unit = (match[2] or "").lower() if match else ""
    if match is None or (unit and (unit in ("°", "deg")) != (size.unit == "deg")):
        example = "89.5" if size.unit == "deg" else "6.62 or 0.261 in"
        raise ValueError(f"{text!r} is no {'angle' if size.unit == 'deg' else 'length'}; write it like {example}")
    value = float(match[1].replace(",", "."))
    if abs(value) > 1e5:
        raise ValueError(f"{text!r} is out of range")
    if not unit or size.unit == "deg":
        return value
    return value * MM_PER_UNIT["in" if unit in ("inch", '"') else unit]


def judge(parts: Sequence[OrderedPart], sizes: Mapping[str, Sequence[Size]], results: Iterable[Result]) -> Arrival:
    """Return each piece's verdict and what is learnt of the shops."""
    by_piece: dict[tuple[str, str], list[Result]] = {}
    for result in results:
        by_piece.setdefault((result.part, result.piece), []).append(result)
    pieces = []
    for (part, piece), measured in by_piece.items():
        values = {x.size: x for x in measured}
        judged = tuple(_judge(x, values[x.id].value, values[x.id].sure) for x in sizes[part] if x.id in values)
        missing = tuple(x.id for x in sizes[part] if x.id not in values)
        pieces.append(Piece(part, piece, judged, missing))
    known = {x.id: x for x in parts}
    left_out: list[str] = []
    return Arrival(
        tuple(pieces),
        tuple(_learn(known, pieces, left_out)),
        tuple(_count(known, pieces)),
        tuple(dict.fromkeys(left_out)),
    )


def _judge(size: Size, value: float, sure: bool) -> Judged:
    # Half of the last digit that a limit is written with.
    if size.lower - 5e-4 <= value <= size.upper + 5e-4:
        return Judged(size, value, "accept")
    if not sure and (asked := _slip(size, value)):
        return Judged(size, value, "ask", asked)
    way = size.low_way if value < size.lower else size.high_way
    return Judged(size, value, "rework" if way else "reject", way)


def _slip(size: Size, value: float) -> str:
    """Return what is asked of a value that no process gives; nothing for one that may be so."""
    width = size.upper - size.lower
    if size.yes_no or abs(value - size.nominal) <= _SLIP_WIDTHS * width:
        return ""
    # What was meant may be over its limits itself, and rounded.
    low, high = size.lower - width, size.upper + width
    if size.unit == "deg" and low <= 180.0 - value <= high:
        return f"is it the angle on the other side, {number(180.0 - value)}°? Measure again; {_AGAIN}"
    for factor, what in _SLIPS:
        if low <= value * factor <= high and (size.unit == "mm" or factor not in (25.4, 1 / 25.4)):
            return f"was {number(round(value * factor, 3))} meant, and {what}? Measure again; {_AGAIN}"
    return f"it is {number(round(value - size.nominal, 3))} off; is it this size, of this part? Measure again; {_AGAIN}"


def _kind(part: OrderedPart) -> tuple[str | None, str | None, str | None]:
    return part.process, part.report.material, part.entry.supplier


def _learn(parts: Mapping[str, OrderedPart], pieces: Sequence[Piece], left_out: list[str]) -> Iterator[Measured]:
    groups: dict[tuple[What, str | None, str | None, str | None], list[tuple[float, tuple[str, str]]]] = {}
    for piece in pieces:
        part = parts[piece.part]
        for judged in piece.sizes:
            size = judged.size
            what = _LEARNT.get(size.kind)
            if what is None:
                continue
            if what != "bend" and part.entry.finish not in ("none", "dye"):
                left_out.append(f"{part.id}: its {part.entry.finish} changes sizes, so only its bends are learnt from")
                continue
            off = judged.value - size.nominal
            if judged.verdict == "ask" or abs(off) > _SLIP_WIDTHS * (size.upper - size.lower):
                left_out.append(f"{part.id}, piece {piece.piece}, {size.id}: {off:+.3g} is too far off to learn from")
                continue
            groups.setdefault((what, *_kind(part)), []).append((off, (piece.part, piece.piece)))
    for (what, process, material, supplier), found in groups.items():
        offs = [x for x, _ in found]
        spread = statistics.stdev(offs) if len(offs) > 1 else 0.0
        count = len({x for _, x in found})
        yield Measured(what, process, material, supplier, statistics.fmean(offs), spread, len(offs), count)


def _count(parts: Mapping[str, OrderedPart], pieces: Sequence[Piece]) -> Iterator[Arrived]:
    groups: dict[tuple[str | None, str | None, str | None], list[bool]] = {}
    for piece in (x for x in pieces if x.verdict != "ask"):
        groups.setdefault(_kind(parts[piece.part]), []).append(piece.verdict == "reject")
    for kind, bad in groups.items():
        yield Arrived(*kind, len(bad), sum(bad))


def _figure(row: Measured | Arrived) -> dict[str, Any]:
    """Return a figure that has no place in a file yet."""
    return {name: value for name, value in asdict(row).items() if name != "place"}


def arrival_data(arrival: Arrival) -> dict[str, Any]:
    """Return what became of each piece, as JSON types."""
    return {
        "pieces": [
            {
                "part": x.part,
                "piece": x.piece,
                "verdict": x.verdict,
                "sizes": [
                    {
                        "size": y.size.id,
                        "what": y.size.name,
                        "measured": y.value,
                        "meant": y.size.nominal,
                        "least": y.size.lower,
                        "most": y.size.upper,
                        "unit": y.size.unit,
                        "verdict": y.verdict,
                        "way": y.way,
                    }
                    for y in x.sizes
                ],
                "missing": list(x.missing),
            }
            for x in arrival.pieces
        ],
        "figures": [_figure(x) for x in arrival.learnt],
        "counts": [_figure(x) for x in arrival.counts],
        "left_out": list(arrival.left_out),
    }
