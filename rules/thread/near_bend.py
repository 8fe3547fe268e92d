"""A tapped hole too near to a bend."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="thread/near-bend",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{thread} lies {measured} from a bend; nearer than {limit} the bend pulls the thread out of round.",
    remedy="Move the hole to {limit} from where the bend ends, or have it tapped after bending.",
    limits=(Limit("any", 2.5, "x thickness", COMMON_PRACTICE),),
    needs=("thickness",),
    about="threads",
)
def near_bend(part: Checked, limit: float) -> Iterator[Hit]:
    """Tapped hole too near to a bend.

    Sheet beside a bend stretches. A plain hole may turn oval and still serve; a thread jams the screw or loses
    its turns on two sides, so it is kept further away than a plain hole.

    Measured: from the thread's outer diameter to the end of the bend zone.
    Ignore when: the thread is cut after bending.
    """
    for tapped in part.screws.tapped:
        if tapped.row is None:
            continue
        found = part.bending.gap_to_bend(tapped.centre_mm, tapped.row.diameter_mm / 2)
        if found is not None and found[0] < limit - 0.01:
            gap, zone, span = found
            yield Hit(max(0.0, gap), tapped.where(span), words={"thread": tapped.row.name}, sure=zone.sure)
