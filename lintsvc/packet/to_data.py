"""An order as the page shows it: the report, its pages as blocks, the sizes to measure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from lintsvc.packet.blocks import Block, Drawing, Head, Line, Page, Rows
from lintsvc.packet.drawn import Drawn
from lintsvc.packet.inspection import limits_text, meant_text, sizes_of
from lintsvc.packet.inspection_page import pieces_of
from lintsvc.packet.order_page import order_page
from lintsvc.packet.part_page import part_page
from lintsvc.reports.sketch import to_svg
from lintsvc.reports.words import clean

if TYPE_CHECKING:
    from lintsvc.model.report import OrderReport, Report
    from lintsvc.order.checked import CheckedOrder

Json = dict[str, Any]


def order_data(order: CheckedOrder, entry: OrderReport, report: Report, drawn: Mapping[str, Drawn]) -> Json:
    """Return what the page needs: `report` as `lintsvc schema` has it, `order` and `parts` as pages of blocks."""
    from lintsvc.reports.json_report import to_dict

    parts = []
    for part in order.parts:
        here = drawn.get(part.id)
        sizes = sizes_of(order, part, here) if here is not None else ()
        parts.append(
            {
                "id": part.id,
                "file": part.path.name,
                "page": page_data(part_page(order, part, here, sizes)),
                "pieces": pieces_of(part) if sizes else 0,
                "printable": here is not None and bool(here.outline),
                "sizes": [
                    {
                        "id": x.id,
                        "what": x.name,
                        "meant": meant_text(x),
                        "limits": limits_text(x),
                        "with": x.tool,
                        "yes_no": x.yes_no,
                    }
                    for x in sizes
                ],
            }
        )
    return {
        "name": order.order.order.name,
        "report": to_dict(report),
        "page": page_data(order_page(order, entry, drawn)),
        "parts": parts,
    }


def page_data(page: Page) -> Json:
    """Return a page as JSON types; pictures as SVG."""
    return {"title": clean(page.title), "blocks": [_block(x) for x in page.blocks]}


def _block(block: Block) -> Json:
    match block:
        case Head(text, level):
            return {"kind": "head", "text": clean(text), "level": level}
        case Line(text, quiet, level):
            return {"kind": "line", "text": clean(text), "quiet": quiet, "level": level}
        case Drawing(sketch, caption):
            return {"kind": "picture", "svg": to_svg(sketch), "caption": clean(caption)}
        case Rows(rows, head):
            return {"kind": "rows", "head": [clean(x) for x in head], "rows": [[clean(x) for x in y] for y in rows]}
