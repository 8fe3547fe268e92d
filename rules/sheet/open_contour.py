"""A cut line that does not close."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lintsvc.rulebook import COMMON_PRACTICE, GEOMETRY, Checked, Hit, rule


@rule(
    id="sheet/open-contour",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="{what}: the ends miss each other by {measured}.",
    remedy="Move the ends onto each other, or draw the missing piece.",
    sources=(GEOMETRY,),
    worse="above",
    impossible=True,
)
def open_contour(part: Checked) -> Iterator[Hit]:
    """Contour that does not close.

    A contour with a gap bounds nothing: the part stays in the sheet, or the program that reads the file leaves
    the line out, or closes it in a way that nobody chose.

    Measured: distance between loose ends that belong together; ends nearer than 0.1 mm (the thinnest kerf)
    are joined, and another rule says so. A line that lies inside the part with both ends far apart is taken
    for a slit, and noted; one from edge to edge parts the part, and is warned of.
    Ignore when: the line is a slit, a living hinge, or a part that is meant to be cut in two.
    """
    flat = part.flat
    chains = flat.open_chains
    # Both lines that leave a gap are named.
    beside: dict[Any, list[Any]] = {}
    for line in chains:
        for gap in line.gaps:
            beside.setdefault(gap, []).append(line)
    limit = flat.drawing.curves.join_mm
    for group in flat.alike(
        beside.items(), lambda x: x[0].width_mm, place=lambda x: x[1][0].where_of(x[0], *x[1][1:]), worst_high=True
    ):
        what = "A contour is open" if group.count == 1 else f"Contours are open at {group.count:,} places"
        yield Hit(group.value, group.where, limit, limit_source=COMMON_PRACTICE, words={"what": what})
    for kind in ("broken", "across", "slit"):
        some = [x for x in chains if x.kind == kind and not x.gaps]
        if some:
            group = flat.together(some, lambda x: x.length_mm, worst_high=True)
            yield Hit(
                group.value,
                group.where,
                None,
                words={"lines": group.of("open line"), **(_ONE if group.count == 1 else _MANY)},
                message=_MESSAGES[kind],
                remedy=_REMEDIES[kind],
                level={"broken": None, "across": "warning", "slit": "note"}[kind],
            )


_ONE = {"be": "is", "to": "", "they": "it", "s": "s", "slits": "a slit"}
_MANY = {"be": "are", "to": "up to ", "they": "they", "s": "", "slits": "slits"}
_MESSAGES = {
    "broken": "There {be} {lines}, {to}{measured} long, that no other continues.",
    "across": "There {be} {lines} from edge to edge of a part, {to}{measured} long; cut, {they} part{s} it.",
    "slit": "There {be} {lines} inside a part, {to}{measured} long; {they} {be} cut as {slits}.",
}
_REMEDIES = {
    "broken": "Draw the missing piece, or delete the line; put help lines on a layer named note.",
    "across": "If they are bend lines, put them on a layer named bend; if marks, on one named engrave.",
    "slit": "Nothing, if slits are meant; else put centre lines on a layer named note and marks on one named engrave.",
}
