"""Blobs: a folder, or a bucket of an S3 store. A name is written once and never changed.

Uploads stand under `files/` by the hash of their bytes; what was made from them stands under
`made/` by a random name, so that purging one can never take away another's.
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, Protocol

CHUNK = 1024 * 1024


class Blobs(Protocol):
    """Where bytes are kept by name."""

    def put(self, name: str, source: Path) -> None:
        """Keep a copy of a local file. All of it or nothing. Raises OSError when it cannot."""

    def has(self, name: str) -> bool:
        """True when the name is there, whole."""

    def open(self, name: str) -> IO[bytes]:
        """Open for reading. Raises FileNotFoundError."""

    def fetch(self, name: str, target: Path) -> None:
        """Copy to a local file. Raises FileNotFoundError."""

    def delete(self, name: str) -> None:
        """Delete; a name that is not there is no error."""

    def names(self, prefix: str) -> Iterator[str]:
        """All names under a prefix."""


def file_blob(sha256: str) -> str:
    """Name of an upload's blob."""
    return f"files/{sha256[:2]}/{sha256}"


def made_blob() -> str:
    """A new name for something made from an upload."""
    name = secrets.token_hex(16)
    return f"made/{name[:2]}/{name}"


def open_blobs(root: str, s3_endpoint: str = "") -> Blobs:
    """Return the blobs at a folder or an s3:// address."""
    if root.startswith("s3://"):
        return BucketBlobs(root[len("s3://") :], s3_endpoint)
    return FolderBlobs(Path(root))


class FolderBlobs:
    """Blobs in a folder of this machine, or one that several machines mount."""

    def __init__(self, root: Path) -> None:
        self.root = root
        root.mkdir(parents=True, exist_ok=True, mode=0o700)

    def _path(self, name: str) -> Path:
        if ".." in name or name.startswith("/"):
            raise FileNotFoundError(name)
        return self.root / name

    def put(self, name: str, source: Path) -> None:
        target = self._path(name)
        if target.exists():
            return
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_name(f".{secrets.token_hex(8)}.part")
        try:
            shutil.copyfile(source, part)
            with part.open("rb") as written:
                os.fsync(written.fileno())
            part.replace(target)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
        _sync_folder(target.parent)

    def has(self, name: str) -> bool:
        return self._path(name).is_file()

    def open(self, name: str) -> IO[bytes]:
        return self._path(name).open("rb")

    def fetch(self, name: str, target: Path) -> None:
        shutil.copyfile(self._path(name), target)

    def delete(self, name: str) -> None:
        path = self._path(name)
        path.unlink(missing_ok=True)

    def names(self, prefix: str) -> Iterator[str]:
        for path in sorted(self._path(prefix).rglob("*")):
            if path.is_file() and not path.name.startswith("."):
                yield str(path.relative_to(self.root))


def _sync_folder(folder: Path) -> None:
    """Make a rename outlive a power cut."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class BucketBlobs:
    """Blobs in an S3 bucket. Keys come from the usual AWS variables of the environment."""

    def __init__(self, root: str, endpoint: str = "") -> None:
        import fsspec

        self.root = root.rstrip("/")
        options: dict[str, Any] = {"client_kwargs": {"endpoint_url": endpoint}} if endpoint else {}
        # Listings must not be cached: another process may have written since.
        self.files = fsspec.filesystem("s3", use_listings_cache=False, **options)

    def _key(self, name: str) -> str:
        return f"{self.root}/{name}"

    def put(self, name: str, source: Path) -> None:
        if not self.has(name):
            self.files.put_file(str(source), self._key(name))

    def has(self, name: str) -> bool:
        return bool(self.files.exists(self._key(name)))

    def open(self, name: str) -> IO[bytes]:
        opened: IO[bytes] = self.files.open(self._key(name), "rb", block_size=4 * CHUNK)
        return opened

    def fetch(self, name: str, target: Path) -> None:
        self.files.get_file(self._key(name), str(target))

    def delete(self, name: str) -> None:
        if self.has(name):
            self.files.rm_file(self._key(name))

    def names(self, prefix: str) -> Iterator[str]:
        for key in self.files.find(self._key(prefix)):
            yield str(key)[len(self.root) + 1 :]
