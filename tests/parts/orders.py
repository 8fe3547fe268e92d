"""Small orders in the making: their parts, and the text of the order file."""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from manifold3d import Manifold
from parts.fixture_folders import Folder, rectangle

Hole = tuple[float, float, float]


def stl(solid: Manifold) -> bytes:
    """Return a solid as a binary STL, its facets in a fixed order."""
    mesh = solid.to_mesh()
    corners = np.asarray(mesh.vert_properties[:, :3], np.float32)[np.asarray(mesh.tri_verts)]
    out = [b"lintsvc fixture".ljust(80, b"\0"), struct.pack("<I", len(corners))]
    for triangle in corners[np.lexsort(corners.reshape(len(corners), 9).T)]:
        out.append(struct.pack("<12fH", 0.0, 0.0, 0.0, *triangle.ravel(), 0))
    return b"".join(out)


def block(x: float, y: float, z: float) -> Manifold:
    """A block with a corner at the origin."""
    return Manifold.cube((x, y, z))


def bore(x: float, y: float, bottom: float, depth: float, diameter: float) -> Manifold:
    """An upright cylinder to cut a hole with, 64 sides."""
    return Manifold.cylinder(depth, diameter / 2, circular_segments=64).translate((x, y, bottom))


def plate(holes: Sequence[Hole], width: float = 60.0, height: float = 40.0) -> bytes:
    """Return the DXF of a plate with round holes."""
    flat = rectangle(width, height)
    for x, y, diameter in holes:
        flat = flat.hole(x, y, diameter)
    return flat.text().encode()


def square(diameter: float, x: float = 40.0, y: float = 20.0) -> list[Hole]:
    """Four holes about the middle of a plate."""
    return [(a, b, diameter) for a in (30 - x / 2, 30 + x / 2) for b in (20 - y / 2, 20 + y / 2)]


def sheet(id: str, file: str, **more: Any) -> str:
    """A [[part]] of 2 mm aluminium."""
    return part(id, file, **{"process": "sheet", "material": "aluminium-5052-h32", "thickness": 2.0, **more})


def printed(id: str, file: str, **more: Any) -> str:
    """A [[part]] of PA12."""
    return part(id, file, **{"process": "powder-bed", "material": "pa12", **more})


def part(id: str, file: str, **more: Any) -> str:
    """A [[part]]."""
    return table("part", id=id, file=file, **more)


def table(name: str, **keys: Any) -> str:
    """An entry of an order file."""
    return "\n".join([f"[[{name}]]", *(f"{key} = {toml(value)}" for key, value in keys.items())]) + "\n"


def toml(value: Any) -> str:
    """A value as TOML."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml(x)}" for key, x in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(x) for x in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else repr(value)


def holes_meet(a: str, b: str, size: str = "M4", **more: Any) -> str:
    """A relation by screws; `screw` keys go into the screw."""
    screw = {"size": size, **more.pop("screw", {})}
    return table("relation", kind="holes-meet", a={"of": a}, b={"of": b}, screw=screw, **more)


class OrderFolder(Folder):
    """The fixtures of a rule of orders."""

    def part_file(self, name: str, data: bytes) -> None:
        """Write a part's file that cases share."""
        (self._folder / name).write_bytes(data)

    def order(self, name: str, text: str, finds: Sequence[dict[str, Any]] = ()) -> None:
        """Add an order and what is found in it."""
        self.file(f"{name}.toml", text.encode(), finds)


def write(folder: Path, text: str, **files: bytes) -> Path:
    """Write an order with its parts' files into a folder; return the order's path. `_` in a name stands for its dot."""
    for name, data in files.items():
        stem, _, end = name.rpartition("_")
        (folder / f"{stem}.{end}").write_bytes(data)
    path = folder / "order.toml"
    path.write_text(text, "utf-8")
    return path
