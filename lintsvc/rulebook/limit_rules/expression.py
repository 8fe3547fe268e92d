"""Reading a condition: its parts with their kinds, checked before any file is; then evaluated by plain calls."""

from __future__ import annotations

import difflib
import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lintsvc.rulebook.limit_rules.kinds import NUMBER, TEXT, TRUTH, UNITS, Kind
from lintsvc.rulebook.limit_rules.trees import NoCondition, Tree, Word, tree_of

#: Longer conditions are refused: they are no longer read by people, and nesting costs stack.
LONGEST = 500

#: Gives the value of a name such as `sheet.thickness`.
Scope = Callable[[str], Any]
_ORDER = {"<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge}
_EQUAL = {"==": operator.eq, "!=": operator.ne}
_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}


class ExpressionError(Exception):
    """The condition cannot be used. Says where in it (column, from 1) and what would be right."""

    def __init__(self, column: int, why: str) -> None:
        self.column = column
        super().__init__(f"column {column}: {why}")


@dataclass(frozen=True, eq=False)
class Node:
    """A part of a condition. `run` gives its value; `text` is how it is written."""

    kind: Kind
    names: frozenset[str]
    run: Callable[[Scope], Any]
    text: str
    column: int
    #: "and", "or", a comparison's sign, "+" for a sum, or empty.
    sign: str = ""
    parts: tuple[Node, ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """A measured value against a limit: faulty when `measured sign limit` holds."""

    measured: Node
    sign: str
    limit: Node


@dataclass(frozen=True, slots=True)
class Function:
    """A look-up that a condition may call: kinds of its arguments, of its result, and the call.

    `call` may raise ValueError for arguments that the handbook does not have.
    """

    takes: tuple[Kind, ...]
    gives: Kind
    call: Callable[..., Any]
    what: str


def parse(text: str, names: Mapping[str, Kind], functions: Mapping[str, Function]) -> Node:
    """Return the condition. Raises ExpressionError for what is none, and for names and kinds that do not fit."""
    if len(text) > LONGEST:
        raise ExpressionError(LONGEST, f"it is longer than {LONGEST} characters; make two rules of it")
    try:
        tree = tree_of(text)
    except NoCondition as error:
        raise ExpressionError(error.column, error.why) from None
    return _Reader(names, functions).node(tree)


def conjuncts(node: Node) -> tuple[Node, ...]:
    """Return the parts that must all hold."""
    return tuple(y for x in node.parts for y in conjuncts(x)) if node.sign == "and" else (node,)


def comparison(node: Node, feature: str) -> Comparison | None:
    """Return a comparison with the feature on its left, turned round where need be; None for anything else."""
    if node.sign not in _ORDER:
        return None
    left, right = node.parts
    if _about(left, feature):
        return Comparison(left, node.sign, right)
    if _about(right, feature):
        return Comparison(right, _TURNED[node.sign], left)
    return None


def _about(node: Node, feature: str) -> bool:
    return any(x.partition(".")[0] == feature for x in node.names)


class _Reader:
    """Turns the parse tree into nodes, checking names and kinds."""

    def __init__(self, names: Mapping[str, Kind], functions: Mapping[str, Function]) -> None:
        self.names = names
        self.functions = functions

    def node(self, tree: Tree) -> Node:
        made: Node = getattr(self, f"_{tree.data}")(tree)
        return made

    def _join(self, kind: Kind, run: Callable[[Scope], Any], parts: Sequence[Node], text: str, sign: str = "") -> Node:
        """Return a node made of others; it stands where the first of them does."""
        names = frozenset(y for x in parts for y in x.names)
        return Node(kind, names, run, text, parts[0].column, sign, tuple(parts))

    def _need(self, node: Node, kind: Kind, what: str) -> None:
        if node.kind != kind:
            raise ExpressionError(node.column, f"{what} {kind.name}; {node.text} is {node.kind.name}")

    def _tokens(self, tree: Tree) -> list[Word]:
        return [x for x in tree.children if isinstance(x, Word)]

    def _each(self, tree: Tree) -> list[Node]:
        return [self.node(x) for x in tree.children if isinstance(x, Tree)]

    # ------------------------------------------------------------------ values

    def _quantity(self, tree: Tree) -> Node:
        number, *unit = self._tokens(tree)
        kind, scale = UNITS[unit[0]] if unit else (NUMBER, 1.0)
        value = float(number) * scale
        return Node(kind, frozenset(), lambda scope: value, " ".join([number, *unit]), number.column)

    def _text(self, tree: Tree) -> Node:
        (token,) = self._tokens(tree)
        value = str(token)[1:-1]
        return Node(TEXT, frozenset(), lambda scope: value, str(token), token.column)

    def _word(self, tree: Tree) -> Node:
        (word,) = self._tokens(tree)
        things = {x.partition(".")[0] for x in self.names}
        hint = f"write {word}. and what of it" if word in things else _close(word, [*things, *self.functions])
        raise ExpressionError(word.column, f"{str(word)!r} alone means nothing; {hint}")

    def _name(self, tree: Tree) -> Node:
        tokens = self._tokens(tree)
        name = ".".join(tokens)
        if name not in self.names:
            same = [x for x in self.names if x.partition(".")[0] == tokens[0]]
            raise ExpressionError(tokens[0].column, f"there is no {name!r}; {_close(name, same or list(self.names))}")
        return Node(self.names[name], frozenset([name]), lambda scope: scope(name), name, tokens[0].column)

    def _call(self, tree: Tree) -> Node:
        token, *_ = self._tokens(tree)
        name, parts = str(token), self._each(tree)
        text = f"{name}({', '.join(x.text for x in parts)})"
        if name in ("min", "max"):
            return self._extreme(token, text, parts)
        function = self.functions.get(name)
        if function is None:
            known = [*self.functions, "min", "max"]
            raise ExpressionError(token.column, f"there is no {name}(); {_close(name, known)}")
        if len(parts) != len(function.takes):
            raise ExpressionError(token.column, f"{name}() takes {len(function.takes)}: {function.what}")
        for part, kind in zip(parts, function.takes, strict=True):
            self._need(part, kind, f"{name}() takes here")
        call = function.call
        node = self._join(function.gives, lambda scope: call(*(x.run(scope) for x in parts)), parts, text)
        if not node.names:
            # Nothing in it depends on the part: a word that the handbook does not have is found now.
            try:
                node.run(_nothing)
            except ValueError as error:
                raise ExpressionError(token.column, str(error)) from None
        return node

    def _extreme(self, name: Word, text: str, parts: Sequence[Node]) -> Node:
        if len(parts) < 2:
            raise ExpressionError(name.column, f"{name}() takes two values or more")
        for part in parts[1:]:
            self._need(part, parts[0].kind, f"{name}() takes values of one kind: here")
        choose = min if name == "min" else max
        return self._join(parts[0].kind, lambda scope: choose(x.run(scope) for x in parts), parts, text)

    # ------------------------------------------------------------------ arithmetic

    def _minus(self, tree: Tree) -> Node:
        (part,) = self._each(tree)
        if part.kind in (TEXT, TRUTH):
            raise ExpressionError(part.column, f"{part.text} is {part.kind.name} and has no negative")
        return self._join(part.kind, lambda scope: -part.run(scope), [part], f"-{part.text}")

    def _sum(self, tree: Tree) -> Node:
        parts, signs = self._each(tree), self._tokens(tree)
        if parts[0].kind in (TEXT, TRUTH):
            raise ExpressionError(parts[0].column, f"{parts[0].text} is {parts[0].kind.name}; only numbers are added")
        for part in parts[1:]:
            self._need(part, parts[0].kind, "only like is added to like: here it takes")

        def run(scope: Scope) -> float:
            total: float = parts[0].run(scope)
            for sign, part in zip(signs, parts[1:], strict=True):
                total = total + part.run(scope) if sign == "+" else total - part.run(scope)
            return total

        return self._join(parts[0].kind, run, parts, _written(parts, signs), "+")

    def _product(self, tree: Tree) -> Node:
        parts, signs = self._each(tree), self._tokens(tree)
        kind = parts[0].kind
        for sign, part in zip(signs, parts[1:], strict=True):
            kind = self._multiplied(kind, sign, part)

        def run(scope: Scope) -> float:
            total: float = parts[0].run(scope)
            for sign, part in zip(signs, parts[1:], strict=True):
                total = total * part.run(scope) if sign == "*" else total / part.run(scope)
            return total

        return self._join(kind, run, parts, _written(parts, signs))

    def _multiplied(self, kind: Kind, sign: str, part: Node) -> Kind:
        """Return the kind of a product or a quotient."""
        if kind.base == part.kind.base == "length":
            return Kind("length", kind.power + (part.kind.power if sign == "*" else -part.kind.power))
        if part.kind == NUMBER and kind not in (TEXT, TRUTH):
            return kind
        if kind == NUMBER and sign == "*" and part.kind not in (TEXT, TRUTH):
            return part.kind
        if kind == part.kind and sign == "/" and kind not in (TEXT, TRUTH):
            return NUMBER
        word = "multiplied with" if sign == "*" else "divided by"
        raise ExpressionError(part.column, f"{kind.name} cannot be {word} {part.kind.name}")

    # ------------------------------------------------------------------ truth

    def _comparison(self, tree: Tree) -> Node:
        left, right = self._each(tree)
        sign = str(self._tokens(tree)[0])
        self._need(right, left.kind, f"{left.text} is compared with")
        if sign in _ORDER and left.kind in (TEXT, TRUTH):
            raise ExpressionError(left.column, f"{left.kind.name} has no order; use == or !=")
        compare = (_ORDER | _EQUAL)[sign]
        text = f"{left.text} {sign} {right.text}"
        return self._join(TRUTH, lambda scope: compare(left.run(scope), right.run(scope)), [left, right], text, sign)

    def _both(self, tree: Tree) -> Node:
        return self._joined(tree, "and", all)

    def _either(self, tree: Tree) -> Node:
        return self._joined(tree, "or", any)

    def _joined(self, tree: Tree, sign: str, join: Callable[[Any], bool]) -> Node:
        parts = self._each(tree)
        for part in parts:
            self._need(part, TRUTH, f"'{sign}' joins what is")
        text = f" {sign} ".join(x.text for x in parts)
        return self._join(TRUTH, lambda scope: join(x.run(scope) for x in parts), parts, text, sign)

    def _negation(self, tree: Tree) -> Node:
        (part,) = self._each(tree)
        self._need(part, TRUTH, "'not' takes what is")
        return self._join(TRUTH, lambda scope: not part.run(scope), [part], f"not {part.text}")


def _written(parts: Sequence[Node], signs: Sequence[str]) -> str:
    """Return a sum or a product as it is written, brackets around what needs them."""
    texts = [f"({x.text})" if x.sign == "+" else x.text for x in parts]
    return texts[0] + "".join(f" {sign} {text}" for sign, text in zip(signs, texts[1:], strict=True))


def _nothing(name: str) -> Any:
    raise AssertionError(f"{name} was asked for and is not in the condition")


def _close(word: str, known: Sequence[str]) -> str:
    close = difflib.get_close_matches(word, known, n=3, cutoff=0.5)
    return f"close ones are {', '.join(close)}" if close else f"there are {', '.join(sorted(known))}"
