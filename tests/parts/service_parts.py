"""Small part files for tests of the service: bytes, made here."""

from __future__ import annotations

import struct

Corner = tuple[float, float, float]


def box_stl(x: float, y: float, z: float, *, seed: float = 0.0) -> bytes:
    """A closed box as binary STL; `seed` shifts it, so that two boxes differ in their bytes."""
    corners = [(seed + i * x, j * y, k * z) for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return stl([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))], corners)


def open_box_stl() -> bytes:
    """A box without one face: an open edge."""
    whole = box_stl(20, 20, 20)
    count = struct.unpack_from("<I", whole, 80)[0] - 2
    return whole[:80] + struct.pack("<I", count) + whole[84 : 84 + 50 * count]


def stl(faces: list[tuple[int, int, int]], corners: list[Corner]) -> bytes:
    """Binary STL of these faces."""
    body = [struct.pack("<12fH", 0, 0, 0, *(x for i in face for x in corners[i]), 0) for face in faces]
    return b"\0" * 80 + struct.pack("<I", len(body)) + b"".join(body)


def plate_dxf(width: float = 60.0, height: float = 40.0, hole: float = 8.0) -> bytes:
    """A plate with a round hole as DXF R12, millimetres."""
    corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]
    groups: list[tuple[int, object]] = [
        (0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009"), (9, "$INSUNITS"), (70, 4), (0, "ENDSEC"),
        (0, "SECTION"), (2, "ENTITIES"),
    ]  # fmt: skip
    for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True):
        groups += [(0, "LINE"), (8, "CUT"), (10, x0), (20, y0), (30, 0), (11, x1), (21, y1), (31, 0)]
    groups += [(0, "CIRCLE"), (8, "CUT"), (10, width / 3), (20, height / 2), (30, 0), (40, hole / 2)]
    groups += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{value}\n" for code, value in groups).encode()
