"""What is wrong in an order file, in plain words: what stands there, what may stand there, on which line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, get_args

from lintsvc.model.meant import meant
from lintsvc.model.toml_lines import line_of
from lintsvc.order.file import OrderFile
from lintsvc.order.relations import KINDS

Path = tuple[str | int, ...]

#: Words for the errors of a field that are told by their kind alone.
_PLAIN: Mapping[str, str] = {
    "string_type": "this is a text: write it in quotes",
    "bool_type": "write true or false, without quotes",
    "bool_parsing": "write true or false, without quotes",
    "string_pattern_mismatch": "an id has letters, digits and . _ - only, begins with a letter or digit, and has at "
    "most 64 of them",
    "finite_number": "a number that is finite is wanted",
}
_LIMITS: Mapping[str, tuple[str, str]] = {
    "greater_than": ("gt", "it has to be more than"),
    "greater_than_equal": ("ge", "it has to be at least"),
    "less_than": ("lt", "it has to be less than"),
    "less_than_equal": ("le", "it has to be at most"),
}


def problems(errors: Iterable[Mapping[str, Any]], lines: Mapping[Path, int], name: str) -> Iterator[str]:
    """Yield each error of pydantic's list as one line that names the file and the line."""
    for error in errors:
        raw = tuple(error["loc"])
        path = tuple(x for i, x in enumerate(raw) if not _is_tag(raw, i))
        line = line_of(path, dict(lines)) or line_of((*path, 0), dict(lines))
        place = f"{name}, line {line}" if line else name
        yield f"{place}: {_words(raw, path, error)}"


def _is_tag(path: Sequence[str | int], i: int) -> bool:
    """A union's tag stands in pydantic's path and not in the file."""
    return path[0] == "relation" and i == 2 and path[i] in KINDS


def _words(raw: Path, path: Path, error: Mapping[str, Any]) -> str:
    kind, given, context = error["type"], error.get("input"), error.get("ctx", {})
    shown = ".".join(str(x) for x in path)
    if kind == "extra_forbidden":
        hint = meant(str(path[-1]), sorted(_keys_of(raw[:-1])))
        return f"there is no key {path[-1]!r} here" + (f"; {hint}" if hint else "")
    if kind == "missing" and isinstance(path[-1], int):
        return f"{'.'.join(str(x) for x in path[:-1])}: number {path[-1] + 1} of the list is missing"
    if kind == "missing":
        return f"{shown} is missing"
    if kind == "union_tag_invalid":
        return f"there is no relation of kind {context.get('tag')!r}; {meant(str(context.get('tag')), sorted(KINDS))}"
    if kind == "union_tag_not_found":
        return f"{shown}: the key 'kind' is missing; it may be {', '.join(KINDS)}"
    return f"{shown}: {_of_value(kind, raw, given, context) or error['msg'].removeprefix('Value error, ')}"


def _of_value(kind: str, raw: Path, given: Any, context: Mapping[str, Any]) -> str:
    """Say what is wrong with a value; nothing for an error whose own text is plain already."""
    if kind in _LIMITS:
        key, words = _LIMITS[kind]
        return f"{given!r} cannot be; {words} {context[key]:g}" if isinstance(given, int | float) else ""
    if kind == "literal_error":
        words = context["expected"].replace("'", "").replace(" or ", ", ").split(", ")
        return f"{given!r} is not known here; {meant(str(given), sorted(words))}"
    if kind.startswith("int_"):
        return f"{given!r} is no whole number"
    if kind.startswith("float_"):
        return f"{given!r} is no number"
    if kind.startswith("date_"):
        return f"{given!r} is no day; write it as 2026-12-24, without quotes"
    if kind in ("list_type", "tuple_type"):
        return f"write [[{raw[0]}]], once for each" if len(raw) == 1 else "write a list: [ … ]"
    if kind == "too_long":
        return f"{context['actual_length']} numbers stand here, {context['max_length']} are wanted"
    if kind == "too_short":
        return f"at least {context['min_length']} of these are wanted"
    if kind.startswith(("model_", "dict_")):
        keys = ", ".join(f"{x} = …" for x in _needed(raw)) or "…"
        return f"[{raw[0]}] is a table: write it as such" if len(raw) == 1 else f"write a table: {{ {keys} }}"
    return _PLAIN.get(kind, "")


def _model_at(path: Path) -> Any:
    """Return the model that holds what stands at a path of pydantic's, tags of unions in it."""
    from pydantic import BaseModel

    model: Any = OrderFile
    options: list[Any] = []
    for piece in path:
        if isinstance(piece, int):
            continue
        if len(options) > 1:
            # The tag of a union says which of its models is meant.
            model = next((x for x in options if piece in get_args(x.model_fields["kind"].annotation)), None)
            options = []
            continue
        if model is None or piece not in model.model_fields:
            return None
        options = list(_models_in(model.model_fields[piece].annotation, BaseModel))
        model = options[0] if options else None
    return model


def _models_in(annotation: object, base: type) -> Iterator[Any]:
    """Yield the model classes inside an annotation such as list[PartEntry]."""
    if isinstance(annotation, type) and issubclass(annotation, base):
        yield annotation
        return
    for inner in get_args(annotation):
        yield from _models_in(inner, base)


def _keys_of(path: Path) -> Iterable[str]:
    return getattr(_model_at(path), "model_fields", {})


def _needed(path: Path) -> list[str]:
    return [key for key, field in getattr(_model_at(path), "model_fields", {}).items() if field.is_required()]
