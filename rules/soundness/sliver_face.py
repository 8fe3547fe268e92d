"""Faces so thin that the file's digits no longer say which way they face."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, Limits, rule


@rule(
    id="soundness/sliver-face",
    process="any",
    kind="body",
    level="note",
    since="0.1",
    message="Sliver faces, less than {height} mm high and yet with an area: {measured}.",
    remedy="Nothing where the rest is sound; a fresh export with another tolerance often has none.",
    limits=(
        Limit("any", 20, "count", COMMON_PRACTICE),
        Limit("any", 0.0001, "mm", COMMON_PRACTICE, name="height"),
    ),
    worse="above",
    cost="cosmetic",
)
def sliver_face(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Face that is nearly a line.

    A needle of a face has an area and yet no sure direction: rounding turns it over. Where there are many,
    offsets and hollowing fail, and shading shows streaks.

    Measured: how many faces have an area and are lower than the limit; a few are usual after cuts and joins.
    Ignore when: the shop's program reads the file without complaint.
    """
    if part.part.body is None or part.part.body.chord_error_mm is not None:
        # Faces that were made here say nothing about the file.
        return
    for thin in part.body.soundness.slivers(limits["height"].value):
        if thin.count > limits["limit"].value:
            yield Hit(measured=thin.count, where=thin.where, words={"height": limits["height"].value})
