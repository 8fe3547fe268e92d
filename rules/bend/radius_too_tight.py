"""An inside radius at which the sheet may crack."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import CannotCheck, Checked, Hit, bend_radius_limits, rule, where_of_bend


@rule(
    id="bend/radius-too-tight",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{what} an inside radius of {measured}; {material} of this thickness may crack below {limit}.",
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
    said = [x for x in part.flat.bends if x.radius_mm is not None]
    # A hundredth of the thickness: sheet sold as 1/16 in is 1.6 mm, and drawn as either.
    tight = [x for x in said if (x.radius_mm or 0.0) < limit - 0.01 * part.bending.thickness_mm]
    for group in part.flat.alike(tight, lambda x: x.radius_mm or 0.0, place=where_of_bend):
        what = "A bend has" if group.count == 1 else f"{group.of('bend')} have"
        yield Hit(group.value, group.where, words={"material": name, "what": what})
    unsaid = len(part.flat.bends) - len(said)
    if unsaid:
        raise CannotCheck(f"no inside radius is given for {unsaid} of {len(part.flat.bends)} bends")
