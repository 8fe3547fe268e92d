"""A flange that does not reach across the die."""

from __future__ import annotations

import math
from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, Limits, rule


@rule(
    id="bend/flange-too-short",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="A flange is {measured} long, outside; {limit} is the least that rests on a usual die.",
    remedy="Make the flange {limit} long, or longer and have it cut back after bending.",
    limits=(Limit("any", 4.243, "x thickness", COMMON_PRACTICE),),
    needs=("thickness",),
    about="bends",
)
def flange_too_short(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Flange too short to be bent.

    In air bending the sheet lies across a V-shaped die. A flange that does not reach its shoulder slips in:
    the bend runs crooked or the edge is crushed. A leg needs V/2 / cos(half the angle); the narrowest usual
    die is six thicknesses wide, which gives 4.24 thicknesses at 90°.

    Measured: the outside length of the finished flange, as long as it is along at least half of the bend;
    for other angles than 90° the limit goes with the angle.
    Ignore when: the shop bends it by another way, such as wiping or folding.
    """
    at_90 = limits["limit"]
    for zone, flange in part.bending.flanges:
        angle = min(max(zone.angle_deg, 0.0), 135.0)
        limit = at_90.value * math.cos(math.radians(45.0)) / math.cos(math.radians(angle / 2))
        if flange.outside_mm < limit - 0.01:
            yield Hit(
                flange.outside_mm,
                part.bending.where(zone, span=flange.span),
                limit=limit,
                limit_source=at_90.source,
                sure=zone.sure,
            )
