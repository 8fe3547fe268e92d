"""STL, binary and ASCII. The format has no standard and no unit; a binary file has 84 + 50 n bytes.

The size tells binary from ASCII, not the first word: many programs write "solid" into the
header of a binary file.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.readers.content import bytes_of, clean_name, is_text, not_opened, plain_head, plain_text
from lintsvc.readers.format import Format, ReadOptions
from lintsvc.readers.triangles import MAX_TRIANGLES, Triangles, body_part, too_many

_HEADER = 84
_FACET = np.dtype([("normal", "<f4", (3,)), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])
#: ASCII is cut into lots of this many bytes: whole lots become token lists, so this bounds the memory.
_LOT = 4 * 2**20
_TOKENS = 21
_WORDS = ((0, b"facet"), (1, b"normal"), (5, b"outer"), (6, b"loop"), (7, b"vertex"), (11, b"vertex"),
          (15, b"vertex"), (19, b"endloop"), (20, b"endfacet"))  # fmt: skip
_NUMBERS = [i for i in range(8, 19) if i not in (11, 15)]


#: Five times as long as the same triangles in binary; more would take longer to read than anybody waits.
_MAX_ASCII_BYTES = 160 * 2**20


def _is_exact(head: bytes, size: int) -> bool:
    return len(head) >= _HEADER and size == _HEADER + 50 * int(struct.unpack_from("<I", head, 80)[0])


def _is_ascii(head: bytes) -> bool:
    text = plain_head(head).lstrip()
    return bool(re.match(rb"(?i)solid(?=[\s]|$)", text)) and is_text(text)


def _claims(head: bytes, size: int) -> bool:
    return _is_exact(head, size) or _is_ascii(head)


def _claims_damaged(head: bytes, size: int) -> bool:
    """A binary STL whose count and size disagree: binary, and its first facets hold sensible numbers."""
    if size < _HEADER + 50 or (is_text(head[:_HEADER]) and is_text(head)):
        return False
    first = np.frombuffer(head, _FACET, min(4, (len(head) - _HEADER) // 50), _HEADER)
    return len(first) > 0 and _sensible(first)


def _sensible(facets: NDArray[Any]) -> bool:
    """Facets have a normal of length zero or one and coordinates of a part."""
    with np.errstate(over="ignore", invalid="ignore"):
        length = np.linalg.norm(facets["normal"].astype(np.float64), axis=1)
        corner = np.abs(facets["corner"])
        # Random bytes read as float32 are mostly tiny, huge or no numbers.
        fine = np.isfinite(corner) & (corner < 1e7) & ((corner == 0) | (corner > 1e-12))
    return bool((np.abs(length * (length - 1.0)) < 0.05).all() and fine.all() and corner.any())


def read(path: Path, options: ReadOptions) -> Part:
    """Read an STL file. Raises Unreadable."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEADER)
            size = file.seek(0, 2)
    except OSError as error:
        raise not_opened(error) from error
    if _is_exact(head, size) or not _is_ascii(head):
        return _read_binary(path, head, size, options)
    return _read_ascii(path, options)


def _read_binary(path: Path, head: bytes, size: int, options: ReadOptions) -> Part:
    (stated,) = struct.unpack_from("<I", head, 80)
    held, rest = divmod(size - _HEADER, 50)
    notes: list[ReadNote] = []
    count = stated
    if stated > held:
        raise Unreadable(
            f"The binary STL says it has {stated:,} triangles but holds {held:,}: cut off, or its count is wrong.",
            f"byte {size}",
            "Export or download it again.",
        )
    if max(held, stated) > MAX_TRIANGLES and (rest == 0 or stated > MAX_TRIANGLES):
        raise too_many(max(held, stated))
    if stated < held:
        more = np.fromfile(path, _FACET, min(held - stated, 1000), offset=_HEADER + 50 * stated)
        if rest == 0 and _sensible(more):
            count = held
            text = f"The file says it has {stated:,} triangles but holds {held:,}; all {held:,} were read."
        else:
            extra = size - _HEADER - 50 * stated
            text = f"{extra:,} bytes after the last of {stated:,} triangles are no part of the STL and were left out."
        notes.append(ReadNote("recovered", text))
    elif rest:
        notes.append(ReadNote("recovered", f"{rest} bytes after the last triangle were left out."))
    if count == 0:
        raise Unreadable("The binary STL holds no triangles.", "byte 80", "Export the body again.")
    vertices = np.empty((count, 3, 3), np.float32)
    lot = 200_000
    with path.open("rb") as file:
        file.seek(_HEADER)
        for start in range(0, count, lot):
            # In lots: the records are as large again as the corners kept of them.
            facets = np.fromfile(file, _FACET, min(lot, count - start))
            if len(facets) != min(lot, count - start):
                raise Unreadable("The STL file became shorter while it was read.", remedy="Try again.")
            vertices[start : start + len(facets)] = facets["corner"]
    found = Triangles(vertices.reshape(-1, 3), None, single_precision=True)
    return body_part(found, "STL", options, notes=notes)


def _read_ascii(path: Path, options: ReadOptions) -> Part:
    data = plain_text(bytes_of(path, _MAX_ASCII_BYTES, "STL (text)"))
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    corners: list[NDArray[np.float64]] = []
    names: list[str] = []
    counts: list[int] = []
    notes: list[ReadNote] = []
    total = 0
    for name, start, end, closed in _solids(data, notes):
        before = total
        for lot in _lots(data, start, end):
            points = _facets(lot, total)
            corners.append(points)
            total += len(points) // 3
            if total > MAX_TRIANGLES:
                raise too_many(total)
        if not closed:
            notes.append(ReadNote("recovered", f'The solid "{name}" is not closed by "endsolid".'))
        names.append(name)
        counts.append(total - before)
    vertices = np.concatenate(corners) if corners else np.empty((0, 3))
    several = len(names) > 1
    found = Triangles(
        vertices,
        None,
        face_object=np.repeat(np.arange(len(names), dtype=np.int32), counts) if several else None,
        object_names=tuple(names) if several else (),
    )
    return body_part(found, "STL", options, notes=notes)


_SOLID_LINE = re.compile(rb"(?im)^[ \t]*(end[ \t]*)?solid\b([^\n]*)$")


def _solids(data: bytes, notes: list[ReadNote]) -> Iterator[tuple[str, int, int, bool]]:
    """Yield name, first and last byte of the facets, and whether endsolid closes them, for each solid."""
    open_name: str | None = None
    start = last = 0
    for line in _SOLID_LINE.finditer(data):
        if line[1] is None:
            if open_name is not None:
                yield open_name, start, line.start(), False
            elif data[last : line.start()].strip():
                break
            open_name, start = clean_name(line[2].decode("utf-8", "replace").strip()), line.end()
        elif open_name is not None:
            yield open_name, start, line.start(), True
            open_name, last = None, line.end()
    if open_name is not None:
        yield open_name, start, len(data), False
    elif data[last:].strip():
        extra = len(data) - last
        notes.append(ReadNote("recovered", f'{extra:,} bytes after the last "endsolid" are no STL and were left out.'))


def _lots(data: bytes, start: int, end: int) -> Iterator[bytes]:
    """Cut the facets of a solid into lots that end with a facet."""
    while start < end:
        stop = end
        if end - start > _LOT:
            cut = max(data.rfind(b"endfacet", start, start + _LOT), data.rfind(b"ENDFACET", start, start + _LOT))
            stop = cut + 8 if cut > 0 else end
            if stop - start > 4 * _LOT:
                raise Unreadable("The ASCII STL holds megabytes without one whole facet.", f"byte {start}")
        yield data[start:stop]
        start = stop


def _facets(lot: bytes, before: int) -> NDArray[np.float64]:
    """Return (3 k, 3) corners of the k facets of a lot. `before`: facets ahead of it, for the error's place."""
    tokens = lot.split()
    if not tokens:
        return np.empty((0, 3))
    regular = len(tokens) % _TOKENS == 0 and b"_" not in lot
    if regular:
        for place, word in _WORDS:
            words = set(tokens[place::_TOKENS])
            if words != {word} and {x.lower() for x in words} != {word}:
                regular = False
                break
    if regular:
        columns = np.empty((len(tokens) // _TOKENS, 9))
        try:
            for column, place in enumerate(_NUMBERS):
                columns[:, column] = list(map(float, tokens[place::_TOKENS]))
        except ValueError:
            regular = False
        else:
            return columns.reshape(-1, 3)
    raise _irregular(tokens, before)


def _irregular(tokens: list[bytes], before: int) -> Unreadable:
    """Find the first facet that is not as it should be, and say how."""
    words = dict(_WORDS)
    for start in range(0, len(tokens), _TOKENS):
        facet = tokens[start : start + _TOKENS]
        where = f"facet {before + start // _TOKENS}"
        for place, token in enumerate(facet):
            last = start + place == len(tokens) - 1
            shown = clean_name(token[:40].decode("utf-8", "replace"))
            if place in words:
                if token.lower() == words[place]:
                    continue
                if place == 19 and token.lower() == b"vertex":
                    return Unreadable(
                        "A facet has more than three corners; STL facets are triangles.", where, "Export it again."
                    )
                want = words[place].decode()
                if last and want.startswith(shown.lower()):
                    return _cut_off(where)
                return Unreadable(f'The ASCII STL has "{shown}" where "{want}" belongs.', where, "Export it again.")
            try:
                if b"_" in token:
                    raise ValueError
                float(token)
            except ValueError:
                if last:
                    return _cut_off(where)
                if token.lower() in words.values():
                    return Unreadable(
                        f'The ASCII STL has "{shown}" where a number belongs.',
                        where,
                        "Export it again, or as binary STL.",
                    )
                hint = " (decimal points are wanted, not commas)" if re.fullmatch(rb"[-+]?\d+,\d*", token) else ""
                return Unreadable(f'"{shown}" is no number{hint}.', where, "Export it again, or as binary STL.")
        if len(facet) < _TOKENS:
            return _cut_off(where)
    return Unreadable("The ASCII STL holds an underscore where a number belongs.", f"after facet {before}")


def _cut_off(where: str) -> Unreadable:
    return Unreadable("The ASCII STL ends in the middle of a facet: it is cut off.", where, "Export it again.")


FORMAT = Format("STL", (".stl",), _claims, read)
DAMAGED_BINARY = Format("STL", (".stl",), _claims_damaged, read)
