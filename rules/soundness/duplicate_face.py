"""Faces that lie on each other, corner for corner."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Source, rule

STANDARD = Source(
    "standard",
    "3MF Core Specification 1.4.0, 4.1: every edge of a mesh is shared with exactly one other triangle. "
    "Held to for every format.",
    checked="2026-11-25",
)


@rule(
    id="soundness/duplicate-face",
    process="any",
    kind="body",
    level="error",
    since="0.1",
    message="Faces drawn twice on the same three corners: {measured} too many.",
    remedy="Remove the copies, and look whether a whole body stands twice in the file.",
    sources=(STANDARD,),
    worse="present",
    mend="Copies that face the same way are taken out; of two that face opposite ways both are.",
)
def duplicate_face(part: Checked) -> Iterator[Hit]:
    """Face on top of another.

    A face drawn twice counts twice where a program counts crossings to tell inside from outside, and a slice
    may come out empty. Two that face opposite ways are a wall without thickness, often between two bodies
    that were put together without being joined: those only warn.

    Measured: faces with the same three corners as another, less one for each place.
    Ignore when: never; a copy adds nothing.
    """
    for group in part.body.soundness.doubles:
        opposed = group.kind == "opposed"
        message = "Faces lie back to back on the same corners: a wall without thickness ({measured} too many)."
        if group.alike > 1:
            message = f"There are {group.alike} more places where faces lie on each other."
        yield Hit(
            measured=group.value,
            unit="count",
            where=group.where,
            level="warning" if opposed else None,
            message=message if opposed or group.alike > 1 else None,
            remedy="Join the bodies on both sides into one, or take the wall out." if opposed else None,
        )
