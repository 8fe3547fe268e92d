"""OBJ: vertices and faces as text lines. No unit; polygons become fans; materials are never opened."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.readers.content import bytes_of, clean_name, is_text, plain_head, plain_text
from lintsvc.readers.fans import fan
from lintsvc.readers.format import Format, ReadOptions
from lintsvc.readers.triangles import MAX_TRIANGLES, Triangles, body_part, too_many

#: Text takes long to parse: about 1.5 million triangles.
MAX_BYTES = 150 * 2**20
_LOT = 4 * 2**20
_MAX_OBJECTS = 100_000
_KEYWORDS = frozenset(
    b"v vt vn vp f fo l p o g s mg mtllib usemtl usemap maplib cstype deg bmat step curv curv2 surf parm trim hole "
    b"scrv sp end con shadow_obj trace_obj lod bevel c_interp d_interp call csh".split()
)
_CURVES = frozenset((b"cstype", b"surf", b"curv", b"curv2"))


def _claims(head: bytes, size: int) -> bool:
    """All whole lines of the head are comments or begin with a word of the format."""
    text = plain_head(head)
    if not is_text(text):
        return False
    lines = text.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ").replace(b"\r", b"\n").split(b"\n")
    if len(lines) > 1 and len(head) < size:
        lines.pop()
    words = [line.split(None, 1)[0] for line in lines if line.strip()]
    own = [word for word in words if not word.startswith(b"#")]
    return bool(words) and all(word in _KEYWORDS for word in own) and (bool(own) or size > len(head))


@dataclass
class _Lots:
    """What has been read so far, lot by lot."""

    vertices: list[NDArray[np.float64]] = field(default_factory=list)
    faces: list[NDArray[np.int64]] = field(default_factory=list)
    owner: list[NDArray[np.int32]] = field(default_factory=list)
    names: list[str] = field(default_factory=lambda: [""])
    vertex_count: int = 0
    face_count: int = 0
    triangle_count: int = 0
    polygons: int = 0
    left_out: dict[str, int] = field(default_factory=dict)


def read(path: Path, options: ReadOptions) -> Part:
    """Read an OBJ file. Raises Unreadable."""
    data = plain_text(bytes_of(path, MAX_BYTES, "OBJ"))
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b"\\\n" in data:
        data = data.replace(b"\\\n", b" ")
    lots = _Lots()
    file = io.BytesIO(data)
    line = 1
    while lines := file.readlines(_LOT):
        _add(lots, lines, line)
        line += len(lines)
    notes = [
        ReadNote("ignored", f"{count:,} {what} in the OBJ are no surface of triangles and were left out.", count=count)
        for what, count in lots.left_out.items()
    ]
    if lots.polygons:
        notes.append(
            ReadNote("info", f"{lots.polygons:,} faces with more than three corners were split into triangles.")
        )
    names = tuple(lots.names)
    found = Triangles(
        np.concatenate(lots.vertices) if lots.vertices else np.empty((0, 3)),
        np.concatenate(lots.faces) if lots.faces else np.empty((0, 3), np.int64),
        face_object=np.concatenate(lots.owner) if lots.owner and len(names) > 1 else None,
        object_names=names if len(names) > 1 else (),
    )
    return body_part(found, "OBJ", options, notes=notes)


def _add(lots: _Lots, lines: list[bytes], first: int) -> None:
    """Parse one lot of lines. `first`: number of its first line, for the place of an error."""
    words = [line.split(None, 1)[0] if not line.isspace() else b"" for line in lines]
    kinds = set(words)
    for word in kinds - _KEYWORDS - {b""}:
        if not word.startswith(b"#"):
            where = f"line {first + words.index(word)}"
            shown = clean_name(word[:40].decode("utf-8", "replace"))
            raise Unreadable(f'"{shown}" is no word of the OBJ format.', where, "Export it again.")
    if kinds & _CURVES:
        raise Unreadable(
            "The OBJ holds free-form curves or surfaces.",
            f"line {first + next(i for i, w in enumerate(words) if w in _CURVES)}",
            "Export it as triangles, or as STEP.",
        )
    for word, what in ((b"l", "lines"), (b"p", "points")):
        if word in kinds:
            lots.left_out[what] = lots.left_out.get(what, 0) + words.count(word)
    at_vertices = [i for i, word in enumerate(words) if word == b"v"]
    at_faces = [i for i, word in enumerate(words) if word in (b"f", b"fo")]
    before = lots.vertex_count
    if at_vertices:
        lots.vertices.append(_vertices([lines[i] for i in at_vertices], at_vertices, first))
        lots.vertex_count += len(at_vertices)
    at_names = [i for i, word in enumerate(words) if word in (b"o", b"g")]
    if at_faces:
        # Negative indices count back from the vertices defined so far.
        defined = before + np.searchsorted(np.array(at_vertices, np.int64), np.array(at_faces, np.int64))
        faces, source = _faces([lines[i] for i in at_faces], defined, at_faces, first, lots)
        lots.faces.append(faces)
    if at_names or at_faces:
        _name(lots, lines, at_names, at_faces, source if at_faces else None)


def _vertices(lines: list[bytes], at: list[int], first: int) -> NDArray[np.float64]:
    """Return (n, 3). A vertex may carry a weight or a colour after x, y, z."""
    tokens = b"".join(lines).split()
    width = len(lines[0].split())
    if len(tokens) == width * len(lines) and width >= 4 and tokens[::width].count(b"v") == len(lines):
        columns = [tokens[i::width] for i in (1, 2, 3)]
    else:
        rows = [line.split() for line in lines]
        for row, i in zip(rows, at, strict=True):
            if len(row) < 4:
                raise Unreadable("A vertex of the OBJ has fewer than three numbers.", f"line {first + i}")
        columns = [[row[i] for row in rows] for i in (1, 2, 3)]
    try:
        if any(b"_" in line for line in lines):
            raise ValueError
        return np.array([list(map(float, column)) for column in columns]).T
    except ValueError:
        raise _no_number(lines, at, first) from None


def _no_number(lines: list[bytes], at: list[int], first: int) -> Unreadable:
    for line, i in zip(lines, at, strict=True):
        for token in line.split()[1:4]:
            if not re.fullmatch(rb"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?|[-+]?(?i:nan|inf(inity)?)", token):
                shown = clean_name(token[:40].decode("utf-8", "replace"))
                return Unreadable(f'"{shown}" is no number.', f"line {first + i}", "Export it again.")
    return Unreadable("A vertex of the OBJ holds something that is no number.", f"after line {first}")


_AFTER_SLASH = re.compile(rb"/[^\s]*")


def _faces(
    lines: list[bytes], defined: NDArray[np.int64], at: list[int], first: int, lots: _Lots
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return (m, 3) zero-based indices, and for each triangle which of the lines it came from."""
    text = b"".join(lines)
    if b"/" in text:
        text = _AFTER_SLASH.sub(b"", text)
    tokens = text.split()
    if len(tokens) == 4 * len(lines) and set(tokens[::4]) <= {b"f", b"fo"}:
        sizes = np.full(len(lines), 3, np.int64)
        del tokens[::4]
    else:
        rows = text.splitlines()
        sizes = np.array([row.count(b" ") for row in (b" ".join(row.split()) for row in rows)], np.int64)
        if int(sizes.min()) < 3:
            raise Unreadable(
                "A face of the OBJ has fewer than three corners.", f"line {first + at[int(sizes.argmin())]}"
            )
        starts = np.concatenate(([0], np.cumsum(sizes + 1)[:-1]))
        keep = np.ones(len(tokens), bool)
        keep[starts] = False
        tokens = [token for token, kept in zip(tokens, keep.tolist(), strict=True) if kept]
    try:
        if b"_" in text:
            raise ValueError
        corner = np.array(list(map(int, tokens)), np.int64)
    except (ValueError, OverflowError):
        raise _bad_index(tokens, sizes, at, first) from None
    ends = np.repeat(defined, sizes)
    bad = (corner == 0) | (corner < -ends)
    if bad.any():
        face = int(np.searchsorted(np.cumsum(sizes), int(np.argmax(bad)), side="right"))
        raise Unreadable(
            f"A face of the OBJ names vertex {int(corner[int(np.argmax(bad))])}, which does not exist.",
            f"line {first + at[face]}",
            "Export it again.",
        )
    corner = np.where(corner > 0, corner - 1, corner + ends)
    lots.polygons += int((sizes > 3).sum())
    lots.triangle_count += int((sizes - 2).sum())
    if lots.triangle_count > MAX_TRIANGLES:
        raise too_many(lots.triangle_count)
    return fan(corner, sizes)


def _bad_index(tokens: list[bytes], sizes: NDArray[np.int64], at: list[int], first: int) -> Unreadable:
    for i, token in enumerate(tokens):
        if not re.fullmatch(rb"-?\d{1,18}", token):
            face = int(np.searchsorted(np.cumsum(sizes), i, side="right"))
            shown = clean_name(token[:40].decode("utf-8", "replace"))
            return Unreadable(f'"{shown}" is no vertex number.', f"line {first + at[face]}", "Export it again.")
    return Unreadable("A face of the OBJ names a vertex by something that is no number.", f"after line {first}")


def _name(
    lots: _Lots, lines: list[bytes], at_names: list[int], at_faces: list[int], source: NDArray[Any] | None
) -> None:
    """Give each triangle of the lot the object or group that was named last before its line."""
    numbers = [len(lots.names) - 1]
    for i in at_names:
        words = lines[i].split(None, 1)
        name = clean_name(words[1].decode("utf-8", "replace").strip()) if len(words) > 1 else ""
        if lots.face_count == 0 and len(lots.names) == 1 and (not at_faces or i < at_faces[0]):
            # Nothing belongs to the nameless first object: it takes the name.
            lots.names[0] = name
        elif name != lots.names[-1]:
            lots.names.append(name)
            if len(lots.names) > _MAX_OBJECTS:
                raise Unreadable(f"The OBJ names more than {_MAX_OBJECTS:,} objects.", remedy="Export fewer bodies.")
        numbers.append(len(lots.names) - 1)
    if source is None:
        return
    last = np.searchsorted(np.array(at_names, np.int64), np.array(at_faces, np.int64))
    lots.owner.append(np.array(numbers, np.int32)[last][source])
    lots.face_count += len(source)


FORMAT = Format("OBJ", (".obj",), _claims, read)
