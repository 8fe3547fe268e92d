"""What the documents say of orders is true, and the notes are as they were last read by a person."""

from __future__ import annotations

import re
from pathlib import Path

from parts import gauge_order

from lintsvc.order.read import parse_order
from lintsvc.packet.notes import notes

SNAPSHOT = Path(__file__).parent / "snapshots" / "notes.txt"
_HASH = re.compile(r"[0-9a-f]{64}")


def test_the_order_file_in_the_documents_is_read(repository: Path) -> None:
    text = (repository / "docs" / "orders.md").read_text("utf-8")
    first, relations = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    others = "".join(f'[[part]]\nid = "{x}"\nfile = "{x}.stl"\n' for x in ("housing", "lid", "gasket"))
    order = parse_order(first + others + relations)
    assert order.part[0].then == ["anodiser"]
    assert [x.kind for x in order.relation] == ["holes-meet", "holds", "faces-meet", "stays-clear"]


def test_notes_are_as_they_were_read_last(tmp_path: Path) -> None:
    order, drawn = gauge_order.checked(gauge_order.write_order(tmp_path))
    # A DXF carries the time of its writing, so its hash is another each time.
    assert _HASH.sub("HASH", notes(order, drawn)) == SNAPSHOT.read_text("utf-8")
