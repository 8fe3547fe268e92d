"""Faces without area."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Source, rule

STANDARD = Source(
    "standard",
    "3MF Core Specification 1.4.0, 4.1: triangles should have an area, and must have three different corners.",
    checked="2026-11-25",
)


@rule(
    id="soundness/degenerate-face",
    process="any",
    kind="body",
    level="warning",
    since="0.1",
    message="Faces without area: {measured}. Their corners lie on one line or on one point.",
    remedy="Nothing where the shop's program drops them; else clean the mesh and export it again.",
    sources=(STANDARD,),
    worse="present",
    cost="cosmetic",
    mend="The faces are taken out; where one splits an edge, its neighbour is split to match.",
)
def degenerate_face(part: Checked) -> Iterator[Hit]:
    """Face without area.

    Such a face bounds nothing and has no direction. Most programs drop it; some open a hole in doing so, or
    light and thicken the place wrongly. Where the surface closes only without them, this is a warning.

    Measured: faces no higher than the last digit of their coordinates, counted.
    Ignore when: the rest of the surface is closed and the shop's program reads the file without complaint.
    """
    body = part.body
    if part.part.body is None or part.part.body.chord_error_mm is not None:
        # Faces that were made here say nothing about the file.
        return
    for flat in body.soundness.degenerate:
        breaks = body.soundness.topology.closed and not body.watertight
        message = "Faces without area: {measured}. The surface closes without them, and does not with them."
        yield Hit(
            measured=flat.value,
            unit="count",
            where=flat.where,
            level=None if breaks else "note",
            message=message if breaks else None,
        )
