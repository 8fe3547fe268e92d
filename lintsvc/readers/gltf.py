"""glTF 2.0: GLB, and JSON with its data inside. Metres with Y up become millimetres with Z up."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.model.units import Units
from lintsvc.readers.content import MAX_FILE_BYTES, bytes_of, clean_name, plain_head, plain_text
from lintsvc.readers.format import Format, ReadOptions
from lintsvc.readers.gltf_data import Buffers, damaged, listed, number
from lintsvc.readers.triangles import MAX_TRIANGLES, Triangles, body_part, too_many

_JSON, _BIN = 0x4E4F534A, 0x004E4942
_MAX_JSON_BYTES = 32 * 2**20
_MAX_NODES = 100_000
_MAX_DEPTH = 256
#: Extensions that a file may require and that change nothing about the surface of a part.
_HARMLESS = ("KHR_materials_", "KHR_texture_", "KHR_lights_", "EXT_texture_", "KHR_mesh_quantization", "MSFT_texture_")
#: glTF 2.0 section 3.4: right-handed, +Y up. A part on a table has +Z up: a quarter turn about X.
_TURN = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
_POINTS_AND_LINES = (0, 1, 2, 3)


def _claims(head: bytes, size: int) -> bool:
    return head[:4] == b"glTF" or (plain_head(head).lstrip()[:1] == b"{" and not head.startswith(b"{\\rtf"))


def read(path: Path, options: ReadOptions) -> Part:
    """Read a GLB or glTF file. Raises Unreadable."""
    data = bytes_of(path, MAX_FILE_BYTES, "glTF")
    notes = [ReadNote("info", "glTF has Y up; the part was turned so that Z is up.")]
    binary: bytes | None = None
    text = plain_text(data)
    if data[:4] == b"glTF":
        text, binary = _chunks(data, notes)
    if len(text) > _MAX_JSON_BYTES:
        raise Unreadable(f"The JSON of the glTF has more than {_MAX_JSON_BYTES // 2**20} MiB.", remedy="Send a GLB.")
    try:
        root = json.loads(text)
    except RecursionError:
        raise Unreadable("The JSON of the glTF is nested too deep.", remedy="Export it again.") from None
    except ValueError as error:
        raise Unreadable("The file begins like JSON and is no sound JSON.", clean_name(str(error))) from error
    if not isinstance(root, dict) or not isinstance(root.get("asset"), dict):
        raise Unreadable("This is JSON, but no glTF.", remedy="Export the part as 3MF, STL or STEP.")
    version = str(root["asset"].get("version", ""))
    if not version.startswith("2."):
        raise Unreadable(f'This is glTF version "{clean_name(version[:20])}"; only 2.0 is read.')
    _extensions(root)
    found = _Scene(root, Buffers(root, binary), notes).triangles()
    units = Units("m", True, "glTF lengths are in metres (glTF 2.0 section 3.4)")
    return body_part(found, "glTF", options, stated=units, notes=notes)


def _chunks(data: bytes, notes: list[ReadNote]) -> tuple[bytes, bytes | None]:
    """Return the JSON and BIN chunks of a GLB."""
    if len(data) < 20:
        raise Unreadable("The GLB is cut off in its header.", f"byte {len(data)}", "Export or download it again.")
    version, total = struct.unpack_from("<II", data, 4)
    if version != 2:
        raise Unreadable(f"This is GLB version {version}; only version 2 is read.", "byte 4", "Export it as glTF 2.0.")
    if total > len(data):
        raise Unreadable(
            f"The GLB says it has {total:,} bytes, but {len(data):,} are there: it is cut off.",
            "byte 8",
            "Export or download it again.",
        )
    if total < len(data):
        notes.append(ReadNote("recovered", f"{len(data) - total:,} bytes after the end of the GLB were left out."))
    at, text, binary = 12, None, None
    while at + 8 <= total:
        length, kind = struct.unpack_from("<II", data, at)
        if at + 8 + length > total:
            raise Unreadable(
                f"A chunk of the GLB says it has {length:,} bytes, more than the file holds.", f"byte {at}"
            )
        body = data[at + 8 : at + 8 + length]
        if kind == _JSON and text is None and at == 12:
            text = body
        elif kind == _BIN and binary is None:
            binary = body
        at += 8 + length
    if text is None:
        raise Unreadable("The GLB does not begin with a JSON chunk.", "byte 12", "Export it again.")
    return text, binary


def _extensions(root: dict[str, Any]) -> None:
    for name in listed(root, "extensionsRequired"):
        if isinstance(name, str) and name.startswith(_HARMLESS):
            continue
        shown = clean_name(str(name))
        remedy = "Export it without compression." if "compression" in shown else "Export it as plain glTF, 3MF or STL."
        raise Unreadable(f"The glTF requires the extension {shown}, which is not read.", remedy=remedy)


class _Scene:
    """Walks the nodes of a scene and gathers the triangles of every mesh that stands in it."""

    def __init__(self, root: dict[str, Any], buffers: Buffers, notes: list[ReadNote]) -> None:
        self.root, self.buffers, self.notes = root, buffers, notes
        self.nodes, self.meshes = listed(root, "nodes"), listed(root, "meshes")
        self.vertices: list[NDArray[np.float64]] = []
        self.faces: list[NDArray[np.int64]] = []
        self.names: list[str] = []
        self.counts: list[int] = []
        self.vertex_count = self.triangle_count = self.left_out = 0
        self.asides: set[str] = set()
        self.seen: set[int] = set()
        self.single = True

    def triangles(self) -> Triangles:
        for index in self._roots():
            self._walk(index)
        if self.left_out:
            text = f"{self.left_out} primitives of points or lines were left out."
            self.notes.append(ReadNote("ignored", text, count=self.left_out))
        for text in sorted(self.asides):
            self.notes.append(ReadNote("ignored", text))
        several = len(self.names) > 1
        return Triangles(
            np.concatenate(self.vertices) if self.vertices else np.empty((0, 3)),
            np.concatenate(self.faces) if self.faces else np.empty((0, 3), np.int64),
            np.repeat(np.arange(len(self.names), dtype=np.int32), self.counts) if several else None,
            tuple(self.names) if several else (),
            single_precision=self.single,
        )

    def _roots(self) -> list[int]:
        scenes = listed(self.root, "scenes")
        if len(self.nodes) > _MAX_NODES:
            raise Unreadable(f"The glTF has more than {_MAX_NODES:,} nodes.", remedy="Export fewer bodies.")
        if not scenes:
            children = {c for n in self.nodes if isinstance(n, dict) for c in listed(n, "children") if type(c) is int}
            return [i for i in range(len(self.nodes)) if i not in children]
        chosen = number(self.root.get("scene", 0), "scene", len(scenes))
        if len(scenes) > 1:
            self.notes.append(ReadNote("info", f"The glTF has {len(scenes)} scenes; scene {chosen} was read."))
        if not isinstance(scenes[chosen], dict):
            raise damaged(f"scene {chosen} is no object")
        return [number(i, "a scene's node", len(self.nodes)) for i in listed(scenes[chosen], "nodes")]

    def _walk(self, start: int) -> None:
        seen = self.seen
        stack: list[tuple[int, NDArray[np.float64], int]] = [(start, np.eye(4), 0)]
        while stack:
            index, above, depth = stack.pop()
            if index in seen or depth > _MAX_DEPTH:
                raise Unreadable(
                    f"Node {index} of the glTF stands under itself, under two parents, or too deep.",
                    remedy="Export it again.",
                )
            seen.add(index)
            node = self.nodes[index]
            if not isinstance(node, dict):
                raise damaged(f"node {index} is no object")
            here = above @ _local(node, index)
            if "mesh" in node:
                mesh = number(node["mesh"], "a node's mesh", len(self.meshes))
                self._add_mesh(mesh, here, node)
            children = [number(i, "a node's child", len(self.nodes)) for i in listed(node, "children")]
            stack.extend((child, here, depth + 1) for child in reversed(children))

    def _add_mesh(self, index: int, matrix: NDArray[np.float64], node: dict[str, Any]) -> None:
        mesh = self.meshes[index]
        if not isinstance(mesh, dict):
            raise damaged(f"mesh {index} is no object")
        if "skin" in node:
            self.asides.add("A mesh is posed by a skeleton; it was taken in its rest position.")
        extensions = node.get("extensions")
        if isinstance(extensions, dict) and "EXT_mesh_gpu_instancing" in extensions:
            self.asides.add("A node is repeated by an instancing extension; it was taken once.")
        turn = _TURN @ matrix[:3, :3]
        move = _TURN @ matrix[:3, 3]
        determinant = float(np.linalg.det(turn))
        if not np.isfinite(matrix).all() or abs(determinant) < 1e-30:
            raise Unreadable(f"A node flattens mesh {index} of the glTF to nothing.", remedy="Export it again.")
        gathered = 0
        for primitive in listed(mesh, "primitives"):
            if not isinstance(primitive, dict):
                raise damaged(f"a primitive of mesh {index} is no object")
            mode = number(primitive.get("mode", 4), "a primitive's mode", 7)
            if mode in _POINTS_AND_LINES:
                self.left_out += 1
                continue
            if "targets" in primitive:
                self.asides.add("Morph targets were left out; the mesh was taken as it is without them.")
            points, faces = self._primitive(primitive, mode)
            if determinant < 0:
                # A mirroring node turns the winding over (glTF 2.0 section 3.7.4).
                faces = faces[:, ::-1]
            with np.errstate(invalid="ignore", over="ignore"):  # too far away is refused when the whole is known
                self.vertices.append(points @ turn.T + move)
            self.faces.append(faces + self.vertex_count)
            self.vertex_count += len(points)
            if self.vertex_count > 3 * MAX_TRIANGLES:
                raise too_many(self.vertex_count // 3)
            gathered += len(faces)
        if gathered:
            name = node.get("name") or mesh.get("name") or f"mesh {index}"
            self.names.append(clean_name(str(name)))
            self.counts.append(gathered)

    def _primitive(self, primitive: dict[str, Any], mode: int) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        attributes = primitive.get("attributes")
        if not isinstance(attributes, dict) or "POSITION" not in attributes:
            raise damaged("a primitive has no positions")
        points = self.buffers.accessor(attributes["POSITION"], "VEC3")
        self.single = self.single and points.dtype != np.float64
        if "indices" in primitive:
            order = self.buffers.accessor(primitive["indices"], "SCALAR")
            if order.dtype.kind != "u":
                raise damaged("indices are not whole numbers")
            corners = order.ravel().astype(np.int64)
            if len(corners) and int(corners.max()) >= len(points):
                raise Unreadable(
                    f"A face names vertex {int(corners.max())}, but the glTF mesh holds {len(points)}.",
                    remedy="Export it again.",
                )
        else:
            corners = np.arange(len(points), dtype=np.int64)
        faces = _faces(corners, mode)
        self.triangle_count += len(faces)
        if self.triangle_count > MAX_TRIANGLES:
            raise too_many(self.triangle_count)
        with np.errstate(invalid="ignore"):  # what is no number stays none, and is refused with the whole
            return points.astype(np.float64), faces


def _faces(corners: NDArray[np.int64], mode: int) -> NDArray[np.int64]:
    """Triangles of a list (4), a strip (5) or a fan (6): glTF 2.0 section 3.7.2.1."""
    if mode == 4:
        if len(corners) % 3:
            raise damaged("a triangle list does not hold whole triangles")
        return corners.reshape(-1, 3)
    if len(corners) < 3:
        raise damaged("a strip or fan has fewer than three vertices")
    if mode == 6:
        return np.stack((corners[1:-1], corners[2:], np.full(len(corners) - 2, corners[0])), axis=1)
    first = np.arange(len(corners) - 2)
    odd = first % 2
    return np.stack((corners[first], corners[first + 1 + odd], corners[first + 2 - odd]), axis=1)


def _local(node: dict[str, Any], index: int) -> NDArray[np.float64]:
    """The node's own 4 x 4 transform."""

    def row(key: str, length: int, default: list[float]) -> NDArray[np.float64]:
        value = node.get(key, default)
        fine = isinstance(value, list) and len(value) == length
        if not fine or not all(type(x) in (int, float) and abs(x) < 1e30 for x in value):
            raise damaged(f"the {key} of node {index} is not {length} numbers")
        return np.array(value, np.float64)

    if "matrix" in node:
        return row("matrix", 16, []).reshape(4, 4).T
    x, y, z, w = row("rotation", 4, [0.0, 0.0, 0.0, 1.0])
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    made = np.eye(4)
    made[:3, :3] = turn * row("scale", 3, [1.0, 1.0, 1.0])
    made[:3, 3] = row("translation", 3, [0.0, 0.0, 0.0])
    return made


FORMAT = Format("glTF", (".glb", ".gltf"), _claims, read)
