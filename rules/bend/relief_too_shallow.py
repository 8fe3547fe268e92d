"""The cut beside the end of a bend does not reach past the bend."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, rule


@rule(
    id="bend/relief-too-shallow",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The relief at the end of a bend reaches {measured} past the bend line; {limit} is the least.",
    remedy="Deepen the relief to {limit} past the bend line: inside radius and thickness together.",
    sources=(COMMON_PRACTICE,),
    needs=("thickness",),
    about="bends",
)
def relief_too_shallow(part: Checked) -> Iterator[Hit]:
    """Bend relief too shallow.

    A relief that ends inside the bend zone leaves a corner of sheet in the bend that is held by the panel
    beside it; it tears as if there were no relief. One that clears the zone by little is only noted.

    Measured: distance from the bend line to where the sheet beside the bend begins, against the inside
    radius and the thickness together.
    Ignore when: the relief was checked on a sample of the same sheet.
    """
    for zone, end in part.bending.ends:
        deep = zone.radius_mm + zone.thickness_mm
        if end.depth_mm is None or end.depth_mm <= 0.05 * zone.thickness_mm or end.depth_mm >= deep - 0.01:
            continue
        clears = end.depth_mm >= zone.half_mm - 0.01
        # An open corner that clears the bend zone is no slit that could be deeper.
        if clears and end.width_mm is None:
            continue
        yield Hit(
            end.depth_mm,
            part.bending.where(zone, span=end.depth_span),
            limit=deep,
            limit_source=COMMON_PRACTICE,
            level="note" if clears else None,
            sure=zone.sure,
        )
