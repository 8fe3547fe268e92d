"""More than one part in a file."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, rule


@rule(
    id="sheet/several-parts",
    process="sheet",
    kind="sheet",
    level="note",
    since="0.1",
    message="The file holds {measured} separate parts{kinds}.",
    remedy="Send one part a file with its quantity, unless the shop asks for a whole sheet.",
    sources=(COMMON_PRACTICE,),
    worse="present",
    cost="rework",
)
def several_parts(part: Checked) -> Iterator[Hit]:
    """Several parts in one file.

    Most shops quote and nest each part by itself. A file with several is priced as one large part, its count is
    mistaken, or it is sent back. A forgotten frame, scale bar or test piece counts as a part too.

    Measured: outer contours that no other surrounds.
    Ignore when: the file is a sheet layout that the shop cuts as it is.
    """
    flat = part.outlined
    if len(flat.outers) < 2:
        return
    group = flat.together(flat.outers, lambda x: x.area_mm2)
    sizes = {(round(long, 1), round(wide, 1)) for _, long, wide in flat.sizes}
    kinds = "" if len(sizes) == len(flat.outers) else f" of {len(sizes):,} size{'s' if len(sizes) > 1 else ''}"
    yield Hit(group.count, group.where, None, "count", words={"kinds": kinds})
