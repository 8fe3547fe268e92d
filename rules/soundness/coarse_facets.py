"""Curves are cut into facets so large that they will be seen and felt."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="soundness/coarse-facets",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="A curved surface (radius about {radius} mm) is cut into facets that stay {measured} off the curve.",
    remedy="Export again with a chord tolerance of 0.02 mm or finer, or send STEP.",
    limits=(Limit("any", 0.1, "mm", COMMON_PRACTICE),),
    worse="above",
    cost="cosmetic",
)
def coarse_facets(part: Checked, limit: float) -> Iterator[Hit]:
    """Facets coarser than the process.

    A mesh holds flats, not curves, and the printer makes the flats. Once they stay further off the curve than
    one layer is thick they show, and round holes and pins come out under or over size by as much.

    Measured: chord deviation, from the turn between neighbouring flats that go on turning the same way.
    Ignore when: the flats are the design, such as a handle with twelve sides.
    """
    if part.part.body is None or part.part.body.chord_error_mm is not None:
        # Facets that were made here say nothing about the file.
        return
    for region in part.body.soundness.coarse(limit):
        message = None
        if region.alike > 1:
            message = f"There are {region.alike} more curved places with facets up to {{measured}} off the curve."
        yield Hit(
            measured=region.value, where=region.where, words={"radius": f"{region.more:.3g}"}, message=message, sure=0.8
        )
