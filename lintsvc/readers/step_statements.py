"""The definitions of a STEP text (ISO 10303-21) and the references between them, as arrays.

A large file has a million references; they are found and held against each other without a loop over them.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.part import Unreadable

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_AGAIN = "Export or download it again."
#: More digits are no number of a definition, and would not fit into 64 bits.
_MAX_DIGITS = 18
#: The application protocols have some two thousand names.
_MAX_KINDS = 20_000
_WORD = re.compile(rb"[A-Za-z_]\w*")
_PART = re.compile(rb"([A-Za-z_]\w*)\s*\(")


@dataclass(frozen=True, eq=False)
class Pieces:
    """Stretches of the text with the references in them: those of piece i are `first[i]` and the next `count[i]`."""

    owner: Ints
    first: Ints
    count: Ints


class Statements:
    """Definitions in the order of the text, each `#number = body;`.

    `number`, `begin`, `end`: of each definition, its body from `begin` up to `end`, where its semicolon is.
    `kind`: which of `kinds` it is; a definition that is several things at once has several names.
    `to`: of each reference in the bodies, the index of the definition that it refers to.
    """

    def __init__(self, data: bytes, line_of: Callable[[int], str]) -> None:
        """`data`: without comments, and with every text empty. Raises Unreadable for damage, and says the line."""
        self.data = data
        self.raw = np.frombuffer(data, np.uint8)
        self._line_of = line_of
        self._solid = np.flatnonzero((self.raw > 32) | (self.raw < 9) | ((self.raw > 13) & (self.raw < 32)))
        marks = self.every(b"#")
        value, after = self._numbers(marks)
        self._check_neighbours(marks, after)
        defines = self.raw[after] == ord("=")
        self.number, self.begin = value[defines], after[defines] + 1
        semicolons = self.every(b";")
        self.end = semicolons[np.searchsorted(semicolons, self.begin)]
        if (cut := np.flatnonzero(self.begin[1:] <= self.end[:-1])).size:
            self._damaged(int(self.begin[cut[0] + 1]))
        self._at = marks[~defines]
        self.to = self._resolved(value[~defines])
        self.kinds: list[tuple[bytes, ...]] = []
        self.kind = self._named()

    def every(self, character: bytes) -> Ints:
        """Places of a character."""
        return np.flatnonzero(self.raw == character[0])

    def inside(self, places: Ints) -> Ints:
        """For each definition, how many of these sorted places lie in its body."""
        return np.asarray(np.searchsorted(places, self.end) - np.searchsorted(places, self.begin))

    def next_solid(self, places: Ints) -> Ints:
        """The first character that is no blank at or after each place."""
        index = np.searchsorted(self._solid, places)
        return self._solid[np.minimum(index, len(self._solid) - 1)]

    def pieces(self, name: bytes) -> Pieces:
        """Where a name stands: all definitions of that name, and parts of definitions that are several things."""
        plain = {kind for kind, names in enumerate(self.kinds) if names == (name,)}
        owner = np.flatnonzero(np.isin(self.kind, list(plain)))
        places = [(owner, self.begin[owner], self.end[owner])]
        for kind, names in enumerate(self.kinds):
            if len(names) > 1 and name in names:
                rows = np.flatnonzero(self.kind == kind).tolist()
                spots = [(i, a, b) for i in rows for part, a, b in self._parts(i) if part == name]
                columns = np.array(spots, np.int64).reshape(-1, 3)
                places.append((columns[:, 0], columns[:, 1], columns[:, 2]))
        owner, low, high = (np.concatenate(x) for x in zip(*places, strict=True))
        first = np.searchsorted(self._at, low)
        return Pieces(owner, first, np.searchsorted(self._at, high) - first)

    def _numbers(self, marks: Ints) -> tuple[Ints, Ints]:
        """The numbers after the marks, and the first characters that are no blank after those."""
        raw, last = self.raw, len(self.raw) - 1
        value = np.zeros(len(marks), np.int64)
        at = marks + 1
        going = np.arange(len(marks))
        for count in range(_MAX_DIGITS + 1):
            digit = raw[np.minimum(at[going], last)].astype(np.int64) - ord("0")
            going, digit = going[(digit >= 0) & (digit < 10)], digit[(digit >= 0) & (digit < 10)]
            if count == 0 and len(going) < len(marks):
                self._damaged(int(marks[np.setdiff1d(np.arange(len(marks)), going)[0]]))
            if not len(going):
                break
            value[going] = value[going] * 10 + digit
            at[going] += 1
        else:
            self._damaged(int(marks[going[0]]))
        return value, self.next_solid(at)

    def _check_neighbours(self, marks: Ints, after: Ints) -> None:
        """References and texts stand between brackets, commas and semicolons; the kernel crashes on some others."""
        quotes = self.every(b"'")
        starts, beyond = quotes[::2], self.next_solid(quotes[1::2] + 1)
        for places in (marks, starts):
            before = self._solid[np.maximum(np.searchsorted(self._solid, places) - 1, 0)]
            self._among(places, before, b"(,;")
        self._among(marks, after, b",)=")
        self._among(starts, beyond, b",)")

    def _among(self, places: Ints, neighbours: Ints, allowed: bytes) -> None:
        wrong = ~np.isin(self.raw[neighbours], list(allowed))
        if wrong.any():
            self._damaged(int(places[np.argmax(wrong)]))

    def _damaged(self, at: int) -> None:
        raise Unreadable("Values of the STEP file run into each other: it is damaged.", self._line_of(at), _AGAIN)

    def _resolved(self, named: Ints) -> Ints:
        order = np.argsort(self.number, kind="stable")
        known = self.number[order]
        if (twice := known[1:][np.diff(known) == 0]).size:
            raise Unreadable("The STEP file defines one number twice.", f"#{twice[0]}", _AGAIN)
        place = np.minimum(np.searchsorted(known, named), max(len(known) - 1, 0))
        lost = known[place] != named if len(known) else np.ones(len(named), bool)
        if lost.any():
            missing = np.unique(named[lost])
            many = "a definition" if len(missing) == 1 else f"{len(missing):,} definitions"
            raise Unreadable(
                f"The STEP file refers to {many} that it does not hold: parts of it are lost.",
                f"#{missing[0]}",
                _AGAIN,
            )
        to = order[place] if len(known) else place
        own = (self._at >= self.begin[to]) & (self._at < self.end[to])
        if own.any():
            raise Unreadable(
                "A definition of the STEP file contains itself.", f"#{self.number[to[np.argmax(own)]]}", _AGAIN
            )
        return np.asarray(to)

    def _named(self) -> Ints:
        """The kind of each definition by its names, in capitals; no name where none can be read."""
        brackets = self.every(b"(")
        brackets = np.append(brackets, len(self.raw))
        stop = np.minimum(brackets[np.searchsorted(brackets, self.begin)], self.end)
        known: dict[bytes, int] = {}
        numbers: dict[tuple[bytes, ...], int] = {}
        data, found = self.data, []
        for row, (begin, end) in enumerate(zip(self.begin.tolist(), stop.tolist(), strict=True)):
            name = data[begin:end].strip()
            # Several things at once: each such body is looked at, but most are alike.
            key = name or data[begin : self.end[row]]
            if key not in known:
                fits = _WORD.fullmatch(name)
                parts = tuple(x for x, _, _ in self._parts(row)) or (b"",)
                names = (name.upper() if fits else b"",) if name else parts
                known[key] = numbers.setdefault(names, len(numbers))
                if len(numbers) > _MAX_KINDS:
                    raise Unreadable("The STEP file has more kinds of definitions than there are.", remedy=_AGAIN)
            found.append(known[key])
        self.kinds = list(numbers)
        return np.array(found, np.int64)

    def _parts(self, row: int) -> list[tuple[bytes, int, int]]:
        """The named parts of a definition that is several things at once, with their places."""
        begin, end = int(self.begin[row]), int(self.end[row])
        starts = list(_PART.finditer(self.data, begin, end))
        # None at all: a body that holds nothing with a name.
        ends = [x.start() for x in starts[1:]] + [end] * bool(starts)
        return [(x[1].upper(), x.end() - 1, last) for x, last in zip(starts, ends, strict=True)]
