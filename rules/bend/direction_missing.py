"""A bend of which nobody says whether it goes up or down."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule, where_of_bend


@rule(
    id="bend/direction-missing",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="Nothing says whether {what} up or down.",
    remedy="Put the bend line on a layer such as BEND_UP or BEND_DOWN, or write it beside the line.",
    settles="bends",
    sources=(GEOMETRY,),
    worse="present",
    impossible=True,
    about="bends",
)
def direction_missing(part: Checked) -> Iterator[Hit]:
    """Bend without a direction.

    A flat can be folded into two parts that are mirror images. Up is towards the one who looks at the drawing.

    Measured: whether the layer's name, a text beside the line or the choices say up or down.
    Ignore when: the part is the same folded either way.
    """
    unsaid = [x for x in part.flat.bends if x.direction is None]
    for group in part.flat.alike(unsaid, lambda x: 0.0, place=where_of_bend):
        yield Hit(where=group.where, words={"what": "a bend goes" if group.count == 1 else f"{group.of('bend')} go"})
