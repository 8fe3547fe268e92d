"""SVG: a flat part, its physical size from width, height and viewBox."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from lintsvc.model.part import Part
from lintsvc.readers.content import bytes_of, is_text, plain_head
from lintsvc.readers.format import Format, ReadOptions

MAX_BYTES = 64 * 2**20


def claims(head: bytes, size: int) -> bool:
    """True for text whose first element is `svg`, after an XML declaration, comments and a document type."""
    text = plain_head(head)
    if not is_text(text):
        return False
    text = re.sub(rb"<!--.*?(-->|\Z)", b"", text, flags=re.DOTALL).lstrip()
    text = re.sub(rb"<\?.*?\?>", b"", text, flags=re.DOTALL).lstrip()
    return re.match(rb"(<!DOCTYPE\s+(\w+:)?svg\b|<(\w+:)?svg[\s>/])", text) is not None


def read(path: Path, options: ReadOptions) -> Part:
    """Read an SVG file. Raises Unreadable."""
    from lintsvc.readers.flat_curves import Flattening
    from lintsvc.readers.flat_roles import built_in_rules
    from lintsvc.readers.flat_sheet import SheetBuilder
    from lintsvc.readers.svg_elements import ElementReader
    from lintsvc.readers.svg_page import page_of, with_other_size
    from lintsvc.readers.svg_xml import tree_of

    root = tree_of(bytes_of(path, MAX_BYTES, "SVG"))
    page = page_of(root, options.units)
    # A radius in a text is meant in the unit of the page, not in user units.
    mm_per_unit = 25.4 if page.units.value == "in" else 1.0
    builder = SheetBuilder(built_in_rules(), Flattening(), mm_per_unit, options.lines)
    for remark in page.remarks:
        builder.note("info", remark)
    ElementReader(root, page, builder).read()
    part = builder.finish(options, "SVG", page.units)
    return replace(part, units=with_other_size(page.units, part.size_mm))


FORMAT = Format("SVG", (".svg",), claims, read)
