"""A bend modelled with no inside radius."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule, where_of_bend


@rule(
    id="bend/sharp-modelled-bend",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{what} an inside radius of {measured}: no bend is sharp, and the flat made from it is off.",
    remedy="Model the bend with the shop's inside radius (often one thickness), and make the flat again from it.",
    sources=(GEOMETRY,),
    cost="rework",
    needs=("thickness",),
    about="bends",
)
def sharp_modelled_bend(part: Checked) -> Iterator[Hit]:
    """Bend modelled as a sharp corner.

    The punch has a radius. Where the model has none, the flat was worked out for another bend than the one
    that will be made: at 90° and R = t it is off by about half a thickness a bend.

    Measured: the inside radius of the bend, where the file or the choices give one, against a twentieth of
    the thickness.
    Ignore when: the flat was drawn with the shop's own bend deduction.
    """
    least = 0.05 * (part.thickness_mm or 0.0)
    sharp = [x for x in part.flat.bends if x.radius_mm is not None and x.radius_mm < least]
    for group in part.flat.alike(sharp, lambda x: x.radius_mm or 0.0, place=where_of_bend):
        what = "A bend has" if group.count == 1 else f"{group.of('bend')} have"
        yield Hit(group.value, group.where, limit=None, words={"what": what})
