"""Reading an order file. Errors name the line and say what would be right."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from pathlib import Path

from lintsvc.handbook.clearance import screw_size
from lintsvc.handbook.materials import material
from lintsvc.model.choices_words import BadChoice
from lintsvc.model.meant import meant
from lintsvc.model.toml_lines import key_lines, line_of
from lintsvc.model.units import MM_PER_UNIT
from lintsvc.order.choices import choices_of
from lintsvc.order.file import OrderFile
from lintsvc.order.mistakes import problems
from lintsvc.order.relations import Apart, FacesMeet, Holds, HolesMeet
from lintsvc.text_file import NoText, read_text_file

#: An order file is written by hand; a larger one is something else.
_LARGEST_BYTES = 2_000_000


class OrderError(Exception):
    """The order file cannot be used. The text names the file, the line, what is wrong and what to do."""


def read_order(path: Path) -> OrderFile:
    """Return the order. Raises OrderError with every problem that was found, one a line."""
    try:
        text = read_text_file(path, str(path), what="an order file", most_bytes=_LARGEST_BYTES)
    except NoText as error:
        raise OrderError(str(error)) from None
    return parse_order(text, str(path))


def parse_order(text: str, name: str = "order.toml") -> OrderFile:
    """Return the order of a text. `name` stands in the errors."""
    from pydantic import ValidationError

    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise OrderError(f"{name}: {error}") from None
    lines = key_lines(text)
    try:
        order = OrderFile.model_validate(data)
    except ValidationError as error:
        found = problems(error.errors(include_url=False), lines, name)
        raise OrderError("\n".join(found)) from None
    wrong = list(_references(order, lines, name))
    if wrong:
        raise OrderError("\n".join(wrong))
    return order


def _two(one: str, other: str, where: str, what: str) -> Iterable[str]:
    if one == other:
        yield f"{where}: {one!r} cannot {what}"


def _references(order: OrderFile, lines: dict[tuple[str | int, ...], int], name: str) -> Iterable[str]:
    """Yield what is named and not there, and what is there twice."""

    def at(*path: str | int) -> str:
        line = line_of(path, lines)
        return f"{name}, line {line}" if line else name

    parts = [x.id for x in order.part]
    bought = [x.id for x in order.bought]
    for i, each in enumerate([*parts, *bought]):
        if each in [*parts, *bought][:i]:
            where = at("part", i, "id") if i < len(parts) else at("bought", i - len(parts), "id")
            yield f"{where}: {each!r} is named twice; every part and bought-in thing has an id of its own"
    known = set(parts) | set(bought)

    def check(each: str, among: set[str], what: str, *path: str | int) -> Iterable[str]:
        if each not in among:
            hint = meant(each, sorted(among)) or "there is none in this order"
            yield f"{at(*path)}: there is no {what} {each!r}; {hint}"

    for i, relation in enumerate(order.relation):
        if isinstance(relation, HolesMeet):
            yield from check(relation.a.of, known, "part or thing", "relation", i, "a")
            yield from check(relation.b.of, known, "part or thing", "relation", i, "b")
            for j, between in enumerate(relation.through):
                yield from check(between, known, "part or thing", "relation", i, "through", j)
                if between in (relation.a.of, relation.b.of):
                    yield f"{at('relation', i, 'through', j)}: {between!r} is one of the two sides already"
            yield from _two(relation.a.of, relation.b.of, at("relation", i), "be screwed to itself")
            try:
                screw_size(relation.screw.size)
            except ValueError as error:
                yield f"{at('relation', i, 'screw')}: {error}"
        elif isinstance(relation, FacesMeet):
            yield from check(relation.a.of, known, "part or thing", "relation", i, "a")
            yield from check(relation.b.of, known, "part or thing", "relation", i, "b")
            yield from _two(relation.a.of, relation.b.of, at("relation", i), "lie on itself")
        elif isinstance(relation, Holds):
            yield from check(relation.part, set(parts), "part", "relation", i, "part")
            yield from check(relation.thing, known, "part or thing", "relation", i, "thing")
            yield from _two(relation.part, relation.thing, at("relation", i), "hold itself")
        elif isinstance(relation, Apart):
            yield from check(relation.a, known, "part or thing", "relation", i, "a")
            yield from check(relation.b, known, "part or thing", "relation", i, "b")
            yield from _two(
                relation.a, relation.b, at("relation", i), "slide in, be pressed into or stay clear of itself"
            )
    for i, place in enumerate(order.place):
        yield from check(place.of, known, "part or thing", "place", i, "of")
    for i, load in enumerate(order.load):
        yield from check(load.on, set(parts), "part", "load", i, "on")
    for i, rest in enumerate(order.rest):
        # It may stand on a bought-in foot; what is loaded and held is a part.
        yield from check(rest.of, known, "part or thing", "rest", i, "of")
    for i, price in enumerate(order.price):
        yield from check(price.part, known, "part or thing", "price", i, "part")
        if any((x.part, x.quantity) == (price.part, price.quantity) for x in order.price[:i]):
            yield f"{at('price', i)}: {price.part!r} has a price for {price.quantity} already; which of them counts?"
    suppliers = {x.id for x in order.supplier}
    for i, supplier in enumerate(order.supplier):
        if supplier.id in [x.id for x in order.supplier[:i]]:
            yield f"{at('supplier', i, 'id')}: {supplier.id!r} is named twice; every supplier has an id of its own"
    for i, part in enumerate(order.part):
        if not part.file.strip():
            yield f"{at('part', i, 'file')}: {part.id}: name its file"
        if part.units is not None and part.units not in MM_PER_UNIT:
            yield f"{at('part', i, 'units')}: {part.units!r} is no unit; {meant(part.units, sorted(MM_PER_UNIT))}"
        if part.material is not None:
            try:
                material(part.material)
            except ValueError as error:
                yield f"{at('part', i, 'material')}: {error}"
                continue
        try:
            choices_of(part)
        except BadChoice as error:
            yield f"{at('part', i, error.name)}: {error}"
        if part.supplier is not None:
            yield from check(part.supplier, suppliers, "supplier", "part", i, "supplier")
        for j, then in enumerate(part.then):
            yield from check(then, suppliers, "supplier", "part", i, "then", j)
    for i, rate in enumerate(order.rate):
        if rate.supplier is not None:
            yield from check(rate.supplier, suppliers, "supplier", "rate", i, "supplier")
    for i, thing in enumerate(order.bought):
        if thing.supplier is not None:
            yield from check(thing.supplier, suppliers, "supplier", "bought", i, "supplier")
        if thing.units is not None and thing.units not in MM_PER_UNIT:
            yield f"{at('bought', i, 'units')}: {thing.units!r} is no unit; {meant(thing.units, sorted(MM_PER_UNIT))}"
        needs = {"box": ("size",), "cylinder": ("diameter", "height"), "file": ("file",)}[thing.shape]
        for key in needs:
            if getattr(thing, key) is None:
                yield f"{at('bought', i)}: {thing.id}: a {thing.shape} needs {key!r}"
