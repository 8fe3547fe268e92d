"""A bend longer than a usual press brake."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="bend/bend-too-long",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="A bend is {measured} long; usual press brakes end at {limit}.",
    remedy="Ask the shop for its longest bend, or make the part of two.",
    limits=(Limit("any", 3000.0, "mm", COMMON_PRACTICE),),
    worse="above",
    needs=("thickness",),
    about="bends",
)
def bend_too_long(part: Checked, limit: float) -> Iterator[Hit]:
    """Bend too long for a press brake.

    A bend is made in one stroke over its whole length; machines longer than three metres are rare, and the
    force grows with the length.

    Measured: from the first bent point along the bend line to the last.
    Ignore when: the shop has a longer machine.
    """
    for zone in part.bending.zones:
        first, last = zone.extent
        if last - first > limit + 0.01:
            yield Hit(last - first, part.bending.where(zone))
