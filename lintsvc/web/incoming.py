"""Uploads on their way in: written to disk and hashed as they come, never whole in memory."""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import unicodedata
from pathlib import Path
from typing import IO, Any

from flask import Request, current_app

from lintsvc.settings import MIB
from lintsvc.web.problems import Problem
from lintsvc.web.services import Services

#: Room that must be left on the disk after an upload.
RESERVE_BYTES = 64 * MIB
LONGEST_NAME = 120


class IncomingFile:
    """A file being uploaded. Gone when it is closed; who wants it keeps a copy first."""

    def __init__(self, folder: Path, largest: int) -> None:
        self._file = tempfile.NamedTemporaryFile(dir=folder, prefix="upload-")  # noqa: SIM115 - closed with the request
        self._digest = hashlib.sha256()
        self._largest = largest
        self.size = 0

    @property
    def path(self) -> Path:
        """Where it lies while it is open."""
        return Path(self._file.name)

    @property
    def sha256(self) -> str:
        """Hash of what was written."""
        return self._digest.hexdigest()

    def write(self, data: bytes) -> int:
        """Take the next piece. Raises Problem when it grows too large, OSError when the disk is full."""
        self.size += len(data)
        if self.size > self._largest:
            raise Problem("too-large", f"one file may have at most {self._largest // MIB} MiB")
        self._digest.update(data)
        return self._file.write(data)

    def finish(self) -> None:
        """Make sure that everything is in the file and not in a buffer."""
        self._file.flush()

    def seek(self, offset: int, whence: int = 0) -> int:
        """Move in the file."""
        return self._file.seek(offset, whence)

    def read(self, size: int = -1) -> bytes:
        """Read from the file."""
        return self._file.read(size)

    def close(self) -> None:
        """Delete the file."""
        self._file.close()


class UploadRequest(Request):
    """A request whose files go to the incoming folder."""

    def _get_file_stream(
        self,
        total_content_length: int | None,
        content_type: str | None,
        filename: str | None = None,
        content_length: int | None = None,
    ) -> IO[bytes]:
        here: Services = current_app.extensions["lintsvc"]
        stream: Any = IncomingFile(here.settings.incoming, here.settings.upload_mib * MIB)
        return stream  # type: ignore[no-any-return]


def refuse_without_room(folder: Path, size: int) -> None:
    """Refuse an upload that the disk has no room for, before it is sent. Raises Problem."""
    if shutil.disk_usage(folder).free < size + RESERVE_BYTES:
        raise Problem("no-room", "The disk has no room for this upload. Nothing was kept of it.")


def shown_name(name: str) -> str:
    """Return an uploaded file's name as it is kept: the last piece of a path, no control signs, not too long.

    It is only ever shown, never used as a path.
    """
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    plain = "".join(x for x in unicodedata.normalize("NFC", last) if unicodedata.category(x)[0] not in "CZ" or x == " ")
    plain = plain.strip()
    if len(plain) > LONGEST_NAME:
        # Both ends say something: the start what it is, the end which format.
        plain = plain[: LONGEST_NAME - 21] + "…" + plain[-20:]
    return plain or "part"
