"""The surface of a body goes through itself or lies on itself."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, CannotCheck, Checked, Hit, Limit, Source, rule

STANDARD = Source(
    "standard",
    "3MF Core Specification 1.4.0, 4.1: meshes should not cross themselves.",
    checked="2026-11-25",
)

MESSAGES = {
    "crossing": "The surface goes through itself, {measured} deep (faces: {faces}).",
    "doubled": "The surface lies on itself, faces overlap in one plane by {measured} (faces: {faces}).",
    "folded": "The surface is folded flat onto itself, back to back, over {measured} (faces: {faces}).",
}


@rule(
    id="soundness/self-crossing",
    process="any",
    kind="body",
    level="warning",
    since="0.1",
    message=MESSAGES["crossing"],
    remedy="Cut and join the surface where it crosses (a union of the body with itself), and export it again.",
    limits=(Limit("any", 0.001, "mm", COMMON_PRACTICE),),
    sources=(STANDARD,),
    worse="above",
    cost="rework",
)
def self_crossing(part: Checked, limit: float) -> Iterator[Hit]:
    """Surface that crosses itself.

    Where a surface goes through itself, what lies in the overlap is counted twice or not at all, by the
    program. Mostly the print comes out as meant; a fold or a wall without thickness does not.

    Measured: how far faces of one shell reach through each other, or lie over each other in one plane, at
    least; touching without going through is none.
    Ignore when: the overlap is meant, and the shop's program joins it as 3MF says (what is enclosed is solid).
    """
    for place in part.body.soundness.crossings(limit):
        message = MESSAGES[place.kind]
        if place.alike > 1:
            message = f"There are {place.alike} more places where the surface crosses itself, up to {{measured}} deep."
        yield Hit(measured=place.value, where=place.where, words={"faces": place.count}, message=message)
    if not part.body.soundness.contacts.complete:
        raise CannotCheck("so many faces cross each other that not all could be compared")
