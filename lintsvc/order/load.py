"""An order from its file, its parts checked and measured in this process: for tests, rule fixtures and libraries.

The command does the same through its checking processes and the cache.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path

from lintsvc.model.choices import Choices
from lintsvc.model.report import PartReport
from lintsvc.order.check import check_order
from lintsvc.order.checked import CheckedOrder
from lintsvc.order.choices import choices_of
from lintsvc.order.file import OrderFile
from lintsvc.order.read import OrderError, read_order
from lintsvc.order.shape import shape_bytes
from lintsvc.order.things import BoughtThing, OrderedPart
from lintsvc.rulebook.check import Progress, Result, check_file
from lintsvc.rulebook.fixtures import Case, report_of_part
from lintsvc.rulebook.rule import Rule
from lintsvc.rulebook.shop import NO_SHOP, Shop, ShopError, read_shop


def load_here(
    path: Path,
    rules: Iterable[Rule] = (),
    *,
    today: date | None = None,
    progress: Progress | None = None,
    on_part: Callable[[str, Result], None] = lambda id, result: None,
) -> CheckedOrder:
    """Read an order and check its parts against `rules` (none: they are only measured). Raises OrderError.

    `on_part` is called with a part's id and what its check gave, while it is still measured.
    """
    from lintsvc.readers.content import sha256_of

    order = read_order(path)
    shop = shop_of(path, order)
    rules = list(rules)
    parts = []
    for entry in order.part:
        file = path.parent / entry.file
        choices = choices_of(entry)
        changes = shop.adjustments(entry.supplier)
        result = check_file(
            file,
            choices,
            rules,
            name=str(file),
            adjustments=changes,
            progress=progress or Progress(),
        )
        on_part(entry.id, result)
        parts.append(OrderedPart(entry, file, choices, result.report, shape_bytes(result.checked), shop))
    bought = []
    for thing in order.bought:
        shape = None
        if thing.shape == "file" and thing.file is not None:
            shape = shape_bytes(
                check_file(path.parent / thing.file, Choices(process="powder-bed", units=thing.units), ()).checked
            )
        bought.append(BoughtThing(thing, shape))
    day = today or order.order.order_on or date.today()
    return CheckedOrder(path, str(path), sha256_of(path), order, tuple(parts), tuple(bought), day, shop)


def shop_of(path: Path, order: OrderFile) -> Shop:
    """Return the shop.toml that an order names, from the order's folder. Raises OrderError.

    One that is not there yet says nothing: the first parcel that is inspected makes it. The report notes it.
    """
    if order.order.shop is None:
        return NO_SHOP
    file = path.parent / order.order.shop
    if not file.exists():
        return NO_SHOP
    try:
        return read_shop(file, str(file))
    except ShopError as error:
        raise OrderError(str(error)) from None


def report_of(rule: Rule, case: Case) -> PartReport:
    """Return what a rule says of a fixture: a part's file, or for a rule of orders an order's."""
    if "order" not in rule.kinds:
        return report_of_part(rule, case)
    return check_order(load_here(case.file), [rule])
