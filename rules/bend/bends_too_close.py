"""Two bends side by side with too little flat sheet between them."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="bend/bends-too-close",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="Between two bends the sheet is flat for {measured} from one bend line to the other bend; "
    "{limit} must lie on the die.",
    remedy="Move the bends {more} mm further apart, or bend one larger angle or radius instead of both.",
    limits=(Limit("any", 3.0, "x thickness", COMMON_PRACTICE),),
    needs=("thickness",),
    about="bends",
)
def bends_too_close(part: Checked, limit: float) -> Iterator[Hit]:
    """Bends too close together.

    While the second bend is made, the sheet rests on both shoulders of the die, half its width from the bend
    line. If the first bend lies there, the sheet rocks and neither angle nor place come out. The narrowest
    usual die is six thicknesses wide.

    Measured: from one bend line to where the bend zone beside it begins, the shorter of both ways.
    Ignore when: the shop has a tool for offset bends, or makes both bends in one stroke.
    """
    zones = {zone.number: zone for zone in part.bending.zones}
    for pair in part.bending.side_by_side(limit - 0.01):
        one, other = (zones[number] for number in pair.bends)
        yield Hit(
            pair.gap_mm,
            part.bending.where(one, other, span=pair.span),
            words={"more": limit - pair.gap_mm},
            sure=min(one.sure, other.sure),
        )
