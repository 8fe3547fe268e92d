"""A hole or cutout so near to a bend that the bend pulls it out of shape."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="bend/hole-near-bend",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{what} lies {measured} from a bend; nearer than {limit} it is pulled out of shape.",
    remedy="Move it to {limit} from where the bend ends ({from_line} mm from the bend line), "
    "drill it after bending, or cut a slot along the bend line beside it.",
    limits=(Limit("any", 2.0, "x thickness", COMMON_PRACTICE),),
    cost="rework",
    needs=("thickness",),
    about="bends",
)
def hole_near_bend(part: Checked, limit: float) -> Iterator[Hit]:
    """Hole too near to a bend.

    The sheet stretches in a bend and lies hollow over the die beside it. A hole there turns oval, its rim
    bulges, and a screw head no longer seats. Tapped and countersunk holes have rules of their own.

    Measured: from the rim to the end of the bend zone (half the bend allowance from the bend line). Two
    thicknesses from there are the trade's "two thicknesses and the radius" from the inside of the flange.
    Ignore when: the hole is a slot cut on purpose along the bend line, or its shape does not matter.
    """
    for zone, near, cutout in part.bending.cutouts_near(limit - 0.01):
        if cutout.number in part.screws.contours_with_screws:
            continue
        yield Hit(
            near.gap_mm,
            part.bending.where(zone, span=near.span, entities=cutout.entities),
            words={"what": "A hole" if cutout.circle else "A cutout", "from_line": zone.half_mm + limit},
            sure=zone.sure,
        )
