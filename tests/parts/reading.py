"""Reading bytes in a test as if they were a file."""

from __future__ import annotations

from pathlib import Path

from lintsvc.model.part import Part
from lintsvc.readers import read_part
from lintsvc.readers.content import sha256_of
from lintsvc.readers.format import ReadOptions


def read_file(path: Path, units: str | None = None) -> Part:
    """Read a file under its own name."""
    return read_part(path, ReadOptions(path.name, sha256_of(path), units=units))


def read_bytes(folder: Path, data: bytes | str, units: str | None = None) -> Part:
    """Write the bytes to a file without a telling name, and read it."""
    path = folder / "part"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return read_file(path, units)
