"""Faces turned against the surface around them."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Source, rule

STANDARD = Source(
    "standard",
    "3MF Core Specification 1.4.0, 4.1: neighbouring triangles face the same way, outward. Held to for every format.",
    checked="2026-11-25",
)


@rule(
    id="soundness/flipped-face",
    process="any",
    kind="body",
    level="error",
    since="0.1",
    message="Faces turned inward on a surface that faces outward: {faces}, {measured} in all.",
    remedy="Turn these faces over.",
    sources=(STANDARD,),
    worse="present",
    mend="The faces are turned to face the way of the surface around them.",
)
def flipped_face(part: Checked) -> Iterator[Hit]:
    """Face turned the wrong way.

    The order of a face's corners says which side is outside. A face turned against its neighbours makes a
    hole in the solid for a program that goes by it, and may turn inside and outside over in a whole slice. Walls,
    gaps, holes and volume are measured here as if it were turned.

    Measured: faces wound against the rest of their surface; a closed surface in the open faces outward.
    Ignore when: never for a print; only a picture may have faces turned either way.
    """
    soundness = part.body.soundness
    for group in soundness.flipped:
        message = None
        if group.alike > 1:
            message = f"There are {group.alike} more groups of faces turned the wrong way, {{faces}} faces in all."
        yield Hit(measured=group.value, unit="mm2", where=group.where, words={"faces": group.count}, message=message)
    for band in soundness.twisted:
        yield Hit(
            measured=band.value,
            unit="mm2",
            where=band.where,
            words={"faces": band.count},
            message="The surface is twisted into itself and has no outside (faces: {faces}, {measured}).",
            remedy="Rebuild this surface as the skin of a solid.",
        )
