"""Blobs: a folder, or a bucket of an S3 store. A name is written once and never changed.

Uploads stand under `files/` by the hash of their bytes; what was made from them stands under
`made/` by a random name, so that purging one can never take away another's.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, Protocol

CHUNK = 1024 * 1024


class Blobs(Protocol):
    """Where bytes are kept by name."""

    def prepare(self) -> None:
        """Make the folder or the bucket where it is not there. Raises whatever keeps it from it."""

    def reachable(self) -> bool:
        """True when the folder or the bucket is there and answers."""

    def put(self, name: str, source: Path) -> None:
        """Keep a copy of a local file. All of it or nothing. Raises OSError when it cannot."""

    def take(self, name: str, source: Path) -> None:
        """As `put`, for a file that nobody changes any more: where it can, it is not copied."""

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

    def old(self, prefix: str, before: float) -> Iterator[str]:
        """Names under a prefix that were written before a time (seconds since 1970), half-written ones too."""


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
        self.prepare()

    def prepare(self) -> None:
        self.root.mkdir(parents=True, exist_ok=True, mode=0o700)

    def reachable(self) -> bool:
        return os.access(self.root, os.W_OK)

    def _path(self, name: str) -> Path:
        if ".." in name or name.startswith("/"):
            raise FileNotFoundError(name)
        return self.root / name

    def put(self, name: str, source: Path) -> None:
        self._keep(name, source, shutil.copyfile)

    def take(self, name: str, source: Path) -> None:
        try:
            self._keep(name, source, os.link)
        except OSError as error:
            # Another file system, or one without links.
            if error.errno not in (errno.EXDEV, errno.EPERM, errno.EOPNOTSUPP, errno.EMLINK):
                raise
            self.put(name, source)

    def _keep(self, name: str, source: Path, bring: Callable[[Path, Path], object]) -> None:
        target = self._path(name)
        if target.exists():
            return
        if not target.parent.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            _sync_folder(target.parent.parent)
        part = target.with_name(f".{secrets.token_hex(8)}.part")
        try:
            bring(source, part)
            with part.open("rb") as written:
                os.fsync(written.fileno())
            part.replace(target)
        finally:
            # Also after success: renaming one link of a file to another changes nothing.
            part.unlink(missing_ok=True)
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

    def old(self, prefix: str, before: float) -> Iterator[str]:
        for path in self._path(prefix).rglob("*"):
            with suppress(FileNotFoundError):  # deleted in this instant
                if path.is_file() and path.stat().st_mtime < before:
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
        # Whoever asks whether the store answers does not wait until every retry is used up.
        once = {"connect_timeout": 2, "read_timeout": 3, "retries": {"max_attempts": 0}}
        self._asked_once = fsspec.filesystem("s3", use_listings_cache=False, config_kwargs=once, **options)
        self._asked_once.retries = 1

    @property
    def _bucket(self) -> str:
        return self.root.partition("/")[0]

    def prepare(self) -> None:
        if not self.files.exists(self._bucket):
            self.files.mkdir(self._bucket)

    def reachable(self) -> bool:
        try:
            return bool(self._asked_once.exists(self._bucket))
        except Exception:  # noqa: BLE001 - the client library's errors are of many families
            return False

    def _key(self, name: str) -> str:
        return f"{self.root}/{name}"

    def put(self, name: str, source: Path) -> None:
        if not self.has(name):
            self.files.put_file(str(source), self._key(name))

    def take(self, name: str, source: Path) -> None:
        self.put(name, source)

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

    def old(self, prefix: str, before: float) -> Iterator[str]:
        for key, about in self.files.find(self._key(prefix), detail=True).items():
            if about["LastModified"].timestamp() < before:
                yield str(key)[len(self.root) + 1 :]
