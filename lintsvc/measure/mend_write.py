"""Writing a mended mesh: binary STL, OBJ, binary PLY, 3MF, GLB. Vertices and faces keep their order."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from io import TextIOWrapper
from pathlib import Path
from typing import TextIO
from xml.sax.saxutils import quoteattr

import numpy as np

from lintsvc.measure.mend_draft import Draft
from lintsvc.measure.mend_glb import write_glb
from lintsvc.measure.mesh import Floats, Ints
from lintsvc.measure.stl_bytes import stl_bytes
from lintsvc.model.units import MM_PER_UNIT

_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_START = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/"
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'

#: Path, what to write, names of its objects, whether its numbers are single precision, and their unit.
Writer = Callable[[Path, Draft, tuple[str, ...], bool, str], None]
#: The units that a 3MF can state (3MF Core Specification 1.4.0, 3.4).
UNITS = {
    "micron": "micron", "mm": "millimeter", "cm": "centimeter", "m": "meter", "in": "inch", "ft": "foot",
}  # fmt: skip


def _stl(path: Path, draft: Draft, names: tuple[str, ...], single: bool, unit: str) -> None:
    path.write_bytes(stl_bytes(draft.vertices[draft.faces], "mended by lintsvc"))


def _obj(path: Path, draft: Draft, names: tuple[str, ...], single: bool, unit: str) -> None:
    with path.open("w", encoding="utf-8", newline="\n") as file:
        done = 0
        for name, chosen in _objects(draft, names):
            vertices, faces = _own(draft, chosen)
            if name:
                # A name of several lines would be read as more than a name.
                file.write(f"o {' '.join(name.split())}\n")
            for x, y, z in vertices.tolist():
                file.write(f"v {x!r} {y!r} {z!r}\n")
            for a, b, c in (faces + 1 + done).tolist():
                file.write(f"f {a} {b} {c}\n")
            done += len(vertices)


def _ply(path: Path, draft: Draft, names: tuple[str, ...], single: bool, unit: str) -> None:
    vertices, faces = _own(draft, np.arange(len(draft.faces), dtype=np.int32))
    kind = "float" if single else "double"
    header = (
        f"ply\nformat binary_little_endian 1.0\ncomment mended by lintsvc\nelement vertex {len(vertices)}\n"
        f"property {kind} x\nproperty {kind} y\nproperty {kind} z\nelement face {len(faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    rows = np.empty(len(faces), np.dtype([("n", "u1"), ("v", "<i4", 3)]))
    rows["n"], rows["v"] = 3, faces
    with path.open("wb") as file:
        file.write(header.encode())
        vertices.astype("<f4" if single else "<f8").tofile(file)
        rows.tofile(file)


def _threemf(path: Path, draft: Draft, names: tuple[str, ...], single: bool, unit: str) -> None:
    types = (
        f'{_HEAD}<Types xmlns="{_PACKAGE}content-types">'
        f'<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
    )
    start = (
        f'{_HEAD}<Relationships xmlns="{_PACKAGE}relationships">'
        f'<Relationship Id="rel0" Type="{_START}" Target="/3D/3dmodel.model"/></Relationships>'
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("[Content_Types].xml", types)
        package.writestr("_rels/.rels", start)
        with package.open("3D/3dmodel.model", "w", force_zip64=True) as raw, TextIOWrapper(raw, "utf-8") as file:
            _model(file, draft, names, UNITS[unit])


def _model(file: TextIO, draft: Draft, names: tuple[str, ...], unit: str) -> None:
    file.write(f'{_HEAD}<model unit="{unit}" xml:lang="en" xmlns="{_CORE}"><resources>\n')
    objects = _objects(draft, names)
    for number, (name, chosen) in enumerate(objects, 1):
        vertices, faces = _own(draft, chosen)
        called = f" name={quoteattr(name)}" if name else ""
        file.write(f'<object id="{number}" type="model"{called}><mesh><vertices>\n')
        for x, y, z in vertices.tolist():
            file.write(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>\n')
        file.write("</vertices><triangles>\n")
        for a, b, c in faces.tolist():
            file.write(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n')
        file.write("</triangles></mesh></object>\n")
    items = "".join(f'<item objectid="{number}"/>' for number in range(1, len(objects) + 1))
    file.write(f"</resources><build>{items}</build></model>\n")


def _glb(path: Path, draft: Draft, names: tuple[str, ...], single: bool, unit: str) -> None:
    objects = ((name, *_own(draft, chosen)) for name, chosen in _objects(draft, names))
    write_glb(path, objects, MM_PER_UNIT[unit] / 1000.0)


def _objects(draft: Draft, names: tuple[str, ...]) -> list[tuple[str, Ints]]:
    """Return name and face numbers of each object that has faces."""
    return [
        (names[number] if number < len(names) else "", np.flatnonzero(draft.objects == number).astype(np.int32))
        for number in np.unique(draft.objects).tolist()
    ]


def _own(draft: Draft, chosen: Ints) -> tuple[Floats, Ints]:
    """Return the vertices that some faces use, in their order, and the faces on them."""
    used, faces = np.unique(draft.faces[chosen], return_inverse=True)
    return draft.vertices[used], faces.reshape(-1, 3).astype(np.int32)


#: Which endings are written, and by what.
WRITERS: dict[str, Writer] = {".stl": _stl, ".obj": _obj, ".ply": _ply, ".3mf": _threemf, ".glb": _glb}
#: These say which unit their numbers are in.
STATING = (".3mf", ".glb")
#: These hold single precision, whatever they are given.
SINGLE = (".stl", ".glb")
