"""Conditions taken apart by the grammar: once for each text, and then from what is kept of it."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from lintsvc.rulebook.limit_rules import kept

if TYPE_CHECKING:
    from lark import Lark


class Word(str):
    """A word, a number or a sign of a condition, and the column (from 1) that it begins at."""

    __slots__ = ("column",)
    column: int


@dataclass(frozen=True, slots=True)
class Tree:
    """A part of a condition: which rule of the grammar it is, and what it is made of."""

    data: str
    children: tuple[Tree | Word, ...]


class NoCondition(Exception):
    """The text is no condition. `column`: where, from 1."""

    def __init__(self, column: int, why: str) -> None:
        self.column = column
        self.why = why
        super().__init__(why)


def tree_of(text: str) -> Tree:
    """Return the tree of a condition. Raises NoCondition."""
    with suppress(KeyError, IndexError, TypeError, ValueError):
        found = _read(kept.find("trees", text))
        if isinstance(found, Tree):
            return found
    tree = _parsed(text)
    kept.add("trees", text, _written(tree))
    return tree


@lru_cache(maxsize=1)
def _grammar() -> Lark:
    # Imported here: only conditions that were never read before need it.
    from lark import Lark

    return Lark(kept.grammar_text(), parser="lalr", maybe_placeholders=False)


def _parsed(text: str) -> Tree:
    from lark.exceptions import UnexpectedCharacters, UnexpectedInput

    try:
        return _plain(_grammar().parse(text))
    except UnexpectedCharacters as error:
        raise NoCondition(error.column, f"{text[error.column - 1 : error.column]!r} has no meaning here") from None
    except UnexpectedInput as error:
        # At the end of the text the parser names the last word; the place is after it.
        ended = getattr(getattr(error, "token", None), "type", "") == "$END"
        column = len(text.rstrip()) + 1 if ended or error.column < 1 else error.column
        raise NoCondition(column, "something is missing or too much here") from None


def _plain(tree: Any) -> Tree:
    """Return the parser's tree without what belongs to the parser."""
    children = (
        _word(str(x), getattr(x, "column", None) or 1) if isinstance(x, str) else _plain(x) for x in tree.children
    )
    return Tree(str(tree.data), tuple(children))


def _word(text: str, column: int) -> Word:
    word = Word(text)
    word.column = column
    return word


def _written(part: Tree | Word) -> list[Any]:
    """Return a tree as JSON: [rule, [what it is made of]], a word as [text, column]."""
    if isinstance(part, Tree):
        return [part.data, [_written(x) for x in part.children]]
    return [str(part), part.column]


def _read(part: Any) -> Tree | Word:
    head, rest = part
    return Tree(head, tuple(_read(x) for x in rest)) if isinstance(rest, list) else _word(head, int(rest))
