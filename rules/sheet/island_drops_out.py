"""Material inside a cutout: it drops out."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="sheet/island-drops-out",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{what} inside a cutout, {measured} large: nothing holds it, and it drops out.",
    remedy="{do}",
    sources=(GEOMETRY,),
    worse="present",
)
def island_drops_out(part: Checked) -> Iterator[Hit]:
    """Island that drops out.

    A contour inside a cutout bounds material that no bridge ties to the part: the inside of an O, the ring
    between two circles drawn for a countersink or a thread.

    Measured: contours with an even number of others around them, and their area.
    Ignore when: the piece is a part of its own, cut from the waste of another.
    """
    flat = part.outlined
    for group in flat.alike(flat.islands, lambda x: x.area_mm2, kind=flat.is_ring, worst_high=True):
        ring = flat.is_ring(group.members[0])
        what = "A circle lies" if ring else "A contour lies"
        if group.count > 1:
            what = f"{group.count:,} {'circles' if ring else 'contours'} lie"
        do = "Join it to the part by bridges, as in stencil letters, or delete it; give a part of its own a file."
        if ring:
            do = "Draw only the circle to be cut; say thread or countersink in a note or the order."
        yield Hit(group.value, group.where, None, "mm2", words={"what": what, "do": do})
