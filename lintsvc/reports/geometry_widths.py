"""Wall thickness and gap width all over a body, as compact bytes for the page.

`encode_widths` (media type `lintsvc.reports.media.WIDTHS_TYPE`), before brotli or gzip, little-endian:

    offset 0   4 bytes   magic "LSW1"
           4   uint32    h, length of the header that follows, a multiple of 4
           8   h bytes   header: JSON in UTF-8, padded with spaces
         8+h   `splits` bytes: how each face, in sent order (see `lintsvc.reports.geometry`), falls into pieces
               4 planes  of `pieces` bytes: wall byte 0, wall byte 1, gap byte 0, gap byte 1

Header keys: `kind` "widths"; `triangles`; `splits`; `pieces`; `step` mm; `cap` mm; `longest` mm, about the length of a
piece; `limits` {"wall": {"value", "rule"}, "gap": {…}}, each absent where no limit is known, mm.

Split bytes, for each face in turn, depth first: 0, a whole piece; 1, 2, 3: halved at the middle m of its edge from
corner 0, 1, 2 to the next corner. With a, b the ends of that edge in the face's own turn and c the third corner, the
halves are the same triangle with b replaced by m, then the same with a replaced by m.

A width is `step` times its 16-bit number; 65535 says that nothing is within `cap`. Each value is itself, no difference.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from lintsvc.measure.width_map import WidthMap

MAGIC = b"LSW1"
_NOTHING = 65535
#: A thousandth of a millimetre, or more where the cap would not fit.
_STEP_MM = 0.001


def encode_widths(found: WidthMap, triangles: int, limits: Mapping[str, tuple[float, str]]) -> bytes:
    """Return the bytes described above. `limits`: of "wall" and "gap", the value in mm and the rule's id."""
    step = max(_STEP_MM, found.cap_mm / (_NOTHING - 1))
    header = {
        "kind": "widths",
        "triangles": triangles,
        "splits": len(found.splits),
        "pieces": len(found.wall),
        "step": step,
        "cap": found.cap_mm,
        "longest": found.longest_mm,
        "limits": {side: {"value": value, "rule": rule} for side, (value, rule) in limits.items()},
    }
    text = json.dumps(header, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    planes = b"".join(_planes(x, found.cap_mm, step) for x in (found.wall, found.gap))
    return MAGIC + struct.pack("<I", len(text)) + text + found.splits.tobytes() + planes


def _planes(width: NDArray[np.float64], cap: float, step: float) -> bytes:
    near = width < cap
    number = np.full(len(width), _NOTHING, "<u2")
    number[near] = np.rint(width[near] / step)
    return np.ascontiguousarray(number.view(np.uint8).reshape(-1, 2).T).tobytes()


def decode_widths(data: bytes) -> tuple[dict[str, Any], NDArray[np.uint8], NDArray[np.float64], NDArray[np.float64]]:
    """Return header, splits, wall and gap widths (mm, infinite where nothing is near) of what `encode_widths` made.

    Raises ValueError for other bytes.
    """
    if data[:4] != MAGIC:
        raise ValueError("these bytes are no widths")
    (length,) = struct.unpack_from("<I", data, 4)
    header: dict[str, Any] = json.loads(data[8 : 8 + length])
    splits, pieces = int(header["splits"]), int(header["pieces"])
    raw = np.frombuffer(data, np.uint8, offset=8 + length)
    sides = []
    for side in range(2):
        at = splits + 2 * pieces * side
        number = np.ascontiguousarray(raw[at : at + 2 * pieces].reshape(2, -1).T).view("<u2").ravel()
        sides.append(np.where(number == _NOTHING, np.inf, number * float(header["step"])))
    return header, raw[:splits].copy(), sides[0], sides[1]
