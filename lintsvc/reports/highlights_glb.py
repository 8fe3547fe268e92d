"""A body with its findings as a GLB file: the part in grey, the faces of each finding in a colour of their own.

Written by hand because nothing else is needed: glTF 2.0 (ISO/IEC 12113:2022), one buffer, no textures.
glTF is in metres with y up; one root node scales and turns, so the numbers in the buffer stay the part's.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.body import Body
from lintsvc.model.finding import LEVELS, Finding
from lintsvc.reports.colours import LEVEL, PART, linear

Json = dict[str, Any]

_FLOAT, _UINT32 = 5126, 5125  # componentType
_VERTICES, _INDICES = 34962, 34963  # bufferView.target
_LINES, _TRIANGLES = 1, 4  # primitive.mode
#: mm to m, z up to y up; column by column.
_ROOT = [0.001, 0, 0, 0, 0, 0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1]


def write_glb(body: Body, findings: Sequence[Finding]) -> bytes:
    """Return GLB bytes. Each finding is a node named by its rule, its place and level in `extras`.

    A face of two findings is in both. Open edges and measured distances are lines.
    """
    return _Writer(body).write(findings)


class _Writer:
    def __init__(self, body: Body) -> None:
        self.body = body
        points = body.vertices.astype(np.float64, copy=False)
        # About the middle of the part: float32 loses digits far from the origin, the node's shift does not.
        low, high = points.min(axis=0), points.max(axis=0)
        self.middle = (low + high) / 2
        self.data = bytearray()
        self.views: list[Json] = []
        self.accessors: list[Json] = []
        self.meshes: list[Json] = []
        self.nodes: list[Json] = []
        self.positions = self._vec3(points - self.middle)

    def write(self, findings: Sequence[Finding]) -> bytes:
        faces = self.body.faces
        lit = np.zeros(len(faces), bool)
        marked = []
        for finding in findings:
            numbers = np.asarray(finding.where.faces if finding.where else (), np.int64)
            numbers = numbers[(numbers >= 0) & (numbers < len(faces))]
            lit[numbers] = True
            marked.append((finding, numbers))
        self._node("part", [self._triangles(faces[~lit], len(LEVELS))])
        for finding, numbers in marked:
            material = LEVELS.index(finding.level)
            primitives = [self._triangles(faces[numbers], material), self._lines(finding, material)]
            extras = {
                "fingerprint": finding.fingerprint,
                "rule": finding.rule,
                "level": finding.level,
                "rank": finding.rank,
                "message": finding.message,
            }
            self._node(finding.rule, primitives, extras)
        return self._glb()

    def _triangles(self, faces: NDArray[Any], material: int) -> Json | None:
        if not len(faces):
            return None
        indices = self._accessor(faces.ravel().astype("<u4"), "SCALAR", _UINT32, _INDICES)
        return {
            "attributes": {"POSITION": self.positions},
            "indices": indices,
            "material": material,
            "mode": _TRIANGLES,
        }

    def _lines(self, finding: Finding, material: int) -> Json | None:
        where = finding.where
        if where is None:
            return None
        pieces = [*where.lines, *([where.span] if where.span else [])]
        if not pieces and not where.faces:
            # Nothing to draw: a small cross, so that the place can be seen.
            pieces = [(tuple(x), tuple(y)) for x, y in self._cross(where.point)]
        if not pieces:
            return None
        ends = np.asarray(pieces, np.float64).reshape(-1, 3) - self.middle
        return {"attributes": {"POSITION": self._vec3(ends)}, "material": material, "mode": _LINES}

    def _cross(self, point: Sequence[float]) -> list[tuple[Any, Any]]:
        size = 0.02 * float(np.ptp(self.body.vertices, axis=0).max())
        return [(point + arm, point - arm) for arm in np.eye(3) * size]

    def _node(self, name: str, primitives: Sequence[Json | None], extras: Json | None = None) -> None:
        there = [x for x in primitives if x is not None]
        if not there:
            return
        node: Json = {"name": name, "mesh": len(self.meshes)}
        if extras:
            node["extras"] = extras
        self.meshes.append({"name": name, "primitives": there})
        self.nodes.append(node)

    def _vec3(self, points: NDArray[np.float64]) -> int:
        stored = points.astype("<f4")
        return self._accessor(
            stored, "VEC3", _FLOAT, _VERTICES, min=stored.min(axis=0).tolist(), max=stored.max(axis=0).tolist()
        )

    def _accessor(self, values: NDArray[Any], kind: str, component: int, target: int, **more: Any) -> int:
        raw = values.tobytes()
        self.views.append({"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw), "target": target})
        self.data += raw  # every element is 4 bytes, so every view starts on a multiple of 4
        entry = {"bufferView": len(self.views) - 1, "componentType": component, "count": len(values), "type": kind}
        self.accessors.append(entry | more)
        return len(self.accessors) - 1

    def _glb(self) -> bytes:
        root = {"name": "lintsvc", "matrix": _ROOT, "children": [1]}
        shift = {"translation": self.middle.tolist(), "children": list(range(2, len(self.nodes) + 2))}
        document = {
            "asset": {"version": "2.0", "generator": "lintsvc"},
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": [root, shift, *self.nodes],
            "meshes": self.meshes,
            "materials": [_material(level, LEVEL[level]) for level in LEVELS] + [_material("part", PART)],
            "accessors": self.accessors,
            "bufferViews": self.views,
            "buffers": [{"byteLength": len(self.data)}],
        }
        text = json.dumps(document, separators=(",", ":"), allow_nan=False).encode()
        text += b" " * (-len(text) % 4)
        total = 12 + 8 + len(text) + 8 + len(self.data)
        head = struct.pack("<4sII", b"glTF", 2, total) + struct.pack("<I4s", len(text), b"JSON")
        return head + text + struct.pack("<I4s", len(self.data), b"BIN\0") + bytes(self.data)


def _material(name: str, colour: str) -> Json:
    return {
        "name": name,
        # Both sides: a faulty mesh may be turned inside out.
        "doubleSided": True,
        "pbrMetallicRoughness": {
            "baseColorFactor": [*linear(colour), 1.0],
            "metallicFactor": 0.0,
            "roughnessFactor": 0.8,
        },
    }
