"""Sheet beside the end of a bend is not cut free of it."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, rule


@rule(
    id="bend/no-relief",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="A bend ends beside sheet that stays flat, with no cut between them; it will tear or bulge there.",
    remedy="Cut a relief at the end of the bend, at least {wide} mm wide and {deep} mm past the bend line, "
    "or move the bend line out of the panel beside it.",
    sources=(COMMON_PRACTICE,),
    worse="present",
    needs=("thickness",),
    about="bends",
)
def no_relief(part: Checked) -> Iterator[Hit]:
    """Bend without a relief cut at its end.

    Where only a part of an edge is bent, the sheet beside the bend has to stay flat while the bend next to
    it stretches. Without a cut between them the corner tears, or pulls the flat part out of shape.

    Measured: at each end of a bend, whether the sheet beside it hangs on to the bend zone from the bend line on.
    Ignore when: a torn or bulged corner does not matter, as in thin soft sheet bent by hand.
    """
    for zone, end in part.bending.ends:
        if end.depth_mm is not None and end.depth_mm <= 0.05 * zone.thickness_mm:
            yield Hit(
                where=part.bending.where(zone, at=end.at),
                words={"wide": max(1.0, zone.thickness_mm), "deep": zone.radius_mm + zone.thickness_mm},
                sure=zone.sure,
            )
