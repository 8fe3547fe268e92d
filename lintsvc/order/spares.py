"""Spares: the chance that enough good parts arrive, and what one more costs against a second order.

Each part is taken to be bad by a chance of its own, so the number of bad ones is binomial. A fault of the drawing or of
a whole batch makes all of them bad at once, and no spare helps against that.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from lintsvc.model.material import Value
from lintsvc.model.source import Source
from lintsvc.order.cost import Price, price_of
from lintsvc.order.file import OrderFile, PartEntry
from lintsvc.order.schedule import days_of_one_more
from lintsvc.rulebook.shop import Shop

ASSUMPTION = (
    "Each part is taken to be bad by a chance of its own (binomial); "
    "a fault of the drawing or of a whole batch makes all bad, and spares do not help."
)
#: Nobody orders more spares than this by numbers alone.
_MOST_SPARES = 200


@dataclass(frozen=True, slots=True)
class SparesRow:
    """So many spares: the chance that they are enough; what they cost; what a second order is then expected to add."""

    spares: int
    chance: float
    #: What these spares cost; None without a price.
    cost: float | None
    #: Chance of a second order times what it costs, and times its days.
    second_cost: float | None
    second_days: float | None

    @property
    def total(self) -> float | None:
        """Cost of the spares and expected cost of a second order."""
        return None if self.cost is None or self.second_cost is None else self.cost + self.second_cost


@dataclass(frozen=True, slots=True)
class Spares:
    """What is known of a part's spares."""

    part: str
    needed: int
    ordered: int
    #: The chance that one part is bad, and who says so.
    bad: Value
    wanted_chance: float
    rows: tuple[SparesRow, ...]
    #: The least that reach the wanted chance.
    advised: int
    second: Price | None
    second_days: int | None

    @property
    def chance(self) -> float:
        """The chance that what is ordered is enough."""
        return enough(self.needed, self.ordered, self.bad.value)

    @property
    def cheapest(self) -> int | None:
        """The number of spares with the least expected cost; None without a price."""
        priced = [(x.total, x.spares) for x in self.rows if x.total is not None]
        return min(priced)[1] if priced else None


def enough(needed: int, spares: int, bad_share: float) -> float:
    """Return the chance that at most `spares` of `needed + spares` parts are bad.

    >>> enough(1, 0, 0.1), round(enough(10, 1, 0.05), 4)
    (0.9, 0.8981)
    """
    count = needed + spares
    if bad_share <= 0:
        return 1.0
    # Summed from the largest exponent: comb() of a large order overflows a float.
    logs = [
        math.lgamma(count + 1)
        - math.lgamma(k + 1)
        - math.lgamma(count - k + 1)
        + k * math.log(bad_share)
        + (count - k) * math.log1p(-bad_share)
        for k in range(spares + 1)
    ]
    return min(1.0, round(math.fsum(math.exp(x) for x in logs), 12))


def advised_spares(needed: int, bad_share: float, chance: float) -> int:
    """Return the fewest spares with which enough parts arrive good with at least this chance."""
    spares = 0
    while spares < _MOST_SPARES and enough(needed, spares, bad_share) < chance:
        spares += 1
    return spares


def bad_share(order: OrderFile, part: PartEntry, shop: Shop) -> Value | None:
    """Return the chance that a part arrives bad: as entered for the part, for its supplier, else from the shop.toml."""
    if part.bad_share is not None:
        return Value(part.bad_share, Source("shop", f"As entered in the order for {part.id}."))
    for supplier in order.supplier:
        if supplier.id == part.supplier and supplier.bad_share is not None:
            return Value(supplier.bad_share, Source("shop", f"As entered in the order for {supplier.id}."))
    return shop.bad_share(part.process, part.material, part.supplier)


def spares_of(order: OrderFile, part: PartEntry, shop: Shop, one: Price | None = None) -> Spares | None:
    """Return what is known of a part's spares; None where nobody says how often such a part is bad.

    `one`: what one more costs within the same order; worked out from the order's quotes when not given.
    """
    bad = bad_share(order, part, shop)
    if bad is None:
        return None
    one = one or price_of(order, part, None)
    second = None if one is None else second_order(order, part, one)
    days = days_of_one_more(order, part)
    advised = advised_spares(part.quantity, bad.value, order.order.enough_chance)
    ordered = part.spares or 0
    rows = tuple(_rows(part.quantity, bad.value, max(advised, ordered) + 1, one, second, days))
    return Spares(part.id, part.quantity, ordered, bad, order.order.enough_chance, rows, advised, second, days)


def second_order(order: OrderFile, part: PartEntry, one: Price) -> Price:
    """Return what a second order of one part costs: the part, its setup again, and the parcels."""
    along = [x for x in order.supplier if x.id in (part.supplier, *part.then)]
    transport = sum(x.transport for x in along)
    return Price(one.each + one.setup + transport, 0.0, f"{one.source} One part, its setup and the parcels again.")


def _rows(
    needed: int, bad: float, most: int, one: Price | None, second: Price | None, days: int | None
) -> Iterator[SparesRow]:
    for spares in range(most + 1):
        chance = enough(needed, spares, bad)
        yield SparesRow(
            spares,
            chance,
            None if one is None else spares * one.each,
            None if second is None else (1 - chance) * second.each,
            None if days is None else (1 - chance) * days,
        )
