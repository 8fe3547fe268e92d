"""Places of things in a flat, and alike things put together into one finding."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from lintsvc.model.finding import Point3, Where
from lintsvc.model.sheet import Point2

T = TypeVar("T")

#: Values that differ by less are alike: a hundredth of a millimetre, or one per cent.
ALIKE_MM = 0.01
ALIKE_SHARE = 0.01
#: At most this many findings of one rule; whatever is left goes into the last.
MOST_GROUPS = 20
#: A place names at most this many entities and draws this many lines.
_MOST_NAMED = 2000


def at3(point: Point2) -> Point3:
    """Return a point of the flat in space."""
    return float(point[0]), float(point[1]), 0.0


def where(
    points: Iterable[Point2],
    entities: Iterable[int] = (),
    *,
    at: Point2 | None = None,
    lines: Sequence[tuple[Point2, Point2]] = (),
    span: tuple[Point2, Point2] | None = None,
) -> Where:
    """Return the place around `points`, seen at `at` (their box's middle where none is given)."""
    spots = [*points, *(end for line in lines for end in line), *(span or ())]
    if len(spots) == 1 and not lines and at is None:
        # The most common place by far: hundreds of thousands of corners have one each.
        spot = at3(spots[0])
        return Where(spot, (spot, spot), entities=tuple(sorted(set(entities))))
    left, right = min(x for x, _ in spots), max(x for x, _ in spots)
    low, high = min(y for _, y in spots), max(y for _, y in spots)
    point = at if at is not None else ((left + right) / 2, (low + high) / 2)
    return Where(
        at3(point),
        (at3((left, low)), at3((right, high))),
        entities=tuple(sorted(set(entities)))[:_MOST_NAMED],
        lines=tuple((at3(a), at3(b)) for a, b in lines[:_MOST_NAMED]),
        span=None if span is None else (at3(span[0]), at3(span[1])),
    )


@dataclass(frozen=True)
class Group(Generic[T]):
    """Things alike. `value` is the worst of them, `where` its place with the entities and box of all."""

    value: float
    members: tuple[T, ...]
    where: Where

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.members)

    def of(self, one: str, many: str = "") -> str:
        """Return the count with its noun: "1 hole", "40 holes"."""
        return f"{self.count:,} {many or one + 's'}" if self.count != 1 else f"1 {one}"


def alike(
    things: Iterable[T],
    value: Callable[[T], float],
    place: Callable[[T], Where],
    middle: Point2,
    *,
    kind: Callable[[T], object] = lambda x: None,
    worst_high: bool = False,
) -> list[Group[T]]:
    """Put things of one kind and nearly one value together, worst value first.

    Of equal ones the furthest from `middle` stands for all, so that a turned copy gives the same answer.
    """
    sign = -1.0 if worst_high else 1.0
    places = [(sign * value(x), str(kind(x)), k, x) for k, x in enumerate(things)]
    places.sort(key=lambda row: (row[1], row[0], row[2]))
    groups: list[list[tuple[float, T]]] = []
    last_kind: str | None = None
    for signed, name, _, thing in places:
        first = groups[-1][0][0] if groups else math.inf
        near = signed - first <= max(ALIKE_MM, ALIKE_SHARE * abs(first))
        if name == last_kind and near:
            groups[-1].append((signed, thing))
        else:
            groups.append([(signed, thing)])
        last_kind = name
    groups.sort(key=lambda group: group[0][0])
    if len(groups) > MOST_GROUPS:
        rest = [row for group in groups[MOST_GROUPS - 1 :] for row in group]
        groups = [*groups[: MOST_GROUPS - 1], rest]
    return [_group(group, sign, place, middle) for group in groups]


def together(
    things: Sequence[T],
    value: Callable[[T], float],
    place: Callable[[T], Where],
    middle: Point2,
    *,
    worst_high: bool = False,
) -> Group[T]:
    """Put things together whatever their value; the smallest, or the largest, stands for all."""
    sign = -1.0 if worst_high else 1.0
    return _group([(sign * value(x), x) for x in things], sign, place, middle)


def _group(rows: list[tuple[float, T]], sign: float, place: Callable[[T], Where], middle: Point2) -> Group[T]:
    worst = min(signed for signed, _ in rows)
    spots = [place(thing) for _, thing in rows]
    equal = [k for k, (signed, _) in enumerate(rows) if signed - worst <= ALIKE_MM / 10]
    shown = max(equal, key=lambda k: round(math.dist(spots[k].point[:2], middle), 3))
    return Group(sign * worst, tuple(x for _, x in rows), joined(spots, shown))


def joined(spots: Sequence[Where], shown: int = 0) -> Where:
    """Return one place for several: point and span of the one shown, box, entities and lines of all."""
    low = tuple(min(x.box[0][i] for x in spots) for i in range(3))
    high = tuple(max(x.box[1][i] for x in spots) for i in range(3))
    chosen = spots[shown]
    # The one shown comes first, so that it survives when there are too many to name.
    entities = dict.fromkeys([*chosen.entities, *(e for x in spots for e in x.entities)])
    lines = [*chosen.lines, *(line for k, x in enumerate(spots) if k != shown for line in x.lines)]
    return Where(
        chosen.point,
        ((low[0], low[1], low[2]), (high[0], high[1], high[2])),
        entities=tuple(sorted(list(entities)[:_MOST_NAMED])),
        lines=tuple(lines[:_MOST_NAMED]),
        span=chosen.span,
    )
