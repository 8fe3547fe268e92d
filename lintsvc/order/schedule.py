"""The calendar of an order: who delivers when, which steps everything waits for, and whether it is in time.

Days are working days of whoever works: of the supplier for making and for the way, our own for putting together.
An order given on a day counts from the next one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

from lintsvc.order.file import BoughtEntry, OrderFile, PartEntry, SupplierEntry

if TYPE_CHECKING:
    import networkx as nx

_WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
#: A calendar with fewer working days than one in so many is a slip of the pen.
_LONGEST_WAIT = 400


@dataclass(frozen=True)
class WorkDays:
    """Who works when."""

    weekend: frozenset[int]
    closed: tuple[tuple[date, date], ...] = ()

    @staticmethod
    def of(weekend: Iterable[str], closed: Iterable[tuple[date, date]]) -> WorkDays:
        """Make it from the words of an order file."""
        return WorkDays(frozenset(_WEEK.index(x) for x in weekend), tuple(closed))

    def open_on(self, day: date) -> bool:
        """True for a working day."""
        return day.weekday() not in self.weekend and not any(a <= day <= b for a, b in self.closed)

    def after(self, day: date, days: int) -> date:
        """Return the day on which so many working days after `day` are over; `day` itself for none.

        Raises ValueError for a calendar that hardly ever works.
        """
        return self._step(day, days, 1)

    def before(self, day: date, days: int) -> date:
        """Return the last day to begin on for so many working days to be over by `day`: the inverse of `after`."""
        if days == 0:
            return day
        # Begun on the day before the first of them, whether that is worked or not.
        return self._step(self.last_open(day), days - 1, -1) - timedelta(days=1)

    def first_open(self, day: date) -> date:
        """Return `day`, or the next working day."""
        return day if self.open_on(day) else self._next(day, 1)

    def last_open(self, day: date) -> date:
        """Return `day`, or the working day before it."""
        return day if self.open_on(day) else self._next(day, -1)

    def _step(self, day: date, days: int, way: int) -> date:
        for _ in range(days):
            day = self._next(day, way)
        return day

    def _next(self, day: date, way: int) -> date:
        for _ in range(_LONGEST_WAIT):
            day += timedelta(days=way)
            if self.open_on(day):
                return day
        raise ValueError(f"there is no working day within {_LONGEST_WAIT} days of {day.isoformat()}")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a part or thing: made, on its way, put together."""

    #: Id of the part or thing; empty for putting together.
    of: str
    what: str
    #: The supplier; empty for ourselves.
    who: str
    days: int
    start: date
    end: date
    #: Calendar days that it may be later without everything being later.
    slack_days: int = 0


@dataclass(frozen=True, slots=True)
class Schedule:
    """When everything is there. `done` is not before which day, where `unknown` names what nobody said."""

    start: date
    done: date
    steps: tuple[Step, ...]
    #: The steps that everything waits for, in order.
    critical: tuple[Step, ...]
    need_by: date | None
    #: The last day to order for everything to be in time; None without a deadline.
    order_by: date | None
    unknown: tuple[str, ...] = ()
    #: Ids that no supplier is named for: taken to be at hand, or made here.
    at_hand: tuple[str, ...] = ()

    @property
    def late_days(self) -> int:
        """Calendar days after the deadline; 0 when in time, or without one."""
        return 0 if self.need_by is None else max(0, (self.done - self.need_by).days)

    @property
    def arrives(self) -> dict[str, date]:
        """By id, the day on which the last step of a part or thing is over."""
        found: dict[str, date] = {}
        for step in self.steps:
            if step.of:
                found[step.of] = max(step.end, found.get(step.of, step.end))
        return found


@dataclass(frozen=True, slots=True)
class _Leg:
    """A step before its days are known."""

    of: str
    what: str
    who: str
    days: int
    works: WorkDays = field(repr=False)


def schedule(order: OrderFile, today: date) -> Schedule:
    """Return the calendar. The order goes out on `order_on`, or today.

    Raises ValueError for a calendar that hardly ever works.
    """
    suppliers = {x.id: x for x in order.supplier}
    start = order.order.order_on or today
    unknown = tuple(dict.fromkeys(_unknown(order, suppliers)))
    at_hand = tuple(x.id for x in _things(order) if x.supplier is None)
    graph = _graph(order, suppliers)
    ends, begins = _forward(graph, start)
    done = ends[-1]
    latest = _backward(graph, done)
    steps = {n: _dated(graph.nodes[n]["leg"], begins[n], ends[n], latest[n]) for n in graph}
    need_by = order.order.need_by
    return Schedule(
        start,
        done,
        tuple(steps[n] for n in graph if n != -1 or steps[n].days),
        tuple(steps[n] for n in _critical(graph, ends) if n != -1 or steps[n].days),
        need_by,
        None if need_by is None else _order_by(graph, need_by),
        unknown,
        at_hand,
    )


def _things(order: OrderFile) -> tuple[PartEntry | BoughtEntry, ...]:
    return (*order.part, *order.bought)


def days_of_one_more(order: OrderFile, part: PartEntry) -> int | None:
    """Return the working days of ordering one part again; None where a supplier's days are not known."""
    suppliers = {x.id: x for x in order.supplier}
    if part.supplier is None or any(suppliers[x].lead_days is None for x in (part.supplier, *part.then)):
        return None
    return sum(leg.days for leg in _legs(part, suppliers))


def _unknown(order: OrderFile, suppliers: dict[str, SupplierEntry]) -> Iterable[str]:
    for thing in _things(order):
        named = [thing.supplier] if thing.supplier else []
        for supplier in (*named, *(thing.then if isinstance(thing, PartEntry) else [])):
            if suppliers[supplier].lead_days is None:
                yield f"how many days {supplier} takes (lead_days)"


def _legs(thing: PartEntry | BoughtEntry, suppliers: dict[str, SupplierEntry]) -> list[_Leg]:
    legs = []
    made = "made" if isinstance(thing, PartEntry) else "sent"
    after = thing.then if isinstance(thing, PartEntry) else []
    for name in (*([thing.supplier] if thing.supplier else []), *after):
        supplier = suppliers[name]
        works = WorkDays.of(supplier.weekend, supplier.closed)
        legs.append(_Leg(thing.id, made, name, supplier.lead_days or 0, works))
        if supplier.transport_days:
            legs.append(_Leg(thing.id, "on its way", name, supplier.transport_days, works))
        made = "finished"
    return legs


def _graph(order: OrderFile, suppliers: dict[str, SupplierEntry]) -> nx.DiGraph[int]:
    """Return the steps as nodes in the order of the file; −1 is putting together, which waits for all."""
    import networkx as nx

    graph: nx.DiGraph[int] = nx.DiGraph()
    number = 0
    last = []
    for thing in _things(order):
        before: int | None = None
        for leg in _legs(thing, suppliers):
            graph.add_node(number, leg=leg)
            if before is not None:
                graph.add_edge(before, number)
            before = number
            number += 1
        if before is not None:
            last.append(before)
    ours = WorkDays.of(order.order.weekend, order.order.closed)
    graph.add_node(-1, leg=_Leg("", "put together", "", order.order.assembly_days, ours))
    graph.add_edges_from((x, -1) for x in last)
    return graph


def _forward(graph: nx.DiGraph[int], start: date) -> tuple[dict[int, date], dict[int, date]]:
    """Return the earliest end and start of each step."""
    import networkx as nx

    ends: dict[int, date] = {}
    begins: dict[int, date] = {}
    for node in nx.topological_sort(graph):
        leg: _Leg = graph.nodes[node]["leg"]
        begins[node] = max((ends[x] for x in graph.predecessors(node)), default=start)
        ends[node] = leg.works.after(begins[node], leg.days)
        if node == -1:
            # A parcel that comes on our holiday is opened on the next working day.
            ends[node] = leg.works.first_open(ends[node])
    return ends, begins


def _backward(graph: nx.DiGraph[int], done: date) -> dict[int, date]:
    """Return the latest end of each step for which everything is still done on a day."""
    import networkx as nx

    latest: dict[int, date] = {}
    for node in reversed(list(nx.topological_sort(graph))):
        if node == -1:
            latest[node] = graph.nodes[node]["leg"].works.last_open(done)
            continue
        after = [(x, graph.nodes[x]["leg"]) for x in graph.successors(node)]
        latest[node] = min(leg.works.before(latest[x], leg.days) for x, leg in after)
    return latest


def _order_by(graph: nx.DiGraph[int], need_by: date) -> date:
    latest = _backward(graph, need_by)
    legs: dict[int, _Leg] = {n: graph.nodes[n]["leg"] for n in graph}
    return min(leg.works.before(latest[n], leg.days) for n, leg in legs.items())


def _dated(leg: _Leg, begin: date, end: date, latest: date) -> Step:
    return Step(leg.of, leg.what, leg.who, leg.days, begin, end, max(0, (latest - end).days))


def _critical(graph: nx.DiGraph[int], ends: dict[int, date]) -> Sequence[int]:
    """Return the steps backwards from the end, each time the one that is over last; in order."""
    path = [-1]
    while before := list(graph.predecessors(path[-1])):
        # The first of several that end on one day, as the file has them.
        path.append(max(before, key=lambda x: (ends[x], -x)))
    return path[::-1]
