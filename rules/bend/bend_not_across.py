"""A bend line that stops inside the sheet."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="bend/bend-not-across",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="A bend line stops {measured} before the sheet ends; flat sheet cannot be bent along part of a line.",
    remedy="Draw the line to the edge, or cut the sheet free at the end of the bend.",
    sources=(GEOMETRY,),
    worse="above",
    needs=("thickness",),
    impossible=True,
    about="bends",
)
def bend_not_across(part: Checked) -> Iterator[Hit]:
    """Bend line that does not run from edge to edge.

    A bend turns one part of the sheet against another. Where the line stops inside the sheet, both sides are
    still one piece there. A line that stops only a little short is taken as drawn short, and warned of.

    Measured: from the end of the bend line, along it, to the next edge of the sheet; half a millimetre and
    half a thickness are let pass.
    Ignore when: the line is a mark that only shows where to bend, and the shop knows it.
    """
    for zone in part.bending.zones:
        for short in zone.short:
            little = short.missing_mm <= max(3.0, 2 * zone.thickness_mm)
            yield Hit(
                short.missing_mm,
                part.bending.where(zone, span=(short.end, short.edge)),
                limit=None,
                level="warning" if little else None,
            )
        if not zone.runs:
            yield Hit(
                where=part.bending.where(zone),
                limit=None,
                message="A bend line has no sheet on both of its sides; nothing is bent along it.",
                remedy="Move the line onto the sheet, or take it out of the bend layer if it is something else.",
            )
