"""The cut beside the end of a bend is narrower than the sheet is thick."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="bend/relief-too-narrow",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The relief at the end of a bend is {measured} wide; {limit} is the least.",
    remedy="Widen the relief to {limit}.",
    limits=(Limit("any", 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=1.0),),
    cost="rework",
    needs=("thickness",),
    about="bends",
)
def relief_too_narrow(part: Checked, limit: float) -> Iterator[Hit]:
    """Bend relief too narrow.

    The edge of a bend swells sideways. In a relief narrower than the sheet is thick it meets the panel
    beside it, and a punch no thinner than that cannot clear it; a slit of one kerf is no relief.

    Measured: width of the cut beside the end of the bend, along the bend line, within the bend zone.
    Ignore when: the shop says that its laser slit is relief enough for this sheet.
    """
    for zone, end in part.bending.ends:
        if end.width_mm is not None and end.width_mm < limit - 0.01:
            yield Hit(end.width_mm, part.bending.where(zone, span=end.width_span), sure=zone.sure)
