"""The surface of a body has a hole or a slit."""

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
    id="soundness/open-edge",
    process="any",
    kind="body",
    level="error",
    since="0.1",
    message="The surface is open along {measured} of edge ({edges} with a face on one side only).",
    remedy="Close the hole in the CAD program and export the body again.",
    sources=(STANDARD,),
    worse="present",
    mend="A flat hole with a plain rim is filled, and edges a hair apart are joined.",
)
def open_edge(part: Checked) -> Iterator[Hit]:
    """Surface that does not close.

    A print needs a solid, and a solid needs a surface without holes: across an open edge nobody can say
    which side is inside. Build programs guess, each in its own way, and may fill, drop or thicken the place.

    Measured: length of each connected run of edges that have a face on one side only.
    Ignore when: the file is a surface on purpose, and the shop has agreed to thicken it.
    """
    for hole in part.body.soundness.open_edges:
        several = f"There are {hole.alike} more open places; the longest is open along {{measured}} of edge."
        yield Hit(
            measured=hole.value,
            where=hole.where,
            words={"edges": "1 edge" if hole.count == 1 else f"{hole.count} edges"},
            message=several if hole.alike > 1 else None,
        )
