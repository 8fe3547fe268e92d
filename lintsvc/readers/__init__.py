"""Bytes to Part. The format is told by content, never by the file's name."""

from lintsvc.readers.read import read_part

__all__ = ["read_part"]
