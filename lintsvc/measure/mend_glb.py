"""Writing a mended mesh as GLB (glTF 2.0, ISO/IEC 12113:2022): places, faces and the names of objects, no more.

glTF is in metres with y up; one root node scales and turns, so the numbers in the buffer stay the file's.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from lintsvc.measure.mesh import Floats, Ints

_FLOAT, _UINT32 = 5126, 5125  # componentType
_VERTICES, _INDICES = 34962, 34963  # bufferView.target


def write_glb(path: Path, objects: Iterable[tuple[str, Floats, Ints]], metres: float) -> None:
    """Write objects, each a name, vertices (n, 3) with z up and faces (m, 3). `metres`: the length of their unit."""
    data = bytearray()
    views: list[dict[str, Any]] = []
    accessors: list[dict[str, Any]] = []
    meshes: list[dict[str, Any]] = []
    nodes: list[dict[str, Any]] = []

    def added(raw: bytes, target: int, entry: dict[str, Any]) -> int:
        views.append({"buffer": 0, "byteOffset": len(data), "byteLength": len(raw), "target": target})
        data.extend(raw)  # every element is of 4 bytes, so every view starts on a multiple of 4
        accessors.append({"bufferView": len(views) - 1, **entry})
        return len(accessors) - 1

    for name, vertices, faces in objects:
        stored = vertices.astype("<f4")
        ends = {"min": stored.min(axis=0).tolist(), "max": stored.max(axis=0).tolist()}
        entry = {"componentType": _FLOAT, "count": len(stored), "type": "VEC3", **ends}
        places = added(stored.tobytes(), _VERTICES, entry)
        entry = {"componentType": _UINT32, "count": faces.size, "type": "SCALAR"}
        corners = added(faces.astype("<u4").tobytes(), _INDICES, entry)
        called = {"name": name} if name else {}
        meshes.append({"primitives": [{"attributes": {"POSITION": places}, "indices": corners}], **called})
        nodes.append({"mesh": len(meshes) - 1, **called})
    # Columns of the turn from z up to y up.
    root = [metres, 0, 0, 0, 0, 0, -metres, 0, 0, metres, 0, 0, 0, 0, 0, 1]
    document = {
        "asset": {"version": "2.0", "generator": "lintsvc"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"matrix": root, "children": list(range(1, len(nodes) + 1))}, *nodes],
        "meshes": meshes,
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(data)}],
    }
    text = json.dumps(document, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    total = 12 + 8 + len(text) + 8 + len(data)
    with path.open("wb") as file:
        file.write(struct.pack("<4sII", b"glTF", 2, total))
        file.write(struct.pack("<I4s", len(text), b"JSON") + text)
        file.write(struct.pack("<I4s", len(data), b"BIN\0") + data)
