"""What a drawn thing is for: cut, bend, engraving or note, by layer, line type and colour.

The rules are data (`flat_roles.toml`); each answer carries its reason, shown in the report. What
nothing speaks about stays a cut; what speaks two ways is `unclear`. Nothing is guessed in silence.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, NamedTuple, get_args

from lintsvc.model.sheet import Role

BUILT_IN = Path(__file__).with_name("flat_roles.toml")
#: Stands in the reason of a cut that a colour might speak against.
TOO_WEAK = "too weak a sign"
_PIECE = re.compile(r"[^\W\d_]+|\d+")
_CAPITAL = re.compile(r"([a-zß-öø-ÿ])([A-ZÀ-ÖØ-Þ])")


@dataclass(frozen=True, slots=True)
class _Words:
    role: Role
    phrases: tuple[tuple[str, ...], ...]
    why: str
    only_straight: bool
    edge_to_edge: bool


@dataclass(frozen=True, slots=True)
class BendWords:
    """Words that say which way a bend goes, how near a text stands to its bend, how near a bend ends to the edge."""

    up: frozenset[str]
    down: frozenset[str]
    beside: frozenset[str]
    near_mm: float
    near_heights: float
    short_mm: float
    short_part: float


class Answer(NamedTuple):
    """A role, why in words (empty: nothing speaks against a cut), and whether both ends must lie on a cut for it."""

    role: Role
    why: str
    edge_to_edge: bool = False


@dataclass(frozen=True)
class RoleRules:
    """The rules of one file, with the answers given so far (a drawing has few kinds and many entities)."""

    layer: tuple[_Words, ...]
    line_type: tuple[_Words, ...]
    colour: dict[str, tuple[Role, str]]
    bend: BendWords
    _known: dict[tuple[str, str, str, bool], Answer] = field(default_factory=dict, repr=False)

    def role(self, layer: str, line_type: str, rgb: str, straight: bool) -> Answer:
        """Return the role of an entity.

        `rgb` as `#rrggbb` or empty; `straight`: it is one straight line and nothing else.

        >>> built_in_rules().role("BEND_UP", "", "", True).role
        'bend'
        >>> built_in_rules().role("0", "CONTINUOUS", "#0000ff", True).role
        'cut'
        """
        key = (layer, line_type, rgb, straight)
        answer = self._known.get(key)
        if answer is None:
            answer = self._decide(*key)
            self._known[key] = answer
        return answer

    @cached_property
    def bend_stems(self) -> tuple[str, ...]:
        """Beginnings of single words for a bend, longest first."""
        single = {x[0].rstrip("*") for rule in self.layer if rule.role == "bend" for x in rule.phrases if len(x) == 1}
        return tuple(sorted(single, key=len, reverse=True))

    def says_bend(self, text: str) -> bool:
        """True for a text, or a layer's name, with a word for a bend anywhere in it."""
        found = pieces(text)
        return any(_holds(found, x) for rule in self.layer if rule.role == "bend" for x in rule.phrases)

    def knows_layer(self, name: str) -> bool:
        """True where a layer's name alone says what its lines are for."""
        return _first(self.layer, name, True) is not None

    def _decide(self, layer: str, line_type: str, rgb: str, straight: bool) -> Answer:
        found = _first(self.layer, layer, straight)
        if found is not None:
            return Answer(found.role, f"{found.why} ({layer})", found.edge_to_edge)
        found = _first(self.line_type, line_type, straight)
        if found is not None:
            return Answer(found.role, f"{found.why} ({line_type})", found.edge_to_edge)
        weak = self.colour.get(rgb)
        if weak is not None and weak[0] != "cut":
            return Answer("cut", f"{weak[1]}; {TOO_WEAK}, so it is taken as a cut")
        return Answer("cut", "")


@lru_cache(maxsize=8)
def load_rules(path: Path) -> RoleRules:
    """Return the rules of a file in the form of `flat_roles.toml`. Raises ValueError for anything else."""
    with path.open("rb") as file:
        table = tomllib.load(file)
    unknown = set(table) - {"layer", "line_type", "colour", "bend"}
    if unknown:
        known = "layer, line_type, colour and bend are known"
        raise ValueError(f"{path.name}: unknown table {sorted(unknown)[0]!r}; {known}")
    colours: dict[str, tuple[Role, str]] = {}
    for entry in table.get("colour", []):
        role = _role(path, entry)
        colours.update({str(x).lower(): (role, str(entry["why"])) for x in entry["colours"]})
    return RoleRules(
        tuple(_words(path, x) for x in table.get("layer", [])),
        tuple(_words(path, x) for x in table.get("line_type", [])),
        colours,
        _bend_words(table["bend"]) if "bend" in table else built_in_rules().bend,
    )


def built_in_rules() -> RoleRules:
    """Return the rules that hold where the user brings none."""
    return load_rules(BUILT_IN)


def pieces(name: str) -> tuple[str, ...]:
    """Return the words and numbers of a layer's name, lower case.

    >>> pieces("BendUp_90-R1")
    ('bend', 'up', '90', 'r', '1')
    """
    return tuple(x.lower() for x in _PIECE.findall(_CAPITAL.sub(r"\1 \2", name)))


def _first(rules: tuple[_Words, ...], name: str, straight: bool) -> _Words | None:
    found = pieces(name)
    if not found:
        return None
    for rule in rules:
        if rule.only_straight and not straight:
            continue
        if any(_holds(found, phrase) for phrase in rule.phrases):
            return rule
    return None


def _holds(found: tuple[str, ...], phrase: tuple[str, ...]) -> bool:
    width = len(phrase)
    runs = (found[i : i + width] for i in range(len(found) - width + 1))
    return any(all(map(_fits, run, phrase)) for run in runs)


def _fits(have: str, want: str) -> bool:
    return have.startswith(want[:-1]) if want.endswith("*") else have == want


def _words(path: Path, entry: dict[str, Any]) -> _Words:
    phrases = tuple(tuple(str(x).lower().split()) for x in entry["words"])
    return _Words(
        _role(path, entry),
        phrases,
        str(entry["why"]),
        bool(entry.get("straight", False)),
        bool(entry.get("edge_to_edge", False)),
    )


def _bend_words(entry: dict[str, Any]) -> BendWords:
    up, down, beside = (frozenset(map(str, entry[x])) for x in ("up", "down", "beside"))
    numbers = (float(entry[x]) for x in ("near_mm", "near_heights", "short_mm", "short_part"))
    return BendWords(up, down, beside, *numbers)


def _role(path: Path, entry: dict[str, Any]) -> Role:
    role: Role = entry["role"]
    if role not in get_args(Role):
        raise ValueError(f"{path.name}: {role!r} is no role; use one of {', '.join(get_args(Role))}")
    return role
