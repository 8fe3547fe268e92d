"""What a file is, told by its bytes: hash, head, text or not, and the formats that are known but not read."""

from __future__ import annotations

import codecs
import hashlib
import re
import stat
import unicodedata
from pathlib import Path

from lintsvc.model.part import Unreadable

#: How much of a file the sniffers see.
HEAD_BYTES = 4096
#: Larger files are refused before they are read: a binary STL of this size has ten million triangles.
MAX_FILE_BYTES = 500 * 2**20
#: Names from files are cut to this length; they end up in reports.
MAX_NAME = 120

READABLE = "STL, 3MF, STEP, OBJ, PLY or glTF for a body, DXF or SVG for a flat part"
_SEND = f"Send {READABLE}."
_SOLID = "Export the part from the CAD program as STEP, 3MF or STL, or its flat as DXF, and send that."
_DRAWING = "A picture has no exact geometry. Export the part as STEP, 3MF or STL, or its flat as DXF or SVG."


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of the file's bytes, in hex. Raises Unreadable where it cannot be opened."""
    try:
        _refuse_pipe(path)
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise not_opened(error) from error


def head_of(path: Path) -> tuple[bytes, int]:
    """Return the first bytes (at most HEAD_BYTES) and the size. Raises Unreadable for empty, blank and too large."""
    try:
        _refuse_pipe(path)
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
            size = file.seek(0, 2)
    except OSError as error:
        raise not_opened(error) from error
    if size == 0:
        raise Unreadable("The file is empty.", remedy="Export it again and look at its size before sending.")
    if not head.strip(b" \t\r\n\f\v\0"):
        raise Unreadable("The file begins with nothing but blank or zero bytes.", "byte 0", "Export it again.")
    if size > MAX_FILE_BYTES:
        raise Unreadable(
            f"The file has {size / 2**20:.0f} MiB; the limit is {MAX_FILE_BYTES // 2**20} MiB.",
            remedy="Export it with a coarser tolerance, or as STEP.",
        )
    return head, size


def _refuse_pipe(path: Path) -> None:
    """Opening a pipe would wait for its other end, and reading a device might never end."""
    mode = path.stat().st_mode
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
        raise Unreadable("This is a pipe or a device, not a file.", remedy="Save it as a file first.")


def bytes_of(path: Path, limit: int, what: str) -> bytes:
    """Return all bytes of a file that may have at most `limit`. Raises Unreadable for more."""
    try:
        with path.open("rb") as file:
            data = file.read(limit + 1)
    except OSError as error:
        raise not_opened(error) from error
    if len(data) > limit:
        raise Unreadable(
            f"The {what} file has more than {limit // 2**20} MiB, the limit for this format.",
            remedy="Export it with a coarser tolerance, or in a binary format.",
        )
    return data


def not_opened(error: OSError) -> Unreadable:
    """Turn what the system says into a plain sentence, without the path."""
    if isinstance(error, FileNotFoundError):
        return Unreadable("There is no such file.")
    if isinstance(error, IsADirectoryError):
        return Unreadable("This is a folder, not a file.", remedy="Name the files in it.")
    if isinstance(error, PermissionError):
        return Unreadable("The file may not be read (permission denied).")
    return Unreadable(f"The file could not be read: {error.strerror or 'input error'}.")


def is_text(head: bytes) -> bool:
    """True when the bytes hold no control characters but white space: text in ASCII, UTF-8 or an 8-bit code."""
    return not re.search(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f]", head)


def plain_text(data: bytes) -> bytes:
    """Return text without byte-order mark; UTF-16 and UTF-32 with a mark become UTF-8.

    Raises Unreadable when the mark promises what the bytes do not keep.
    """
    marks = ((codecs.BOM_UTF32_LE, "utf-32-le"), (codecs.BOM_UTF32_BE, "utf-32-be"), (codecs.BOM_UTF8, ""))
    for mark, code in (*marks, (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        if data.startswith(mark):
            rest = data[len(mark) :]
            if not code:
                return rest
            # The head of a file may end in the middle of a character.
            width = 4 if "32" in code else 2
            try:
                return rest[: len(rest) // width * width].decode(code).encode("utf-8")
            except UnicodeError as error:
                raise Unreadable(f"The text begins as {code} and is damaged.", remedy="Save it as UTF-8.") from error
    return data


def plain_head(head: bytes) -> bytes:
    """Return `plain_text` of a head, or the head itself where its byte-order mark lies. Never raises."""
    try:
        return plain_text(head)
    except Unreadable:
        return head


def clean_name(name: str) -> str:
    """Return a name from a file without control characters, cut to MAX_NAME."""
    kept = "".join(c if unicodedata.category(c)[0] != "C" else " " for c in name[: 4 * MAX_NAME]).strip()
    return kept if len(kept) <= MAX_NAME else kept[: MAX_NAME - 1] + "…"


# First bytes, what it is, what to send instead.
_MAGIC: tuple[tuple[bytes, str, str], ...] = (
    (b"\x89PNG\r\n", "a PNG picture", _DRAWING),
    (b"\xff\xd8\xff", "a JPEG picture", _DRAWING),
    (b"GIF8", "a GIF picture", _DRAWING),
    (b"II*\0", "a TIFF picture", _DRAWING),
    (b"MM\0*", "a TIFF picture", _DRAWING),
    (b"8BPS", "a layered picture file", _DRAWING),
    (b"%PDF-", "a PDF", "A PDF is a drawing on paper. Export the flat as DXF or SVG, or the part as STEP."),
    (b"%!PS", "PostScript", "Export the flat as DXF or SVG."),
    (b"\x1f\x8b", "gzip-compressed", "Unpack it and send the part file itself."),
    (b"BZh", "bzip2-compressed", "Unpack it and send the part file itself."),
    (b"\xfd7zXZ\0", "xz-compressed", "Unpack it and send the part file itself."),
    (b"\x28\xb5\x2f\xfd", "zstd-compressed", "Unpack it and send the part file itself."),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "Unpack it and send the part files themselves."),
    (b"Rar!", "a RAR archive", "Unpack it and send the part files themselves."),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a compound document (a native CAD or office file)", _SOLID),
    (b"Kaydara FBX Binary", "an FBX scene", "Export the part as 3MF, STL or STEP."),
    (b"BLENDER", "a Blender file", "Export the part as 3MF or STL."),
    (b"**ABCDEFGHIJKLMNOPQRSTUVWXYZ", "a Parasolid transmit file", _SOLID),
    (b"(DWF V", "a DWF drawing", "Export the flat as DXF."),
    (b"{\\rtf", "a text document", _SEND),
    (b"\x7fELF", "a program", _SEND),
    (b"MZ", "a program", _SEND),
)
# Patterns over the head as text, lower case.
_TEXT: tuple[tuple[bytes, str, str], ...] = (
    (rb"<!doctype html|<html[\s>]", "an HTML page", f"Perhaps a download link was saved instead of the file. {_SEND}"),
    (rb"<(\w+:)?(iso_10303|uos[\s>])", "STEP in XML", "Export it as an ordinary STEP file (Part 21, .step)."),
    (rb"<(\w+:)?model[\s>][^>]*3dmanufacturing", "the inner model of a 3MF", "Send the whole .3mf package."),
    (rb"<(\w+:)?amf[\s>]", "AMF", "Export the part as 3MF."),
    (rb"<collada[\s>]", "a COLLADA scene", "Export the part as 3MF, STL or STEP."),
    (rb"<x3d[\s>]", "an X3D scene", "Export the part as 3MF, STL or STEP."),
    (rb"^#vrml", "a VRML scene", "Export the part as 3MF, STL or STEP."),
    (rb"^; fbx ", "an FBX scene", "Export the part as 3MF, STL or STEP."),
    (rb"^off\b", "an OFF mesh", "Export the part as 3MF, STL or PLY."),
    (rb"^;?\s*(g-?code|flavor:|generated by .*slic)|^(g(0|1|21|28|90)|m(104|109|140))\b", "machine code", _SOLID),
    (rb"^dbrep_drawable|^cascade topology", "a native B-rep file", "Export it as STEP."),
)


def known_but_not_read(head: bytes) -> tuple[str, str] | None:
    """Return what a file is and what to send instead, for the common formats that are not read; else None."""
    for magic, what, remedy in _MAGIC:
        if head.startswith(magic):
            return what, remedy
    if re.match(rb"AC(10\d\d|1\.\d\d|2\.\d\d)\0", head):
        return "a DWG drawing", "Save it as DXF and send that."
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return "a WebP picture", _DRAWING
    if head.startswith(b"BM") and head[6:10] == b"\0\0\0\0":
        return "a BMP picture", _DRAWING
    if re.match(rb"[^\r\n]{72}S[ 0]{6}1\s*[\r\n]", head):
        return "IGES", "IGES often loses surfaces. Export the part as STEP."
    text = plain_head(head)
    if not is_text(text):
        return None
    lowered = text.strip().lower()
    for pattern, what, remedy in _TEXT:
        if re.search(pattern, lowered):
            return what, remedy
    if lowered.startswith(b"<"):
        return "XML of a kind that is not read", _SEND
    return None
