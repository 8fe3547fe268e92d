"""PLY, ASCII and binary of both byte orders: a header that declares elements, then their rows. No unit."""

from __future__ import annotations

import io
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.readers.content import MAX_FILE_BYTES, bytes_of, clean_name
from lintsvc.readers.fans import fan
from lintsvc.readers.format import Format, ReadOptions
from lintsvc.readers.triangles import MAX_TRIANGLES, Triangles, body_part, too_many

_MAX_HEADER = 64 * 1024
#: Text takes long to parse.
_MAX_ASCII_BYTES = 100 * 2**20
_LOT = 4 * 2**20
_TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
    "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
    "double": "f8", "float64": "f8",
}  # fmt: skip
_INDEX_NAMES = ("vertex_indices", "vertex_index")


@dataclass(frozen=True)
class _Property:
    name: str
    kind: str
    #: Type of the length in front of a list; empty for a plain number.
    length: str = ""


@dataclass
class _Element:
    name: str
    count: int
    properties: list[_Property] = field(default_factory=list)

    @property
    def least_bytes(self) -> int:
        return sum(int((p.length or p.kind)[1]) for p in self.properties)


def _claims(head: bytes, size: int) -> bool:
    return head[:4] in (b"ply\n", b"ply\r")


def read(path: Path, options: ReadOptions) -> Part:
    """Read a PLY file. Raises Unreadable."""
    data = bytes_of(path, MAX_FILE_BYTES, "PLY")
    order, elements, start = _header(data)
    vertices: NDArray[Any] | None = None
    corner: NDArray[np.int64] | None = None
    sizes = np.empty(0, np.int64)
    notes: list[ReadNote] = []
    _plausible(elements, len(data) - start, order)
    rows = _ascii(data, start, elements) if order == "a" else _binary(data, start, elements, order)
    for element, columns in rows:
        if element.name == "vertex":
            missing = [axis for axis in "xyz" if axis not in columns or isinstance(columns[axis], tuple)]
            if missing:
                raise Unreadable(f"The vertices of the PLY have no {', '.join(missing)}.", "header", "Export it again.")
            wide = any(p.kind == "f8" for p in element.properties if p.name in ("x", "y", "z"))
            vertices = np.stack([np.asarray(columns[axis]) for axis in "xyz"], axis=1)
            vertices = vertices.astype(np.float64 if wide or order == "a" else np.float32)
        elif element.name == "face":
            name = next((n for n in _INDEX_NAMES if n in columns), None)
            found = columns[name] if name else None
            if not isinstance(found, tuple):
                raise Unreadable("The faces of the PLY have no vertex_indices.", "header", "Export it again.")
            corner, sizes = found
        elif element.name == "tristrips":
            raise Unreadable("The PLY holds triangle strips.", "header", "Export it with faces.")
        elif element.count:
            text = f"{element.count:,} {clean_name(element.name)} rows of the PLY were left out."
            notes.append(ReadNote("ignored", text, count=element.count))
    if vertices is None:
        raise Unreadable("The PLY holds no vertices.", "header", "Export the body again.")
    if corner is None or len(sizes) == 0:
        raise Unreadable(
            f"The PLY holds {len(vertices):,} points and no faces: a point cloud, not a body.",
            remedy="Export the body as triangles.",
        )
    if int(sizes.min()) < 3:
        raise Unreadable(
            "A face of the PLY has fewer than three corners.", f"face {int(sizes.argmin())}", "Export it again."
        )
    triangles = int((sizes - 2).sum())
    if triangles > MAX_TRIANGLES:
        raise too_many(triangles)
    if triangles > len(sizes):
        several = int((sizes > 3).sum())
        notes.append(ReadNote("info", f"{several:,} faces with more than three corners were split into triangles."))
    faces, _ = fan(corner, sizes)
    return body_part(
        Triangles(vertices, faces, single_precision=vertices.dtype == np.float32), "PLY", options, notes=notes
    )


def _header(data: bytes) -> tuple[str, list[_Element], int]:
    """Return byte order (a, < or >), the elements, and where the rows begin."""
    head = data[:_MAX_HEADER]
    end = head.find(b"end_header")
    if end < 0:
        raise Unreadable("The header of the PLY has no end.", f"first {len(head):,} bytes", "Export it again.")
    start = end + len(b"end_header")
    # The line may end with LF, CR LF or CR; after a lone CR the rows begin at once.
    start += 2 if data[start : start + 2] == b"\r\n" else 1
    order = ""
    elements: list[_Element] = []
    for number, line in enumerate(head[:end].decode("latin-1").splitlines(), 1):
        words = line.split()
        if number == 1 or not words or words[0] in ("comment", "obj_info"):
            continue
        try:
            order, element = _header_line(words, order, elements)
        except (ValueError, KeyError, IndexError):
            shown = clean_name(line[:60])
            raise Unreadable(f'The header of the PLY has a bad line: "{shown}".', f"line {number}") from None
        if element is not None:
            elements.append(element)
    if not order:
        raise Unreadable("The header of the PLY states no format.", "header", "Export it again.")
    return order, elements, start


def _header_line(words: list[str], order: str, elements: list[_Element]) -> tuple[str, _Element | None]:
    if words[0] == "format":
        return {"ascii": "a", "binary_little_endian": "<", "binary_big_endian": ">"}[words[1]], None
    if words[0] == "element":
        count = int(words[2])
        if count < 0 or any(e.name == words[1] for e in elements):
            raise ValueError
        return order, _Element(words[1], count)
    if words[0] != "property":
        raise ValueError
    if words[1] == "list":
        made = _Property(words[4], _TYPES[words[3]], _TYPES[words[2]])
        if made.length[0] == "f" or (made.name in _INDEX_NAMES and made.kind[0] == "f"):
            raise ValueError
    else:
        made = _Property(words[2], _TYPES[words[1]])
    if any(p.name == made.name for p in elements[-1].properties):
        raise ValueError
    elements[-1].properties.append(made)
    return order, None


def _plausible(elements: list[_Element], have: int, order: str) -> None:
    """Refuse counts that the file is too short for, before anything is set aside for them."""
    # In ASCII each number takes a digit and a separator, and the last row may end without one.
    need = sum(e.count * (2 * len(e.properties) if order == "a" else e.least_bytes) for e in elements) - (order == "a")
    if need > have:
        counts = ", ".join(f"{e.count:,} {clean_name(e.name)}" for e in elements)
        raise Unreadable(
            f"The PLY says it holds {counts}, but only {have:,} bytes follow: it is cut off.",
            "header",
            "Export or download it again.",
        )
    for e in elements:
        if e.count > (3 if e.name == "vertex" else 1) * MAX_TRIANGLES:
            raise too_many(e.count // (3 if e.name == "vertex" else 1))
    if order == "a" and have > _MAX_ASCII_BYTES:
        raise Unreadable(
            f"The ASCII PLY has more than {_MAX_ASCII_BYTES // 2**20} MiB.", remedy="Export it as binary PLY."
        )


#: A column: numbers one a row, or for a list all its numbers in a row and the length of each.
_Column = Any
_Rows = Iterator[tuple[_Element, dict[str, _Column]]]


def _cut(element: _Element) -> Unreadable:
    return Unreadable(
        f"The PLY ends before all its {element.count:,} {clean_name(element.name)} rows: it is cut off.",
        remedy="Export or download it again.",
    )


def _binary(data: bytes, start: int, elements: list[_Element], order: str) -> _Rows:
    for element in elements:
        if not any(p.length for p in element.properties):
            kind = np.dtype([(p.name, order + p.kind) for p in element.properties])
            if start + element.count * kind.itemsize > len(data):
                raise _cut(element)
            rows = np.frombuffer(data, kind, element.count, start)
            start += element.count * kind.itemsize
            yield element, {p.name: rows[p.name] for p in element.properties}
            continue
        columns, start = _binary_lists(data, start, element, order)
        yield element, columns


def _binary_lists(data: bytes, start: int, element: _Element, order: str) -> tuple[dict[str, _Column], int]:
    """Read rows with lists: at once where all lists are as long as those of the first row, else row by row."""
    lists = [p for p in element.properties if p.length]
    if element.count == 0:
        return {p.name: (np.empty(0, np.int64), np.empty(0, np.int64)) for p in lists}, start
    first = _row_at(data, start, element, order)
    fields: list[tuple[str, str, tuple[int, ...]]] = []
    for i, p in enumerate(element.properties):
        fields += [(f"length {i}", order + p.length, ())] if p.length else []
        fields.append((f"value {i}", order + p.kind, (first[i][1],) if p.length else ()))
    kind = np.dtype(fields)
    end = start + element.count * kind.itemsize
    if end <= len(data):
        rows = np.frombuffer(data, kind, element.count, start)
        lengths = {i: rows[f"length {i}"] for i, p in enumerate(element.properties) if p.length}
        if all(bool((length == first[i][1]).all()) for i, length in lengths.items()):
            return {
                element.properties[i].name: (rows[f"value {i}"].ravel(), length.astype(np.int64))
                for i, length in lengths.items()
            }, end
    starts = {i: array("q") for i, p in enumerate(element.properties) if p.length}
    sizes = {i: array("q") for i in starts}
    for _ in range(element.count):
        row = _row_at(data, start, element, order)
        for i in starts:
            starts[i].append(row[i][0])
            sizes[i].append(row[i][1])
        start = row[-1][2]
    raw = np.frombuffer(data, np.uint8)
    return {
        element.properties[i].name: _gather(raw, starts[i], sizes[i], order + element.properties[i].kind)
        for i in starts
    }, start


def _row_at(data: bytes, start: int, element: _Element, order: str) -> list[tuple[int, int, int]]:
    """For each property of the row that begins at `start`: where its values begin, how many, where they end."""
    found: list[tuple[int, int, int]] = []
    for p in element.properties:
        width, length = int(p.kind[1]), 1
        if p.length:
            ahead = int(p.length[1])
            field_bytes = data[start : start + ahead]
            length = int.from_bytes(field_bytes, "little" if order == "<" else "big", signed=p.length[0] == "i")
            start += ahead
            if length < 0 or start + length * width > len(data):
                raise Unreadable(
                    f"A list of the PLY says it has {length:,} entries, more than the file holds.", f"byte {start}"
                )
        end = start + length * width
        if end > len(data):
            raise _cut(element)
        found.append((start, length, end))
        start = end
    return found


def _gather(raw: NDArray[np.uint8], starts: array[int], sizes: array[int], kind: str) -> _Column:
    """Return all values of a list property in a row, and their count in each row."""
    begin, count = np.array(starts, np.int64), np.array(sizes, np.int64)
    width = np.dtype(kind).itemsize
    values = np.empty(int(count.sum()), kind)
    into = np.cumsum(count) - count
    for length in np.unique(count).tolist():
        chosen = count == length
        at = begin[chosen][:, None] + np.arange(length * width)
        values[into[chosen][:, None] + np.arange(length)] = raw[at].view(kind)
    return values, count


def _ascii(data: bytes, start: int, elements: list[_Element]) -> _Rows:
    text = data[start:]
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    file = io.BytesIO(text)
    pending: list[bytes] = []
    for element in elements:
        lots: list[dict[str, _Column]] = []
        done = 0
        while done < element.count:
            if not pending:
                pending = [line for line in file.readlines(_LOT) if not line.isspace()]
                if not pending:
                    raise _cut(element)
            take, pending = pending[: element.count - done], pending[element.count - done :]
            lots.append(_ascii_rows(take, element, done))
            done += len(take)
        yield element, _joined(lots, element)


def _joined(lots: list[dict[str, _Column]], element: _Element) -> dict[str, _Column]:
    joined: dict[str, _Column] = {}
    for p in element.properties:
        if not lots:
            joined[p.name] = (np.empty(0, np.int64), np.empty(0, np.int64)) if p.length else np.empty(0)
        elif p.length:
            if p.kind[0] != "f":
                joined[p.name] = tuple(np.concatenate([lot[p.name][i] for lot in lots]) for i in (0, 1))
        else:
            joined[p.name] = np.concatenate([lot[p.name] for lot in lots])
    return joined


def _ascii_rows(lines: list[bytes], element: _Element, first: int) -> dict[str, _Column]:
    bad = Unreadable(
        f"A row of the PLY does not hold the numbers that its header declares ({clean_name(element.name)}).",
        f"near row {first} of {element.count}",
        "Export it again.",
    )
    properties = element.properties
    tokens = b"".join(lines).split()
    try:
        if any(b"_" in token for token in tokens):
            raise ValueError
        if not any(p.length for p in properties):
            if len(tokens) != len(lines) * len(properties):
                raise ValueError
            width = len(properties)
            return {p.name: np.array(list(map(float, tokens[i::width]))) for i, p in enumerate(properties)}
        if len(properties) == 1 and len(tokens) == 4 * len(lines) and set(tokens[::4]) == {b"3"}:
            del tokens[::4]
            corner = np.array(list(map(int, tokens)), np.int64)
            return {properties[0].name: (corner, np.full(len(lines), 3, np.int64))}
        return _ascii_lists(lines, properties)
    except (ValueError, IndexError, OverflowError):
        raise bad from None


def _ascii_lists(lines: list[bytes], properties: list[_Property]) -> dict[str, _Column]:
    values: dict[str, list[int]] = {p.name: [] for p in properties if p.length and p.kind[0] != "f"}
    lengths: dict[str, list[int]] = {p.name: [] for p in properties if p.length}
    plain: dict[str, list[float]] = {p.name: [] for p in properties if not p.length}
    for line in lines:
        tokens = line.split()
        at = 0
        for p in properties:
            if not p.length:
                plain[p.name].append(float(tokens[at]))
                at += 1
                continue
            length = int(tokens[at])
            if not 0 <= length < len(tokens) - at:
                raise ValueError
            lengths[p.name].append(length)
            if p.name in values:
                values[p.name].extend(map(int, tokens[at + 1 : at + 1 + length]))
            at += 1 + length
        if at != len(tokens):
            raise ValueError
    columns: dict[str, _Column] = {name: np.array(row) for name, row in plain.items()}
    for name, row in values.items():
        columns[name] = (np.array(row, np.int64), np.array(lengths[name], np.int64))
    return columns


FORMAT = Format("PLY", (".ply",), _claims, read)
