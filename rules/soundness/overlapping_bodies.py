"""Separate shells go through each other, or lie within each other."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, CannotCheck, Checked, Hit, Limit, Source, rule

STANDARD = Source(
    "standard",
    "3MF Core Specification 1.4.0, 4.1: objects should not overlap.",
    checked="2026-11-25",
)


@rule(
    id="soundness/overlapping-bodies",
    process="any",
    kind="body",
    level="warning",
    since="0.1",
    message="Two bodies go through each other, {measured} deep (faces: {faces}).",
    remedy="Join them into one body, or move them apart if they are to come out as two.",
    limits=(Limit("any", 0.001, "mm", COMMON_PRACTICE),),
    sources=(STANDARD,),
    worse="above",
    cost="rework",
)
def overlapping_bodies(part: Checked, limit: float) -> Iterator[Hit]:
    """Bodies that share the same space.

    Bodies that overlap are printed as one. If they were meant to move they are fused; if they were meant as
    one, a program that does not join them leaves the walls of each inside the other. A shell that faces
    outward within another body is either a void turned over, printed solid, or a body too many. Bodies that
    only touch over an area fuse too: those are noted.

    Measured: how far faces of different shells reach through each other, or the volume of a shell within another.
    Ignore when: the bodies are meant to fuse, and the shop's program joins them as 3MF says.
    """
    soundness = part.body.soundness
    for pair in soundness.overlaps(limit):
        message = None
        if pair.alike > 1:
            message = (
                f"There are {pair.alike} more pairs of bodies that go through each other, up to {{measured}} deep."
            )
        yield Hit(measured=pair.value, where=pair.where, words={"faces": pair.count}, message=message)
    for meeting in soundness.touches(limit):
        yield Hit(
            measured=meeting.value,
            limit=None,
            unit="count",
            where=meeting.where,
            words={"faces": meeting.count},
            level="note",
            message="Bodies touch over an area, without a gap, and will be printed as one (pairs: {measured}).",
            remedy="Leave a gap where they are to come out as two; join them where they are one.",
        )
    for shell in soundness.nested(limit):
        yield Hit(
            measured=shell.value,
            limit=None,
            unit="mm3",
            where=shell.where,
            message="A closed shell of {measured} lies within a body and faces outward: it would be printed solid.",
            remedy="Turn it over if it is to be a void; delete it if it is not.",
        )
    if not (soundness.contacts.complete and soundness.shells.placed.all()):
        raise CannotCheck("so many faces cross each other that not all could be compared")
