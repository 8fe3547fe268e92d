"""Two bend lines that cross each other."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="bend/bends-cross",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="Two bend lines cross; once one is bent, the sheet no longer bends along the other.",
    remedy="End one of the bends before the other, with a relief or a cutout where they meet.",
    sources=(GEOMETRY,),
    worse="present",
    needs=("thickness",),
    impossible=True,
    about="bends",
)
def bends_cross(part: Checked) -> Iterator[Hit]:
    """Bend lines that cross.

    A bent sheet is stiff across its bend: a second bend over it would have to crease the first one flat.

    Measured: whether two bend lines meet in a point that is the end of neither.
    Ignore when: one of the lines is not a bend, or only one of the two is ever bent.
    """
    for crossing in part.bending.crossings:
        pair = [zone for zone in part.bending.zones if zone.number in crossing.bends]
        yield Hit(where=part.bending.where(*pair, at=crossing.at))
