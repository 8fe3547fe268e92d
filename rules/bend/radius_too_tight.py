"""An inside radius at which the sheet may crack."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import CannotCheck, Checked, Hit, bend_radius_limits, rule


@rule(
    id="bend/radius-too-tight",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The inside radius is {measured}; {material} of this thickness may crack below {limit}.",
    remedy="Bend at {limit} or more, take thinner sheet, or a softer alloy or temper.",
    limits=bend_radius_limits(),
    needs=("material", "thickness"),
    about="bends",
)
def radius_too_tight(part: Checked, limit: float) -> Iterator[Hit]:
    """Inside bend radius too tight for the alloy, temper and thickness.

    The outside of a bend is stretched; the tighter the bend and the harder the metal, the sooner it cracks.
    A bend along the rolling direction needs one and a half to twice the radius.

    Measured: the inside radius as the file or the choices say it, against the handbook's for bends of 90°. A
    thickness between two columns of the table counts to the thicker one.
    Ignore when: the shop has bent this alloy, temper and thickness at this radius before.
    """
    name = part.material.name if part.material else "the sheet"
    unsaid = 0
    for zone in part.bending.zones:
        if zone.bend.radius_mm is None:
            unsaid += 1
        elif zone.radius_mm < limit - 0.01 * part.bending.thickness_mm:
            yield Hit(zone.radius_mm, part.bending.where(zone), words={"material": name})
    if unsaid:
        raise CannotCheck(f"no inside radius is given for {unsaid} of {len(part.bending.zones)} bends")
