"""1:1 prints of a part's outline."""

from __future__ import annotations

from collections.abc import Sequence

from lintsvc.packet.drawn import Drawn, Piece
from lintsvc.reports.one_to_one import Paper, offset_rings, print_rings
from lintsvc.reports.sketch import latin
from lintsvc.reports.words import clean


def outline_print(drawn: Drawn, title: str, paper: Paper, offset_mm: float = 0.0, *, template: bool = False) -> bytes:
    """Return the outline as PDF at 1:1, moved outwards by `offset_mm` (inwards below zero).

    `template`: with crosses at the middles of round holes, for drilling. Raises ValueError where there is no outline,
    where the offset leaves nothing, or where the print would be too large.
    """
    if not drawn.outline:
        raise ValueError("there is no closed outline to print")
    rings = _moved(drawn.outline, offset_mm)
    if not rings:
        raise ValueError(f"an offset of {offset_mm:g} mm leaves nothing of the outline")
    note = ""
    if offset_mm:
        way = "outwards: outside larger, holes smaller" if offset_mm > 0 else "inwards: outside smaller, holes larger"
        note = f"moved {abs(offset_mm):g} mm {way}"
    return print_rings(rings, latin(clean(title)), paper, drawn.crosses if template else (), note)


def _moved(pieces: Sequence[Piece], offset_mm: float) -> list[list[tuple[float, float]]]:
    if not offset_mm:
        return [list(ring) for piece in pieces for ring in piece]
    import shapely

    return offset_rings(shapely.MultiPolygon([(x[0], x[1:]) for x in pieces]), offset_mm)
