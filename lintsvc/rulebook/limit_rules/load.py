"""A limit rule's TOML file becomes a rule like any other.

    title = "Hole too small for our punch"
    why = "Our punch starts at 3 mm; smaller holes are drilled, at a price."
    faulty_when = "hole.diameter < max(3 mm, 1.2 * sheet.thickness) and material.family == 'steel'"
    message = "A hole is {measured} across; we punch from {limit}."
    remedy = "Open the hole to {limit}, or say that it is to be drilled."
    ignore_when = "the hole is drilled anyway"
    source = "our punch table, 2026"
    level = "warning"
    since = "1"

The condition speaks of one feature that a part has many of (`hole`), and compares a value of it with a limit:
that comparison gives what is measured and what the limit is. The rest of the condition narrows it. Or it speaks
of the part alone: `part.mass > 2 kg`.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast, get_args

from lintsvc.model.choices import PROCESSES
from lintsvc.model.finding import LEVELS, Cost
from lintsvc.model.meant import meant
from lintsvc.model.source import Source, SourceKind
from lintsvc.model.toml_lines import key_lines, line_of
from lintsvc.rulebook.limit_rules.expression import (
    Comparison,
    ExpressionError,
    Node,
    comparison,
    conjuncts,
    parse,
)
from lintsvc.rulebook.limit_rules.features import FEATURES, FUNCTIONS, Feature, names
from lintsvc.rulebook.limit_rules.kept import read_toml
from lintsvc.rulebook.limit_rules.kinds import TRUTH
from lintsvc.rulebook.limit_rules.run import Condition, hits, needs_of, speaks_of
from lintsvc.rulebook.rule import Hit, Rule, RuleError, rule, rule_of

if TYPE_CHECKING:
    from lintsvc.rulebook.checked import Checked

NEEDED = ("title", "faulty_when", "message", "remedy", "ignore_when", "source", "level", "since")
OPTIONAL = ("why", "process", "caution", "cost")


def load_limit_rule(path: Path, pack: str) -> Rule:
    """Return the rule in a file. Raises RuleError naming file, line and the valid words."""
    return _Reader(path, pack).rule()


class _Reader:
    def __init__(self, path: Path, pack: str) -> None:
        self.path = path
        self.id = f"{pack}/{path.stem.replace('_', '-')}"
        try:
            text = path.read_text("utf-8")
            self.data: Mapping[str, Any] = read_toml(text)
        except OSError as error:
            raise RuleError(f"{path}: cannot be opened: {error.strerror}") from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise RuleError(f"{path}: {error}") from None
        self.text = text

    def wrong(self, key: str, why: str) -> RuleError:
        """Return an error at a key's line."""
        line = line_of((key,), key_lines(self.text))
        return RuleError(f"{self.path}, line {line}: {why}" if line else f"{self.path}: {why}")

    def rule(self) -> Rule:
        self._check_keys()
        condition = self._condition()
        source = self._source()
        feature = condition.feature
        kind = feature.kind if feature else "any"
        process = self._word("process", PROCESSES, "sheet" if kind == "sheet" else "powder-bed" if feature else "any")
        words = self._words(condition)
        for key in ("message", "remedy"):
            self._check_words(key, words)

        def check(part: Checked) -> Iterator[Hit]:
            yield from hits(part, condition, source)

        # For `fixtures`: the same rule with its limit moved.
        check.moved = lambda factor: lambda part: hits(part, condition, source, factor)  # type: ignore[attr-defined]
        check.__doc__ = self._docstring(condition)
        sign = condition.compared.sign
        try:
            made = rule(
                id=self.id,
                process=cast(Any, process),
                kind=cast(Any, kind),
                level=cast(Any, self._word("level", LEVELS)),
                since=self._text("since"),
                message=self._text("message"),
                remedy=self._text("remedy"),
                sources=(source,),
                worse="below" if sign in ("<", "<=") else "above",
                cost=cast(Any, self._word("cost", get_args(Cost), "scrap")),
                needs=needs_of(condition),
                caution=self._text("caution", ""),
                about=feature.about if feature else None,
            )(check)
        except RuleError as error:
            raise self.wrong("level" if "warning at most" in str(error) else "title", str(error)) from None
        found = rule_of(made)
        assert found is not None  # `rule` has just put it there
        return found

    def _check_keys(self) -> None:
        for key in self.data:
            if key not in NEEDED + OPTIONAL:
                raise self.wrong(key, f"there is no key {key!r} here; {meant(key, NEEDED + OPTIONAL)}")
        missing = [x for x in NEEDED if x not in self.data]
        if missing:
            raise RuleError(f"{self.path}: {missing[0]} is missing; a limit rule needs {', '.join(NEEDED)}")

    def _text(self, key: str, default: str | None = None) -> str:
        value = self.data.get(key, default)
        if not isinstance(value, str) or (not value.strip() and default is None):
            raise self.wrong(key, f"{key} is a text")
        return value.strip()

    def _word(self, key: str, allowed: tuple[str, ...], default: str | None = None) -> str:
        value = self.data.get(key, default)
        if value not in allowed and value != default:
            raise self.wrong(key, f"{value!r} is no {key}; it may be {', '.join(allowed)}")
        return str(value)

    def _source(self) -> Source:
        value = self.data["source"]
        if isinstance(value, str) and value.strip():
            return Source("shop", value.strip())
        kinds = get_args(SourceKind)
        whole = isinstance(value, dict) and set(value) == {"kind", "text"}
        if whole and value["kind"] in kinds and isinstance(value["text"], str):
            return Source(value["kind"], value["text"])
        raise self.wrong(
            "source", f'source is a text (your own word), or {{kind = "…", text = "…"}}; kinds are {", ".join(kinds)}'
        )

    # ------------------------------------------------------------------ the condition

    def _condition(self) -> Condition:
        try:
            whole = parse(self._text("faulty_when"), names(), FUNCTIONS)
        except ExpressionError as error:
            raise self.wrong("faulty_when", str(error)) from None
        if whole.kind != TRUTH:
            raise self.wrong("faulty_when", f"it is {whole.kind.name}; it must compare something: hole.diameter < 3 mm")
        feature = self._feature(whole)
        about = feature.name if feature else self._single(whole)
        parts = conjuncts(whole)
        pairs = ((x, comparison(x, about)) for x in parts)
        chosen, compared = next(((x, found) for x, found in pairs if found is not None), (None, None))
        if compared is None:
            raise self.wrong("faulty_when", f"one part of it must compare a value of {about} with a limit, by < or >")
        rest = [x for x in parts if x is not chosen]
        if feature is not None and feature.within:
            self._check_search(feature, compared)
        mine = [x for x in rest if feature is not None and speaks_of(x, feature.name)]
        return Condition(feature, compared, tuple(x for x in rest if x not in mine), tuple(mine))

    def _feature(self, whole: Node) -> Feature | None:
        found = [x for x in FEATURES if speaks_of(whole, x.name)]
        if len(found) > 1:
            several = " and ".join(x.name for x in found)
            raise self.wrong("faulty_when", f"it speaks of {several}; a rule is about one of them")
        return found[0] if found else None

    def _single(self, whole: Node) -> str:
        for name in ("part", "sheet", "choice", "material"):
            if speaks_of(whole, name):
                return name
        raise self.wrong("faulty_when", "it speaks of nothing in the part; name a feature such as hole.diameter")

    def _check_search(self, feature: Feature, compared: Comparison) -> None:
        """A feature that is looked for up to a limit needs a limit that is known before."""
        down = compared.sign in ("<", "<=")
        if down != (feature.within == "below"):
            sign = "<" if feature.within == "below" else ">"
            raise self.wrong("faulty_when", f"{feature.name} is {feature.what}: it can only be compared by {sign}")
        main = next(iter(feature.attributes))
        if compared.measured.text != f"{feature.name}.{main}" or speaks_of(compared.limit, feature.name):
            raise self.wrong(
                "faulty_when",
                f"{feature.name} is {feature.what}: its first comparison must be {feature.name}.{main} "
                "with a limit that does not depend on it",
            )

    # ------------------------------------------------------------------ words

    def _words(self, condition: Condition) -> set[str]:
        feature = condition.feature
        return {"measured", "limit", "count", *(feature.attributes if feature else ())}

    def _check_words(self, key: str, known: set[str]) -> None:
        try:
            used = {x for _, x, _, _ in string.Formatter().parse(self._text(key)) if x is not None}
        except ValueError as error:
            raise self.wrong(key, f"{error}; a brace that is meant is written twice") from None
        unknown = sorted(used - known)
        if unknown:
            raise self.wrong(key, f"{{{unknown[0]}}} means nothing here; it may be {', '.join(sorted(known))}")

    def _docstring(self, condition: Condition) -> str:
        compared = condition.compared
        what = condition.feature.what if condition.feature else "the part"
        measured = f"{compared.measured.text}, {what}; faulty when {self._text('faulty_when')}."
        sections = (
            self._text("title"),
            self._text("why", ""),
            f"Measured: {measured}",
            f"Ignore when: {self._text('ignore_when')}",
        )
        # Each on one line: a line of theirs must not read as the head of a section.
        return "\n\n".join(" ".join(x.split()) for x in sections if x)
