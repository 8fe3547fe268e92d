"""A countersink too near to a bend."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="countersink/near-bend",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The rim of the countersink for {screw} lies {measured} from a bend; {limit} is the least.",
    remedy="Move the hole so that {limit} of sheet lies between the head and the bend, or countersink after bending.",
    limits=(Limit("any", 2.0, "x thickness", COMMON_PRACTICE),),
    needs=("thickness",),
    about="countersinks",
)
def near_bend(part: Checked, limit: float) -> Iterator[Hit]:
    """Countersink too near to a bend.

    The bend pulls the cone out of round, and a head whose rim reaches the bend no longer sits flush.

    Measured: from the head's theoretical sharp rim to the end of the bend zone (0 where it runs into the bend).
    Ignore when: the countersink is made after bending and clears the radius.
    """
    for sunk in part.screws.countersunk:
        if sunk.row is None:
            continue
        found = part.bending.gap_to_bend(sunk.centre_mm, sunk.row.head_mm / 2)
        if found is not None and found[0] < limit - 0.01:
            gap, zone, span = found
            yield Hit(max(0.0, gap), sunk.where(span), words={"screw": sunk.row.screw}, sure=zone.sure)
