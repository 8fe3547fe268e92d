"""A line drawn twice."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="sheet/duplicate-line",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{what} drawn twice: {measured} of cut on top of another.",
    remedy="Delete the copy; most drawing programs have a command for overlapping lines.",
    sources=(GEOMETRY,),
    worse="present",
    cost="rework",
)
def duplicate_line(part: Checked) -> Iterator[Hit]:
    """Line drawn more than once.

    The beam runs along the line again: the edge burns and the slit widens, a freed part may tip up and be hit,
    and the cut costs twice. A copy also keeps many programs from seeing a closed contour.

    Measured: length of lines, arcs and contours that lie on another within 0.05 mm for whole contours, and
    within a few micrometres for single lines and for lines that share only a piece.
    Ignore when: the line is cut twice on purpose, to get through thick material.
    """
    for whole in (True, False):
        some = [x for x in part.flat.duplicates if x.whole is whole]
        for group in part.flat.alike(some, lambda x: x.length_mm, worst_high=True):
            copies = sum(x.copies for x in group.members)
            one, many = ("A line is", "lines are") if whole else ("A piece of a line is", "pieces of line are")
            what = one if copies == 1 else f"{copies:,} {many}"
            yield Hit(sum(x.length_mm for x in group.members), group.where, None, words={"what": what})
