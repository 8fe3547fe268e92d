"""The inspection sheet of a part, to print and fill in, and the same as CSV to type into."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from lintsvc.packet.blocks import Block, Drawing, Head, Line, Page, Rows
from lintsvc.packet.drawn import Drawn
from lintsvc.packet.inspection import Size, limits_text, meant_text
from lintsvc.packet.part_page import file_name, material_text, thickness_text
from lintsvc.reports.words import plural

if TYPE_CHECKING:
    from lintsvc.order.things import OrderedPart

#: So many pieces have a column on paper and rows in the CSV; of more, as many are measured and the rest looked over.
MOST_PIECES = 5
COLUMNS = ("part", "piece", "size", "measured", "meant", "least", "most", "unit", "what", "with")


def pieces_of(part: OrderedPart) -> int:
    """Return how many pieces are measured."""
    return min(MOST_PIECES, part.entry.quantity + (part.entry.spares or 0))


def inspection_page(part: OrderedPart, drawn: Drawn, sizes: Sequence[Size]) -> Page:
    """Return the sheet: which sizes, with what, between which limits, and room for what was measured."""
    count = part.entry.quantity + (part.entry.spares or 0)
    pieces = pieces_of(part)
    title = f"Inspection of {part.id}: {file_name(part)}"
    thickness = thickness_text(part)
    made = material_text(part) + (f", {thickness}" if thickness else "") + f", finish {part.entry.finish}"
    blocks: list[Block] = [
        Head(title, 1),
        Line(f"SHA-256 {part.report.sha256}", quiet=True),
        Line(f"{plural(count, 'piece')} ordered. {made}."),
        Line(
            "Count the pieces. Look each over for dents, burrs, cracks at bends, powder left inside, the right colour. "
            + (f"Measure {pieces} of them." if pieces < count else "Measure each of them.")
        ),
    ]
    blocks += [Drawing(x, small=True) for x in (drawn.picture, drawn.folded) if x is not None]
    rows = tuple(
        (size.id, size.name, meant_text(size), limits_text(size), size.tool, *("",) * pieces) for size in sizes
    )
    head = ("Size", "What", "Meant", "Limits", "With", *(f"Piece {i + 1}" for i in range(pieces)))
    blocks.append(Rows(rows, head, (0.7, 2.8, 1.0, 1.5, 1.1, *(0.9,) * pieces), fill_in=True))
    blocks.append(Line("Within the limits: accept. Outside, where something can be done: rework. Else: reject."))
    ways = dict.fromkeys(f"{x.name.partition(',')[0]} under: {x.low_way}" for x in sizes if x.low_way)
    ways |= dict.fromkeys(f"{x.name.partition(',')[0]} over: {x.high_way}" for x in sizes if x.high_way)
    if ways:
        blocks.append(Line("Rework: " + "; ".join(ways) + ".", quiet=True))
    blocks.append(
        Line("Edges may be sharp and powder may be left inside: gloves, and no blowing out with the mouth.", quiet=True)
    )
    signed = ("Date", "", "By", "", "Pieces counted", "")
    blocks.append(Rows((signed,), widths=(0.6, 1.6, 0.5, 2.4, 1.3, 1.0), fill_in=True))
    return Page(title, tuple(blocks))


def results_csv(parts: Sequence[tuple[OrderedPart, Sequence[Size]]]) -> str:
    """Return the table to type results into: one row a piece and size; the column `measured` is empty."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(COLUMNS)
    for part, sizes in parts:
        for piece in range(1, pieces_of(part) + 1):
            for size in sizes:
                least, most = ("yes", "yes") if size.yes_no else (f"{size.lower:.3f}", f"{size.upper:.3f}")
                meant = "yes" if size.yes_no else f"{size.nominal:.3f}"
                table.writerow(
                    (part.id, piece, size.id, "", meant, least, most, size.unit or "yes/no", size.name, size.tool)
                )
    return out.getvalue()
