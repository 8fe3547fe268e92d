"""Geometry for the page: a body as compact bytes, a flat as JSON, and where each finding lies in it.

Body, `encode_body` (media type `lintsvc.reports.media.BODY_TYPE`), before brotli or gzip, little-endian:

    offset 0   4 bytes   magic "LSG1"
           4   uint32    h, length of the header that follows, a multiple of 4
           8   h bytes   header: JSON in UTF-8, padded with spaces
         8+h   4 planes  of 3*triangles bytes: byte 0, 1, 2, 3 of each index code
               6 planes  of `vertices` bytes: x byte 0, x byte 1, y byte 0, y byte 1, z byte 0, z byte 1

Header keys: `kind` "body"; `triangles`; `vertices`; `origin` [x, y, z] mm; `step` mm;
`objects` names of the file's objects; `object_runs` [[object, count], …] in sent face order
(empty when the file has one object). A vertex is at `origin + step * (ix, iy, iz)`, each i in 0…65535;
it lies within `step` / 2 of the true one on each axis.

Index codes (high-water mark): start with `high = 0`; for each of the 3*triangles codes c,
the vertex index is `high - c`, and when c is 0, `high` grows by one.
Positions, each axis by itself: start with `v = 0`; for each 16-bit code z,
`v = (v + ((z >> 1) ^ -(z & 1))) & 0xffff` is the next vertex's coordinate.

Triangles are sent in Morton order of their centroids, because then neighbours stand together:
the bytes and the runs of a finding's faces are short. `sent_order` gives the permutation; what the
page gets (`place_findings`) is already numbered in that order.

Flat, `encode_sheet` (JSON, mm): `kind` "sheet"; `box` [[x0, y0], [x1, y1]] around all that is drawn, `part_box` around
the part itself (its size: lines and notes beside it do not count); `chord_tolerance_mm`;
`thickness_mm`; `entities`, each with `number`, `handle`, `kind`, `layer`, `role`, `role_why`, `text`
and `shapes`, each one of `{"line": [x0, y0, x1, y1]}`, `{"arc": [cx, cy, r, start_deg, end_deg]}`
(counter-clockwise), `{"circle": [cx, cy, r]}`, `{"polyline": [x0, y0, x1, y1, …]}`;
`contours`, each a closed outline `{"points": [x0, y0, …], "hole": bool}`;
`bends`, each `{"line": [x0, y0, x1, y1], "angle_deg", "direction", "radius_mm", "entity", "half_mm"}`;
`half_mm` is how far the bend zone reaches to each side of the line, null where the thickness is not known;
`holes`, the round ones, each `{"diameter_mm", "centre": [x, y], "entities"}`, in the report's order;
`kerf_mm` [least, most], the usual width of the cut, or null where it is not known.

Findings, `place_findings` (JSON): `{"findings": [{"fingerprint", "rule", "level", "rank",
"point": [x, y, z], "box": [[…], […]], "span": [[…], […]] | null, "lines": [[[…], […]], …],
"faces": [[first, count], …], "entities": [number, …]}]}`, in the report's order; `faces` are runs
in sent order. A finding without a place has null for `point` and `box`.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.body import Body
from lintsvc.model.finding import Finding
from lintsvc.model.sheet import Arc, Bend, Circle, Line, Point2, Shape, Sheet
from lintsvc.readers.flat_extent import box_of

MAGIC = b"LSG1"
_TOP = 65535


def sent_order(body: Body) -> NDArray[np.int64]:
    """Return the file's face numbers in the order in which the page gets them, (m,).

    Faces are sorted along a Morton curve of their centroids, 10 bits an axis.
    """
    if len(body.faces) == 0:
        return np.empty(0, np.int64)
    # In double precision: the sum of three, and one over the extent, may leave the range of single.
    centre = body.vertices[body.faces[:, 0]].astype(np.float64)
    for corner in (1, 2):
        centre += body.vertices[body.faces[:, corner]]
    low = centre.min(axis=0)
    extent = float((centre.max(axis=0) - low).max())
    cell = ((centre - low) / extent * 1023.0 if extent > 0 else centre * 0.0).astype(np.uint32)
    key = _spread(cell[:, 0]) | _spread(cell[:, 1]) << np.uint32(1) | _spread(cell[:, 2]) << np.uint32(2)
    # Stable, so that equal keys keep the file's order and the result depends on nothing else.
    return np.argsort(key, kind="stable").astype(np.int64)


def _spread(x: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Put two zero bits between the ten low bits of each number."""
    for shift, mask in ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249)):
        x = (x | x << np.uint32(shift)) & np.uint32(mask)
    return x


def encode_body(body: Body, order: NDArray[np.int64]) -> bytes:
    """Return the bytes described above. `order` is `sent_order(body)`.

    Vertices that fall on one step of the grid are sent once. Vertices no face uses are not sent.
    """
    faces = body.faces[order]
    used = faces.ravel()
    points = body.vertices.astype(np.float64, copy=False)
    if len(used):
        drawn = points[used]
        low, extent = drawn.min(axis=0), float((drawn.max(axis=0) - drawn.min(axis=0)).max())
        del drawn
    else:
        low, extent = np.zeros(3), 0.0
    step = extent / _TOP if extent > 0 else 1.0
    grid = np.clip(np.rint((points - low) / step), 0, _TOP).astype(np.uint64)
    keys = (grid[:, 0] << np.uint64(32) | grid[:, 1] << np.uint64(16) | grid[:, 2])[used]
    distinct, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    # Number vertices by first use: a vertex met for the first time then has code 0.
    by_use = np.argsort(first, kind="stable")
    rank = np.empty(len(by_use), np.int64)
    rank[by_use] = np.arange(len(by_use))
    index = rank[inverse.ravel()]
    high = np.concatenate(([0], np.maximum.accumulate(index)[:-1] + 1)) if len(index) else index
    codes = (high - index).astype("<u4")
    sent = distinct[by_use]
    planes = [_planes(codes)]
    for shift in (32, 16, 0):
        axis = (sent >> np.uint64(shift) & np.uint64(_TOP)).astype(np.uint16)
        delta = np.diff(axis, prepend=np.uint16(0)).view(np.int16)
        planes.append(_planes(((delta << 1) ^ (delta >> 15)).view(np.uint16).astype("<u2")))
    header = {
        "kind": "body",
        "triangles": len(faces),
        "vertices": len(sent),
        "origin": [float(x) for x in low],
        "step": step,
        "objects": list(body.object_names),
        "object_runs": _object_runs(body, order),
    }
    text = json.dumps(header, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    return MAGIC + struct.pack("<I", len(text)) + text + b"".join(planes)


def _planes(values: NDArray[Any]) -> bytes:
    """All first bytes, then all second bytes, and so on: like stands beside like."""
    return np.ascontiguousarray(values.view(np.uint8).reshape(-1, values.itemsize).T).tobytes()


def _object_runs(body: Body, order: NDArray[np.int64]) -> list[list[int]]:
    if body.face_object is None or len(body.object_names) < 2 or len(order) == 0:
        return []
    owner = body.face_object[order]
    starts = np.flatnonzero(np.concatenate(([True], owner[1:] != owner[:-1])))
    counts = np.diff(np.append(starts, len(owner)))
    return [[int(owner[s]), int(c)] for s, c in zip(starts, counts, strict=True)]


def decode_body(data: bytes) -> tuple[dict[str, Any], NDArray[np.float64], NDArray[np.int64]]:
    """Return header, vertices (n, 3) in mm and faces (m, 3) of what `encode_body` made.

    Raises ValueError for other bytes.
    """
    if data[:4] != MAGIC:
        raise ValueError("these bytes are no body geometry")
    (length,) = struct.unpack_from("<I", data, 4)
    header: dict[str, Any] = json.loads(data[8 : 8 + length])
    corners, count = 3 * int(header["triangles"]), int(header["vertices"])
    raw = np.frombuffer(data, np.uint8, offset=8 + length)
    codes = np.ascontiguousarray(raw[: 4 * corners].reshape(4, -1).T).view("<u4").ravel().astype(np.int64)
    high = np.concatenate(([0], np.cumsum(codes == 0)[:-1])) if corners else codes
    grid = np.empty((count, 3))
    for axis in range(3):
        at = 4 * corners + 2 * count * axis
        z = np.ascontiguousarray(raw[at : at + 2 * count].reshape(2, -1).T).view("<u2").ravel().astype(np.int64)
        grid[:, axis] = np.cumsum((z >> 1) ^ -(z & 1)) & _TOP
    vertices = np.asarray(header["origin"]) + header["step"] * grid
    return header, vertices, (high - codes).reshape(-1, 3)


def encode_sheet(
    sheet: Sheet,
    *,
    thickness_mm: float | None,
    contours: Iterable[tuple[Sequence[Point2], bool]],
    bends: Iterable[Bend],
    holes: Iterable[tuple[float, Point2, Sequence[int]]] = (),
    kerf_mm: tuple[float, float] | None = None,
    part_box: tuple[float, float, float, float] | None = None,
    zones_mm: Mapping[int, float] | None = None,
) -> dict[str, Any]:
    """Return the flat's JSON described above.

    `contours` are (points, is a hole); `holes` (diameter, centre, entities); `part_box` is left, bottom, right, top of
    the part itself; `zones_mm` how far the zone of each bend, by its place in `bends`, reaches to each side.
    """
    halves = zones_mm or {}
    drawn = _corners(box_of(shape for entity in sheet.entities for shape in entity.shapes))
    entities = [
        {
            "number": entity.number,
            "handle": entity.handle,
            "kind": entity.kind,
            "layer": entity.layer,
            "role": entity.role,
            "role_why": entity.role_why,
            "text": entity.text,
            "shapes": [_shape(shape) for shape in entity.shapes],
        }
        for entity in sheet.entities
    ]
    return {
        "kind": "sheet",
        "box": drawn,
        "part_box": drawn if part_box is None else _corners(part_box),
        "chord_tolerance_mm": sheet.chord_tolerance_mm,
        "thickness_mm": thickness_mm,
        "entities": entities,
        "contours": [{"points": [x for p in points for x in _xy(p)], "hole": hole} for points, hole in contours],
        "bends": [
            {
                "line": [*_xy(bend.start), *_xy(bend.end)],
                "angle_deg": bend.angle_deg,
                "direction": bend.direction,
                "radius_mm": bend.radius_mm,
                "entity": bend.entity,
                "half_mm": round(halves[number], 4) if number in halves else None,
            }
            for number, bend in enumerate(bends)
        ],
        "holes": [
            {"diameter_mm": round(diameter, 4), "centre": _xy(centre), "entities": list(entities)}
            for diameter, centre, entities in holes
        ],
        "kerf_mm": kerf_mm,
    }


def _xy(point: Point2) -> tuple[float, float]:
    """A point to 0.0001 mm: far finer than it is drawn, and short to send."""
    return round(float(point[0]), 4), round(float(point[1]), 4)


def _shape(shape: Shape) -> dict[str, list[float]]:
    match shape:
        case Line(start, end):
            return {"line": [*_xy(start), *_xy(end)]}
        case Arc(centre, radius, start_deg, end_deg):
            return {"arc": [*_xy(centre), round(radius, 4), round(start_deg, 4), round(end_deg, 4)]}
        case Circle(centre, radius):
            return {"circle": [*_xy(centre), round(radius, 4)]}
        case _:
            return {"polyline": [x for point in shape.points for x in _xy(point)]}


def _corners(box: tuple[float, float, float, float] | None) -> list[list[float]]:
    """Left, bottom, right, top as two corners."""
    left, bottom, right, top = (round(float(x), 4) for x in box or (0.0, 0.0, 0.0, 0.0))
    return [[left, bottom], [right, top]]


def place_findings(findings: Iterable[Finding], order: NDArray[np.int64] | None) -> dict[str, Any]:
    """Return the findings' places described above. `order` is None where no body is sent."""
    rank: NDArray[np.int64] | None = None
    if order is not None:
        rank = np.empty(len(order), np.int64)
        rank[order] = np.arange(len(order))
    placed = []
    for finding in findings:
        where = finding.where
        faces = np.asarray(where.faces if where is not None else (), np.int64)
        placed.append(
            {
                "fingerprint": finding.fingerprint,
                "rule": finding.rule,
                "level": finding.level,
                "rank": finding.rank,
                "point": where and where.point,
                "box": where and where.box,
                "span": where and where.span,
                "lines": list(where.lines) if where is not None else [],
                "faces": runs(rank[faces]) if rank is not None and len(faces) else [],
                "entities": list(where.entities) if where is not None else [],
            }
        )
    return {"findings": placed}


def runs(numbers: NDArray[np.int64]) -> list[list[int]]:
    """Return sorted numbers as [first, count] runs.

    >>> runs(np.array([7, 3, 4, 5]))
    [[3, 3], [7, 1]]
    """
    ordered = np.unique(numbers)
    if len(ordered) == 0:
        return []
    breaks = np.flatnonzero(np.diff(ordered) != 1) + 1
    return [[int(piece[0]), len(piece)] for piece in np.split(ordered, breaks)]
