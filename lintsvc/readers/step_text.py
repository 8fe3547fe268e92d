"""STEP as text (ISO 10303-21): is it whole and sound, what does it hold, in which unit.

The kernel that builds the shapes forgives too much: a truncated file or a reference to nothing comes
back as success with fewer shapes, and numbers that are none keep it busy for ever. So the text is
looked at first.
"""

from __future__ import annotations

import re
from collections import Counter

import numpy as np

from lintsvc.model.part import Unreadable
from lintsvc.readers.content import clean_name
from lintsvc.readers.step_kinds import check_kinds
from lintsvc.readers.step_statements import Statements

_AGAIN = "Export or download it again."
_MAX_DEPTH = 64
#: Longest coordinate that is let through to the kernel, in file units, as a power of ten.
_MAX_EXPONENT = 9

_STRING_OR_COMMENT = re.compile(rb"'(?:[^']|'')*'|/\*.*?\*/", re.DOTALL)
_STRING = re.compile(rb"'(?:[^']|'')*'")
_REFERENCE = re.compile(rb"#(\d+)")
_STATEMENT = re.compile(rb"\s*#(\d+)\s*=((?:'(?:[^']|'')*'|[^;'])*);")
_UNIT_NAME = re.compile(rb"_UNIT\s*\(")
#: Part 21 has numbers, strings, references, $, *, .ENUMERATIONS. and TYPE(...); a bare word is none of these.
_BARE_WORD = re.compile(rb"[(,]\s*([-+]?[A-Za-z_]\w*)\s*(?=[,)])")
#: A number that runs into something else is damage.
_RUN_TOGETHER = re.compile(rb"[(,]\s*[-+]?\d(?![\d.]*(?:[Ee][-+]?\d+)?\s*[,)])")
_LARGE = re.compile(rb"E\+?\d\d")
_BIG_POINT = re.compile(rb"CARTESIAN_POINT\s*\(\s*''\s*,\s*\([^)]*?E\+?0*(\d{2,})")
_SI_LENGTH = re.compile(rb"LENGTH_UNIT\s*\(\s*\)")
_SI = re.compile(rb"SI_UNIT\s*\(\s*(?:\.(\w+)\.|\$)\s*,\s*\.METRE\.\s*\)")
_CONVERSION = re.compile(rb"CONVERSION_BASED_UNIT\s*\(\s*'((?:[^']|'')*)'")
_CONTEXT = re.compile(rb"GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\s*\(([^)]*)\)")

_PREFIXES = {b"": "m", b"MILLI": "mm", b"CENTI": "cm", b"MICRO": "micron", b"KILO": "km"}
_NAMES = {"inch": "in", "in": "in", "foot": "ft", "feet": "ft", "ft": "ft", "yard": "yd", "mile": "mile", "mil": "mil",
          "metre": "m", "meter": "m", "millimetre": "mm", "millimeter": "mm", "centimetre": "cm",
          "centimeter": "cm"}  # fmt: skip

_FACES = ("ADVANCED_FACE", "FACE_SURFACE", "FACE")
_SOLIDS = ("MANIFOLD_SOLID_BREP", "BREP_WITH_VOIDS", "FACETED_BREP")


class StepText:
    """The checked text. Raises Unreadable for what no kernel should be given."""

    def __init__(self, data: bytes) -> None:
        begin = data.find(b"ISO-10303-21")
        text = data[begin:]
        if b"/*" in text:
            text = _STRING_OR_COMMENT.sub(lambda x: b" " if x[0][:1] == b"/" else x[0], text)
        #: The file without comments: the kernel crashes on some of those.
        self.plain = text
        text = _STRING.sub(b"''", text)
        if b"'" in text.replace(b"''", b"") or b"/*" in text:
            raise Unreadable("A text in the STEP file is never closed: its quotes are broken.", remedy=_AGAIN)
        start = text.find(b"DATA")
        if start < 0:
            raise Unreadable("The STEP file has no DATA section: it is cut off in its header.", remedy=_AGAIN)
        last = text.rfind(b";")
        #: True where the closing line is there.
        self.closed = b"END-ISO-10303-21" in text[start:]
        if text[start:].count(b"ENDSEC") < 1:
            raise Unreadable("The STEP file ends in the middle of its data: it is cut off.", remedy=_AGAIN)
        self._data = text[start : last + 1]
        #: Lines up to there; texts and comments count as one, so that it may be a little too low.
        self._lines_before = data[:begin].count(b"\n") + text[:start].count(b"\n") + 1
        self._check_nesting()
        self._check_words()
        self._statements = Statements(self._data, self._line_of)
        check_kinds(self._statements)
        names = [x[0].decode("latin-1") if x else "" for x in self._statements.kinds]
        times = np.bincount(self._statements.kind, minlength=len(names)).tolist()
        self.counts: Counter[str] = Counter()
        for name, count in zip(names, times, strict=True):
            self.counts[name] += count

    @property
    def solids(self) -> int:
        """Number of solids that the file defines, each counted once however often it is placed."""
        return sum(self.counts[name] for name in _SOLIDS)

    @property
    def faces(self) -> int:
        """Number of faces that the file defines."""
        return sum(self.counts[name] for name in _FACES)

    @property
    def names_other_files(self) -> bool:
        """True where parts of the assembly are said to lie in other files."""
        return any(name in self.counts for name in ("DOCUMENT_FILE", "EXTERNALLY_DEFINED_ITEM", "EXTERNAL_SOURCE"))

    @property
    def places_parts(self) -> bool:
        """True where the file puts shapes into others: an assembly."""
        return any(name in self.counts for name in ("NEXT_ASSEMBLY_USAGE_OCCURRENCE", "MAPPED_ITEM"))

    def length_units(self) -> tuple[str, ...]:
        """Return the length units of the shapes' contexts, most used first; `?` for one that is not known."""
        found: Counter[str] = Counter()
        units = self._units()
        for context in _CONTEXT.finditer(self._data):
            found.update(unit for x in _REFERENCE.findall(context[1]) if (unit := units.get(int(x))))
        return tuple(unit for unit, _ in found.most_common())

    def _units(self) -> dict[int, str]:
        """The length units that are defined; their names are texts, so they are looked up in the file itself."""
        found = {}
        for match in _UNIT_NAME.finditer(self.plain):
            statement = _STATEMENT.match(self.plain, self.plain.rfind(b";", 0, match.start()) + 1)
            if statement and (unit := _unit(statement[2])):
                found[int(statement[1])] = unit
        return found

    def _line_of(self, at: int) -> str:
        before = self._data.count(b"\n", 0, at)
        return f"line {before + self._lines_before}"

    def _check_nesting(self) -> None:
        # One pass over the bytes, not over brackets in Python: files are large.
        raw = np.frombuffer(self._data, np.uint8)
        step = (raw == ord("(")).astype(np.int8) - (raw == ord(")")).astype(np.int8)
        depth = np.cumsum(step[step != 0], dtype=np.int64)
        if len(depth) == 0:
            return
        if int(depth.max()) > _MAX_DEPTH:
            raise Unreadable(f"The STEP file nests brackets {int(depth.max()):,} deep.", remedy=_AGAIN)
        if int(depth.min()) < 0 or int(depth[-1]) != 0:
            raise Unreadable("The brackets of the STEP file do not match: it is damaged or cut off.", remedy=_AGAIN)

    def _check_words(self) -> None:
        bare = _BARE_WORD.search(self._data)
        if bare:
            word = clean_name(bare[1].decode("latin-1"))
            what = "a number that is none" if re.fullmatch(r"(?i)[-+]?(nan|inf(inity)?)", word) else "a bare word"
            raise Unreadable(f'The STEP file has {what} among its values: "{word[:40]}".', remedy=_AGAIN)
        if run := _RUN_TOGETHER.search(self._data):
            raise Unreadable(
                "Values of the STEP file run into each other: it is damaged.", self._line_of(run.start()), _AGAIN
            )
        if not _LARGE.search(self._data):
            return
        for big in _BIG_POINT.finditer(self._data):
            if len(big[1]) > 4 or int(big[1]) > _MAX_EXPONENT:
                raise Unreadable(
                    f"The STEP file has a point at 1e{int(big[1][:6])}: an impossible size.", remedy="Export it again."
                )


def _unit(statement: bytes) -> str | None:
    """The length unit that a statement defines; None where it defines another kind of unit."""
    if not _SI_LENGTH.search(statement):
        return None
    if conversion := _CONVERSION.search(statement):
        name = conversion[1].decode("latin-1").strip().lower()
        return _NAMES.get(name, "?")
    if si := _SI.search(statement):
        return _PREFIXES.get((si[1] or b"").upper(), "?")
    return "?"
