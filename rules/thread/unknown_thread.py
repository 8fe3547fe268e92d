"""A thread that the handbook does not have."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="thread/unknown-thread",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{why}.",
    remedy="Write the thread as M4, M6x0.75, 1/4-20 or #10-32, or ask the shop whether it has the tap.",
    sources=(GEOMETRY,),
    worse="present",
    about="threads",
)
def unknown_thread(part: Checked) -> Iterator[Hit]:
    """Thread that is not in the handbook.

    A misspelt thread is drilled by guess, or not at all. Uncommon ones need a tap that the shop may not have.

    Measured: whether the handbook has the thread: ISO coarse and fine M2 to M12, UNC and UNF #2 to 1/2.
    Ignore when: the shop has agreed to this thread and its pilot hole.
    """
    for hole in part.screws.tapped:
        if hole.row is None:
            why = hole.why_not[:1].upper() + hole.why_not[1:]
            yield Hit(where=hole.where(), words={"why": why.rstrip(".")})
