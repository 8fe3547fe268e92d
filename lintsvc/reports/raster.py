"""Drawing triangles into a small image, without a graphics card: which face is seen at each pixel, and how deep."""

from __future__ import annotations

import struct
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.compiled import compiled

NO_FACE = -1


@compiled
def draw_faces(corners: NDArray[Any], seen: NDArray[Any], depth: NDArray[Any], nearest: float) -> None:
    """Fill `seen` (h, w; face numbers) and `depth` (h, w; larger is nearer) from `corners`.

    `corners`: (m, 3, 3) pixel x, pixel y (down) and depth of each triangle's corners, orthographic.
    What is nearer than `nearest` is cut away; infinity keeps all.
    """
    height, width = seen.shape
    for face in range(corners.shape[0]):
        x0, y0, z0 = corners[face, 0]
        x1, y1, z1 = corners[face, 1]
        x2, y2, z2 = corners[face, 2]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area == 0.0:
            continue
        left, right = max(0, int(min(x0, x1, x2))), min(width - 1, int(max(x0, x1, x2)) + 1)
        top, bottom = max(0, int(min(y0, y1, y2))), min(height - 1, int(max(y0, y1, y2)) + 1)
        # How the shares of the corners grow from one column to the next.
        grows_b, grows_c = (y2 - y0) / area, (y0 - y1) / area
        for row in range(top, bottom + 1):
            y = row + 0.5
            # A slanted triangle fills little of the box around it: only columns where no share is below zero count.
            first, last = float(left), float(right)
            b = ((left + 0.5 - x0) * (y2 - y0) - (x2 - x0) * (y - y0)) / area
            c = ((x1 - x0) * (y - y0) - (left + 0.5 - x0) * (y1 - y0)) / area
            for share, grows in ((1.0 - b - c, -grows_b - grows_c), (b, grows_b), (c, grows_c)):
                # Of a triangle without width these may be infinite or no number at all, which is never greater or less.
                at = left - share / grows if grows != 0.0 else np.nan
                if grows > 0.0 and at - 1.0 > first:
                    first = min(at - 1.0, right + 1.0)
                elif grows < 0.0 and at + 1.0 < last:
                    last = max(at + 1.0, left - 1.0)
            for column in range(int(first), int(last) + 1):
                x = column + 0.5
                b = ((x - x0) * (y2 - y0) - (x2 - x0) * (y - y0)) / area
                c = ((x1 - x0) * (y - y0) - (x - x0) * (y1 - y0)) / area
                a = 1.0 - b - c
                # A little over the edge, so that no gap shows between two faces that share it.
                if a >= -1e-6 and b >= -1e-6 and c >= -1e-6:
                    z = a * z0 + b * z1 + c * z2
                    if depth[row, column] < z <= nearest:
                        depth[row, column] = z
                        seen[row, column] = face


def png(pixels: NDArray[np.uint8]) -> bytes:
    """Return a PNG (ISO/IEC 15948) of (h, w, 4) red, green, blue, alpha."""
    height, width = pixels.shape[:2]
    # Each row begins with its filter: 2, the difference from the row above, packs shaded faces well.
    above = np.zeros_like(pixels)
    above[1:] = pixels[:-1]
    rows = np.empty((height, 1 + 4 * width), np.uint8)
    rows[:, 0] = 2
    rows[:, 1:] = (pixels - above).reshape(height, -1)
    header = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(rows.tobytes(), 6)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data)) for name, data in chunks
    )
