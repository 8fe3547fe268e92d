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
    message="{what} {measured} from a bend; nearer than {limit} the bend pulls it out of shape.",
    remedy="Keep {limit} from where the bend ends ({from_line} mm from the bend line), "
    "drill after bending, or cut a slot along the bend line beside the hole.",
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
    bending, screws = part.bending, part.screws.contours_with_screws
    round_ones = {x.contour for x in part.meant.holes}
    found = [x for x in bending.cutouts_near(limit - 0.01) if x[2].number not in screws]
    for group in part.flat.alike(
        found,
        lambda x: x[1].gap_mm,
        place=lambda x: bending.where(x[0], span=x[1].span, entities=x[2].entities),
        kind=lambda x: "hole" if x[2].number in round_ones else "cutout",
    ):
        zone, _, cutout = group.members[0]
        one = "hole" if cutout.number in round_ones else "cutout"
        yield Hit(
            group.value,
            group.where,
            words={
                "what": f"A {one} lies" if group.count == 1 else f"{group.of(one)} lie",
                "from_line": zone.half_mm + limit,
            },
            sure=zone.sure,
        )
