"""A part too small to be handled."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Limit, Source, rule

GRATE = Source("memory", "Slats of a cutting table stand 10 to 50 mm apart; shops cut parts down to 10 or 25 mm.")


@rule(
    id="sheet/part-too-small",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{parts} only {measured} long; below {limit} a part falls through the table, tips up or is blown away.",
    remedy="Leave it in a frame with small tabs, or ask the shop. If it should be larger, check the unit of the file.",
    limits=(Limit("any", 10.0, "mm", GRATE),),
    cost="rework",
)
def part_too_small(part: Checked, limit: float) -> Iterator[Hit]:
    """Part too small.

    A cut part rests on the slats of the table. One shorter than their distance falls between them or tips up
    into the path of the head. A part that comes out far too small is often a file in the wrong unit.

    Measured: longer side of the smallest rectangle around each outer contour, however it lies.
    Ignore when: the shop cuts small parts in a frame.
    """
    flat = part.outlined
    small = [x for x in flat.sizes if x[1] < limit - flat.exact_mm]
    for group in flat.alike(small, lambda x: x[1], place=lambda x: x[0].where):
        parts = "The part is" if group.count == 1 and len(flat.sizes) == 1 else f"{group.of('part')} of the file are"
        yield Hit(group.value, group.where, words={"parts": parts})
