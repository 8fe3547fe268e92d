"""A shell faces inward, so that it encloses less than nothing."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import CannotCheck, Checked, Hit, Source, rule

STANDARD = Source(
    "standard",
    "3MF Core Specification 1.4.0, 4.1: triangles face away from the inside; a mesh of negative volume is not printed. "
    "Held to for every format.",
    checked="2026-11-25",
)


@rule(
    id="soundness/inside-out",
    process="any",
    kind="body",
    level="error",
    since="0.1",
    message="A shell is inside out: all its faces face inward ({measured}).",
    remedy="Turn the shell over: flip all its faces. A mirrored copy is the usual cause.",
    sources=(STANDARD,),
    worse="present",
    mend="All faces of the shell are turned over, unless it goes through one that faces outward.",
)
def inside_out(part: Checked) -> Iterator[Hit]:
    """Shell turned inside out.

    By its faces the solid is everywhere but in the part. Programs that go by the standard print nothing,
    others turn it back without a word; a shell like that among others is taken for a void. Walls, gaps, holes and
    volume are measured here as if it were turned.

    Measured: signed volume of every shell, closed but for small holes, that does not lie within a solid, where it
    would be a void. A shell that goes through one that faces outward is told too: it bounds no void.
    Ignore when: never; turning a shell over costs nothing.
    """
    for shell in part.body.soundness.inside_out:
        message = f"There are {shell.alike} more shells inside out." if shell.alike > 1 else None
        yield Hit(measured=shell.value, unit="mm3", where=shell.where, message=message)
    if not part.body.soundness.shells.placed.all():
        raise CannotCheck("so many shells lie within each other that not all could be told from voids")
