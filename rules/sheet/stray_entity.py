"""A thing in the drawing that can be no contour."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, rule


@rule(
    id="sheet/stray-entity",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{what} can be no contour.",
    remedy="Delete what is left over from drawing.",
    sources=(COMMON_PRACTICE,),
    worse="present",
    cost="cosmetic",
)
def stray_entity(part: Checked) -> Iterator[Hit]:
    """Stray point or line.

    Points, lines without length and short lines outside the part are left over from drawing. A machine may
    pierce the sheet there, and a file with stray things far away is offered as a sheet too big to cut.

    Measured: points; curves no longer than a few micrometres that join nothing; open lines outside all parts
    and shorter than a twentieth of the longest contour.
    Ignore when: the line is a mark that is meant to be cut beside the part.
    """
    for group in part.flat.alike(part.flat.strays, lambda x: x.length_mm, kind=lambda x: x.what, worst_high=True):
        first = group.members[0]
        yield Hit(group.value, group.where, None, words={"what": group.of(first.what, first.many)})
    for note in part.part.notes:
        if note.kind == "stray":
            where = part.flat.where_of_entities(note.entities)
            yield Hit(where=where, limit=None, message="{text}", words={"text": note.text})
