"""A bend of which nobody says how far it goes."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule, where_of_bend


@rule(
    id="bend/angle-missing",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="Nothing says how far {what}.",
    remedy="Write the angle beside the line or in its layer's name: 90 for an L, 0 for flat.",
    settles="bends",
    sources=(GEOMETRY,),
    worse="present",
    impossible=True,
    about="bends",
)
def angle_missing(part: Checked) -> Iterator[Hit]:
    """Bend without an angle.

    Without an angle the flat cannot be folded, and its size after bending is not known.

    Measured: whether the layer's name, a text beside the line or the choices give an angle.
    Ignore when: the order says that all bends are 90°.
    """
    unsaid = [x for x in part.flat.bends if x.angle_deg is None]
    for group in part.flat.alike(unsaid, lambda x: 0.0, place=where_of_bend):
        yield Hit(where=group.where, words={"what": "a bend goes" if group.count == 1 else f"{group.of('bend')} go"})
