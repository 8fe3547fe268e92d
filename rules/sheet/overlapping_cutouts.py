"""Contours that cross each other."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="sheet/overlapping-cutouts",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="{what}; they share {measured}.",
    remedy="{do}",
    sources=(GEOMETRY,),
    worse="present",
    impossible=True,
)
def overlapping_cutouts(part: Checked) -> Iterator[Hit]:
    """Contours that cross each other.

    Two parts that overlap can't both be cut from one sheet. Two cutouts that cross, or a cutout that breaks
    through the edge, are cut along lines that lie in what is cut away: pieces drop out, the beam cuts what is
    no longer held, and the shape left over may not be the one meant.

    Measured: contours that lie over each other by more than 0.02 mm, with the area they share. Contours that touch,
    or overlap by less, are left out: rounding of a file's coordinates makes as much.
    Cutouts are warned of, parts are an error.
    Ignore when: the overlap is meant, and the shop joins the shapes before it cuts.
    """
    kinds = {
        "parts": ("Parts overlap", "Move the parts apart.", None),
        "cutouts": ("Cutouts cross each other", "Draw the shapes as one contour, or move them apart.", "warning"),
        "edge": ("A cutout breaks through the edge", "Draw the notch as part of the outline.", "warning"),
    }
    flat = part.flat
    for group in flat.alike(flat.overlaps, lambda x: x.area_mm2, kind=flat.kind_of_overlap, worst_high=True):
        what, do, level = kinds[flat.kind_of_overlap(group.members[0])]
        if group.count > 1:
            what += f" at {group.count:,} places"
        yield Hit(group.value, group.where, None, "mm2", words={"what": what, "do": do}, level=level)
