"""Binary DXF: the same tags as in text, each value as its bytes."""

from __future__ import annotations

import struct
from collections.abc import Iterator

from lintsvc.model.part import Unreadable
from lintsvc.readers.dxf_tags import Record, code_page_of

SENTINEL = b"AutoCAD Binary DXF\r\n\x1a\0"

# What follows a group code, by its range (DXF reference, "Group code value types"). A struct format,
# "c" for a chunk with its length before it; every other code has a text that ends with a zero byte.
_RANGES = (
    (10, 59, "<d"), (60, 79, "<h"), (90, 99, "<i"), (110, 149, "<d"), (160, 169, "<q"), (170, 179, "<h"),
    (210, 239, "<d"), (270, 289, "<h"), (290, 299, "<B"), (310, 319, "c"), (370, 389, "<h"), (400, 409, "<h"),
    (420, 429, "<i"), (440, 459, "<i"), (460, 469, "<d"), (1004, 1004, "c"), (1010, 1059, "<d"), (1060, 1070, "<h"),
    (1071, 1071, "<i"),
)  # fmt: skip
_FORMATS = {code: form for first, last, form in _RANGES for code in range(first, last + 1)}


def binary_records(data: bytes) -> Iterator[Record]:
    """Yield the records of a binary DXF. `line` counts tags. Raises Unreadable where it breaks off."""
    kind, codes, values, start, count = "", [], [], 0, 0  # type: str, list[int], list[str], int, int
    try:
        for code, value in _tags(data):
            count += 1
            if code == 0:
                if kind:
                    yield Record(kind, codes, values, start)
                kind, codes, values, start = value.strip(), [], [], count
                if kind == "EOF":
                    break
            elif code != 999:
                codes.append(code)
                values.append(value)
    # The bytes end inside a tag.
    except (IndexError, ValueError, struct.error) as error:
        raise Unreadable(
            "The binary DXF file breaks off or is damaged.", f"tag {count + 1}", "Export it again, as text if possible."
        ) from error
    if kind:
        yield Record(kind, codes, values, start)


def _tags(data: bytes) -> Iterator[tuple[int, str]]:
    encoding = code_page_of(data)
    # R12 and older: group codes of one byte, 255 before a two-byte one. The first code is 0 either way.
    wide = data[len(SENTINEL) + 1] == 0
    at = len(SENTINEL)
    while at < len(data):
        code = data[at]
        if wide:
            code |= data[at + 1] << 8
            at += 2
        elif code == 255:
            code = data[at + 1] | data[at + 2] << 8
            at += 3
        else:
            at += 1
        form = _FORMATS.get(code)
        if form is None:
            end = data.index(0, at)
            yield code, data[at:end].decode(encoding, errors="replace")
            at = end + 1
        elif form == "c":
            at += 1 + data[at]
        else:
            yield code, repr(struct.unpack_from(form, data, at)[0])
            at += struct.calcsize(form)
