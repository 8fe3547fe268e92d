"""A countersink that goes through the sheet."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, Limit, rule


@rule(
    id="countersink/deeper-than-sheet",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="The head of {screw} goes {measured} deep to sit flush; the sheet is {limit} thick.",
    remedy="Take a smaller screw or thicker sheet, let the head stand out, or dimple the sheet; "
    "a head of {head} mm in this sheet needs a hole of at least {hole} mm.",
    limits=(Limit("any", 1.0, "x thickness", GEOMETRY),),
    worse="above",
    needs=("thickness",),
    impossible=True,
    about="countersinks",
)
def deeper_than_sheet(part: Checked, limit: float) -> Iterator[Hit]:
    """Countersink deeper than the sheet.

    The cone breaks out on the other side: the hole grows, its rim is a knife edge, and the head pulls through
    or rests on what lies below.

    Measured: height of the cone from the head's theoretical sharp diameter to the drawn hole, at the screw's
    angle; where no hole is drawn, to the screw's own diameter.
    Ignore when: the head is meant to stand out, or the part below is countersunk too.
    """
    for sunk in part.screws.countersunk:
        head = sunk.row
        if head is None:
            continue
        depth = head.depth_in_hole_mm(sunk.diameter_mm or head.screw_mm)
        if depth > limit + 0.01:
            least = head.head_mm - (head.head_mm - (sunk.diameter_mm or head.screw_mm)) * limit / depth
            yield Hit(
                depth,
                sunk.where(),
                words={
                    "screw": f"{head.screw} ({head.head.upper().replace('-', ' ')})",
                    "head": head.head_mm,
                    "hole": least,
                },
            )
