"""Mesh files made in code, byte by byte, for the tests of the readers. Lengths are in file units."""

from __future__ import annotations

import base64
import io
import json
import struct
import zipfile
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
Faces = NDArray[np.int64]

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
START = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"


def box(
    x: float = 10.0, y: float = 20.0, z: float = 30.0, at: Sequence[float] = (0.0, 0.0, 0.0)
) -> tuple[Points, Faces]:
    """Return 8 vertices and 12 outward faces of a box with its low corner at `at`."""
    vertices = np.array([(i, j, k) for i in (0.0, x) for j in (0.0, y) for k in (0.0, z)]) + np.asarray(at)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return vertices, np.array([(a, b, c) for a, b, c, _ in quads] + [(a, c, d) for a, _, c, d in quads])


QUADS = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]


def grid(cells: int) -> tuple[Points, Faces]:
    """Return a wavy closed-looking sheet of 2 cells² triangles: many faces, no two alike."""
    at = np.arange(cells + 1, dtype=np.float64)
    x, y = np.meshgrid(at, at, indexing="ij")
    vertices = np.stack((x, y, np.sin(x / 7) * np.cos(y / 5)), axis=-1).reshape(-1, 3)
    a = (np.arange(cells)[:, None] * (cells + 1) + np.arange(cells)[None, :]).ravel()
    faces = np.concatenate((np.stack((a, a + cells + 1, a + 1), 1), np.stack((a + 1, a + cells + 1, a + cells + 2), 1)))
    return vertices, faces


def binary_stl(
    vertices: Points, faces: Faces, *, count: int | None = None, header: bytes = b"made for a test", tail: bytes = b""
) -> bytes:
    """Return a binary STL; `count` lies about the number of triangles."""
    facets = np.zeros(len(faces), np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")]))
    facets["v"] = vertices[faces]
    stated = len(faces) if count is None else count
    return header[:80].ljust(80, b"\0") + struct.pack("<I", stated) + facets.tobytes() + tail


def ascii_stl(
    vertices: Points, faces: Faces, *, name: str = "part", number: Callable[[float], str] = repr, end: str = "\n"
) -> str:
    """Return an ASCII STL of one solid."""
    lines = [f"solid {name}"]
    for corners in vertices[faces].tolist():
        lines += [" facet normal 0 0 0", "  outer loop"]
        lines += [f"   vertex {' '.join(number(x) for x in p)}" for p in corners]
        lines += ["  endloop", " endfacet"]
    return end.join([*lines, f"endsolid {name}", ""])


def obj(vertices: Points, faces: Iterable[Sequence[int]], *, slashes: str = "", name: str = "") -> str:
    """Return an OBJ; `slashes` follows each vertex number, such as "/1/1"."""
    lines = [f"o {name}"] if name else []
    lines += [f"v {' '.join(map(repr, p))}" for p in np.asarray(vertices).tolist()]
    lines += [f"f {' '.join(f'{int(i) + 1}{slashes}' for i in face)}" for face in faces]
    return "\n".join([*lines, ""])


def ply(vertices: Points, faces: Sequence[Sequence[int]], *, form: str = "ascii", kind: str = "float") -> bytes:
    """Return a PLY. `form`: ascii, binary_little_endian or binary_big_endian; `kind`: float or double."""
    header = (
        f"ply\nformat {form} 1.0\ncomment made for a test\nelement vertex {len(vertices)}\n"
        f"property {kind} x\nproperty {kind} y\nproperty {kind} z\nproperty uchar red\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()
    if form == "ascii":
        rows = [f"{' '.join(map(repr, p))} 200" for p in np.asarray(vertices).tolist()]
        rows += [f"{len(f)} {' '.join(map(str, map(int, f)))}" for f in faces]
        return header + "\n".join([*rows, ""]).encode()
    order = "<" if form == "binary_little_endian" else ">"
    letter = "f" if kind == "float" else "d"
    body = b"".join(struct.pack(f"{order}3{letter}B", *p, 200) for p in np.asarray(vertices).tolist())
    body += b"".join(struct.pack(f"{order}B{len(f)}i", len(f), *map(int, f)) for f in faces)
    return header + body


def mesh_xml(vertices: Points, faces: Faces) -> str:
    """Return the mesh element of a 3MF object."""
    points = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in np.asarray(vertices).tolist())
    corners = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in np.asarray(faces).tolist())
    return f"<mesh><vertices>{points}</vertices><triangles>{corners}</triangles></mesh>"


def model_xml(
    resources: str, items: str = '<item objectid="1"/>', *, attributes: str = 'unit="millimeter"', before: str = ""
) -> str:
    """Return a 3MF model part."""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{before}<model xmlns="{CORE}" {attributes}>'
        f"<resources>{resources}</resources><build>{items}</build></model>"
    )


def threemf(model: str | bytes, *, more: dict[str, bytes | str] | None = None, leave_out: Sequence[str] = ()) -> bytes:
    """Return a 3MF package around a model part."""
    parts: dict[str, bytes | str] = {
        "[Content_Types].xml": '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/'
        'content-types"><Default Extension="model" ContentType="'
        'application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/></Types>',
        "_rels/.rels": '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/'
        f'relationships"><Relationship Id="r0" Type="{START}" Target="/3D/3dmodel.model"/></Relationships>',
        "3D/3dmodel.model": model,
        **(more or {}),
    }
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in parts.items():
            if name not in leave_out:
                package.writestr(zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return file.getvalue()


def gltf_root(vertices: Points, indices: NDArray[Any] | None, **changes: Any) -> tuple[dict[str, Any], bytes]:
    """Return the JSON and the buffer of a glTF with one mesh; keys of `changes` replace those of the JSON."""
    points = np.asarray(vertices, "<f4").tobytes()
    order = b"" if indices is None else np.asarray(indices, "<u2").tobytes()
    root: dict[str, Any] = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": "box"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": len(vertices), "type": "VEC3"}],
        "bufferViews": [{"buffer": 0, "byteLength": len(points)}],
        "buffers": [{"byteLength": len(points) + len(order)}],
    }
    if indices is not None:
        root["meshes"][0]["primitives"][0]["indices"] = 1
        count = int(np.asarray(indices).size)
        root["accessors"].append({"bufferView": 1, "componentType": 5123, "count": count, "type": "SCALAR"})
        root["bufferViews"].append({"buffer": 0, "byteOffset": len(points), "byteLength": len(order)})
    root.update(changes)
    return root, points + order


def glb(root: dict[str, Any], buffer: bytes, *, total: int | None = None, tail: bytes = b"") -> bytes:
    """Return a GLB; `total` lies about its length."""
    text = json.dumps(root).encode()
    text += b" " * (-len(text) % 4)
    buffer += b"\0" * (-len(buffer) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text + struct.pack("<II", len(buffer), 0x004E4942) + buffer
    return b"glTF" + struct.pack("<II", 2, 12 + len(body) if total is None else total) + body + tail


def gltf(root: dict[str, Any], buffer: bytes) -> bytes:
    """Return a glTF with its buffer inside."""
    uri = "data:application/octet-stream;base64," + base64.b64encode(buffer).decode()
    return json.dumps({**root, "buffers": [{"byteLength": len(buffer), "uri": uri}]}).encode()
