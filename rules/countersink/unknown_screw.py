"""A countersink for a screw that the handbook does not have."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="countersink/unknown-screw",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{why}.",
    remedy="Write the screw as M4, M5 DIN 7991, #8 or 1/4, or give the shop the head's diameter and angle.",
    sources=(GEOMETRY,),
    worse="present",
    about="countersinks",
)
def unknown_screw(part: Checked) -> Iterator[Hit]:
    """Countersink for a screw that is not in the handbook.

    Without the head's size nobody can tell how deep the countersink goes.

    Measured: whether the handbook has a countersunk head for the screw.
    Ignore when: the countersink's diameter and angle are given to the shop by other means.
    """
    for hole in part.screws.countersunk:
        if hole.row is None:
            why = hole.why_not[:1].upper() + hole.why_not[1:]
            yield Hit(where=hole.where(), words={"why": why.rstrip(".")})
