"""Reading an order file. Errors name the line and say what would be right."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable
from pathlib import Path

from lintsvc.model.toml_lines import key_lines, line_of
from lintsvc.order.file import Apart, Holds, HolesMeet, OrderFile

#: An order file is written by hand; a larger one is something else.
_LARGEST_BYTES = 2_000_000


class OrderError(Exception):
    """The order file cannot be used. The text names the file, the line, what is wrong and what to do."""


def read_order(path: Path) -> OrderFile:
    """Return the order. Raises OrderError with every problem that was found, one a line."""
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise OrderError(f"{path}: an order file is at most {_LARGEST_BYTES // 1_000_000} MB")
        text = path.read_text("utf-8")
    except OSError as error:
        raise OrderError(f"{path}: cannot be opened: {error.strerror}") from None
    except UnicodeDecodeError:
        raise OrderError(f"{path}: is no text in UTF-8; save it as UTF-8") from None
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
        problems = []
        for item in error.errors(include_url=False):
            path = tuple(x for x in item["loc"] if not _is_tag(x, item["loc"]))
            problems.append(_problem(name, line_of(path, lines), path, item["type"], item["msg"]))
        raise OrderError("\n".join(problems)) from None
    problems = list(_references(order, lines, name))
    if problems:
        raise OrderError("\n".join(problems))
    return order


def _is_tag(piece: str | int, path: tuple[str | int, ...]) -> bool:
    """A union's tag stands in pydantic's path and not in the file."""
    return piece in {"holes-meet", "holds", "slides", "presses", "stays-clear"} and path[0] == "relation"


def _problem(name: str, line: int | None, path: tuple[str | int, ...], kind: str, message: str) -> str:
    place = f"{name}, line {line}" if line else name
    shown = ".".join(str(x) for x in path)
    if kind == "extra_forbidden":
        words = sorted(_known_keys(path[:-1]))
        close = difflib.get_close_matches(str(path[-1]), words, 1)
        hint = f"; did you mean {close[0]!r}?" if close else f"; it may be {', '.join(words)}" if words else ""
        return f"{place}: there is no key {path[-1]!r} here{hint}"
    if kind == "missing":
        return f"{place}: {shown} is missing"
    return f"{place}: {shown}: {message.removeprefix('Value error, ')}"


def _known_keys(path: tuple[str | int, ...]) -> Iterable[str]:
    from pydantic import BaseModel

    model: object = OrderFile
    for piece in path:
        if isinstance(piece, int):
            continue
        fields = getattr(model, "model_fields", {})
        if piece not in fields:
            return ()
        model = _model_in(fields[piece].annotation, BaseModel)
    return getattr(model, "model_fields", {})


def _model_in(annotation: object, base: type) -> object:
    """Return the model class inside an annotation such as list[PartEntry]."""
    from typing import get_args

    if isinstance(annotation, type) and issubclass(annotation, base):
        return annotation
    for inner in get_args(annotation):
        found = _model_in(inner, base)
        if found is not None:
            return found
    return None


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
            close = difflib.get_close_matches(each, sorted(among), 1)
            hint = f"; did you mean {close[0]!r}?" if close else f"; there are {', '.join(sorted(among)) or 'none'}"
            yield f"{at(*path)}: there is no {what} {each!r}{hint}"

    for i, relation in enumerate(order.relation):
        if isinstance(relation, HolesMeet):
            yield from check(relation.a.of, known, "part or thing", "relation", i, "a")
            yield from check(relation.b.of, known, "part or thing", "relation", i, "b")
        elif isinstance(relation, Holds):
            yield from check(relation.part, set(parts), "part", "relation", i, "part")
            yield from check(relation.thing, known, "part or thing", "relation", i, "thing")
        elif isinstance(relation, Apart):
            yield from check(relation.a, known, "part or thing", "relation", i, "a")
            yield from check(relation.b, known, "part or thing", "relation", i, "b")
    for i, place in enumerate(order.place):
        yield from check(place.of, known, "part or thing", "place", i, "of")
    for i, load in enumerate(order.load):
        yield from check(load.on, set(parts), "part", "load", i, "on")
    for i, rest in enumerate(order.rest):
        yield from check(rest.of, set(parts), "part", "rest", i, "of")
    for i, price in enumerate(order.price):
        yield from check(price.part, set(parts), "part", "price", i, "part")
    suppliers = {x.id for x in order.supplier}
    for i, part in enumerate(order.part):
        if part.supplier is not None:
            yield from check(part.supplier, suppliers, "supplier", "part", i, "supplier")
    for i, thing in enumerate(order.bought):
        if thing.supplier is not None:
            yield from check(thing.supplier, suppliers, "supplier", "bought", i, "supplier")
        needs = {"box": ("size",), "cylinder": ("diameter", "height"), "file": ("file",)}[thing.shape]
        for key in needs:
            if getattr(thing, key) is None:
                yield f"{at('bought', i)}: {thing.id}: a {thing.shape} needs {key!r}"
