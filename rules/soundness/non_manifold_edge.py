"""More than two faces meet at an edge."""

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
    id="soundness/non-manifold-edge",
    process="any",
    kind="body",
    level="error",
    since="0.1",
    message="{measured} faces meet at one edge, where a solid has two (edges like this, connected: {edges}).",
    remedy="Remove the face that stands inside or sticks out, or join the bodies that meet there into one solid.",
    sources=(STANDARD,),
    worse="present",
)
def non_manifold_edge(part: Checked) -> Iterator[Hit]:
    """Edge with more than two faces.

    A third face on an edge, an inner wall or a fin without thickness, leaves open what is inside. Where as
    many faces run out as back, two solids touch along the edge: the shape is clear, but it has no strength
    there, and that is a warning only.

    Measured: connected runs of edges with more than two faces, faces that lie on each other counted as one.
    Ignore when: two bodies in one file are meant to meet in a line and to be held by something else.
    """
    for run in part.body.soundness.non_manifold_edges:
        touch = run.kind == "touch"
        message = "The body touches itself, or another one, in a line without thickness (connected edges: {edges})."
        if run.alike > 1:
            message = f"There are {run.alike} more places where up to {{measured}} faces meet at one edge."
        yield Hit(
            measured=run.value,
            unit="count",
            where=run.where,
            words={"edges": run.count},
            level="warning" if touch else None,
            message=message if touch or run.alike > 1 else None,
            remedy="Let the bodies overlap or move them apart." if touch and run.alike == 1 else None,
        )
