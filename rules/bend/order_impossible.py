"""Bends for which no order leaves room for punch and die."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, CannotCheck, Checked, Hit, rule


@rule(
    id="bend/order-impossible",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="No order of the bends was found in which a straight punch can make them all: "
    "with {done} made, a panel runs into the {tool} at this bend.",
    remedy="Shorten the flange that is in the way, move the bends apart, or ask the shop for a gooseneck or a higher "
    "punch. "
    "Assumed: {tooling}.",
    sources=(COMMON_PRACTICE,),
    worse="present",
    needs=("thickness",),
    about="bends",
)
def order_impossible(part: Checked) -> Iterator[Hit]:
    """Bends that cannot be made one after the other.

    The punch comes down between the flanges that are already up. A channel deeper than it is wide, or a
    return flange over a bend that is still to be made, leaves it no room, whichever bend comes first. The walls of
    a deep box meet the beam that holds the punch.

    Measured: orders of the bends tried with a straight punch under its beam and a common die; every panel but the
    two beside the bend is held against the tools at the start, the middle and the end of each bend, as far as a
    punch goes: hems are pressed flat by other tools.
    Ignore when: the shop has a gooseneck, window or higher punch, or bends by folding.
    """
    found = part.bend_order
    if not found.searched:
        raise CannotCheck("there are too many orders of the bends to try them all")
    if found.order is not None:
        return
    zones = {zone.number: zone for zone in part.bending.zones}
    for blocked in found.blocked:
        here = [zones[i] for i in blocked.operation]
        count = len(blocked.done)
        done = "no bend" if count == 0 else "1 bend" if count == 1 else f"{count} bends"
        yield Hit(
            where=part.bending.where(*here),
            words={"done": done, "tool": blocked.tool, "tooling": found.tooling.stated},
            sure=min(0.6, *(zone.sure for zone in here)),
        )
