"""Two pieces of surface meet in a single point."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="soundness/non-manifold-vertex",
    process="any",
    kind="body",
    level="warning",
    since="0.1",
    message="The body touches itself in a single point ({measured} faces meet there).",
    remedy="Let the two sides overlap, so that they are joined, or move them apart.",
    sources=(GEOMETRY,),
    worse="present",
    cost="rework",
)
def non_manifold_vertex(part: Checked) -> Iterator[Hit]:
    """Surface pinched to a point.

    Two corners that meet in a point hold each other by nothing. The print breaks there, or has the corners
    fused by chance.

    Measured: vertices around which the faces form more than one closed fan.
    Ignore when: whether the corners hold together or not makes no difference.
    """
    for vertex in part.body.soundness.pinched:
        message = (
            f"There are {vertex.alike} more points in which the body touches itself." if vertex.alike > 1 else None
        )
        yield Hit(measured=vertex.value, unit="count", where=vertex.where, message=message)
