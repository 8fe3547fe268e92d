"""Triangles as the bytes of a binary STL: 80 bytes of header, a count, then 50 bytes a triangle."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def stl_bytes(corners: NDArray[Any], header: str) -> bytes:
    """Return a binary STL of triangles (m, 3, 3), unit normals filled in: some readers rely on them.

    Raises ValueError for a header that begins with "solid", which readers take for text.
    """
    if header.startswith("solid"):
        raise ValueError("a binary STL's header must not begin with 'solid'")
    precise = np.asarray(corners, np.float64)
    normals = np.cross(precise[:, 1] - precise[:, 0], precise[:, 2] - precise[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(len(precise), _FACET)
    facets["corners"] = precise
    np.divide(normals, lengths, out=normals, where=lengths > 0)
    facets["normal"] = normals
    return header.encode("ascii").ljust(80, b" ")[:80] + len(facets).to_bytes(4, "little") + facets.tobytes()
