"""Lines that may be meant to be cut, engraved or bent."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, rule


@rule(
    id="sheet/engraving-unclear",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="What {lines} {be} for is unclear: {why}. {taken}",
    remedy="Put cut lines on a layer named cut, engraving on one named engrave, bend lines on one named bend.",
    sources=(COMMON_PRACTICE,),
    worse="present",
    cost="rework",
)
def engraving_unclear(part: Checked) -> Iterator[Hit]:
    """Lines whose purpose is unclear.

    A line meant to be engraved that is cut through ruins the part; a line meant to be cut that is engraved
    leaves it in the sheet. Layer, line type and colour tell them apart, and every shop reads them its own way.

    Measured: lines that layer and line type speak about two ways; lines taken as cuts although their colour
    often means something else are noted.
    Ignore when: the shop has been told what each colour or layer means.
    """
    flat = part.flat
    taken = "They are taken as cuts, because nothing else is." if flat.unclear_taken else "They are not taken as cuts."
    for some, level, what in ((flat.unclear, None, taken), (flat.doubtful_cuts, "note", "They are taken as cuts.")):
        for group in flat.alike(some, lambda x: 0.0, place=flat.where_of_entity, kind=lambda x: x.role_why):
            words = {
                "lines": group.of("line"),
                "be": "is" if group.count == 1 else "are",
                "why": group.members[0].role_why.split("; too weak")[0],
                "taken": what,
            }
            yield Hit(group.count, group.where, None, "count", words=words, level=level)
