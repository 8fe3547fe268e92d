"""A small shell apart from everything else."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="soundness/loose-fragment",
    process="any",
    kind="body",
    level="warning",
    since="0.1",
    message="A loose fragment of {faces}, {measured} long, touches nothing else.",
    remedy="Delete it if it is left over from modelling; join it to the body if it belongs there.",
    limits=(Limit("any", 2.0, "mm", COMMON_PRACTICE),),
    cost="cosmetic",
)
def loose_fragment(part: Checked, limit: float) -> Iterator[Hit]:
    """Fragment that hangs in the air.

    Crumbs are left over from cuts and joins in the model. Printed, they are lost in the powder or found in
    a hinge; they also make the part's box larger than the part, and with it the price.

    Measured: largest distance between two corners of a shell that neither touches nor crosses another and
    lies in no solid.
    Ignore when: the crumb is a part of its own that is really wanted.
    """
    for crumb in part.body.soundness.fragments(limit):
        message = None
        if crumb.alike > 1:
            message = f"There are {crumb.alike} more loose fragments, up to {{measured}} long."
        words = {"faces": "1 face" if crumb.count == 1 else f"{crumb.count} faces"}
        yield Hit(measured=crumb.value, where=crumb.where, words=words, message=message)
