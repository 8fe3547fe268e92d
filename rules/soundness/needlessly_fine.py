"""Far more faces than the process can show."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule

#: Half a square of this side: finer than one layer, finer than the powder.
FACE_SIDE_MM = 0.1


@rule(
    id="soundness/needlessly-fine",
    process="powder-bed",
    kind="body",
    level="note",
    since="0.1",
    message="{measured} of {all} faces are finer than a square of 0.1 mm cut in two, which no print can show.",
    remedy="Export again with a chord tolerance of 0.01 to 0.02 mm.",
    limits=(Limit("any", 100_000, "count", COMMON_PRACTICE),),
    worse="above",
    cost="cosmetic",
)
def needlessly_fine(part: Checked, limit: float) -> Iterator[Hit]:
    """Mesh finer than the process.

    Faces below the size of a powder grain change nothing in the part. They make the file slow to send, to
    check and to slice, and a shop's upload may refuse it.

    Measured: how many faces have less area than half a square of 0.1 mm, where they are most of the faces.
    Ignore when: the file is small enough for the shop all the same.
    """
    if part.part.body is None or part.part.body.chord_error_mm is not None:
        # Facets that were made here say nothing about the file.
        return
    fine = part.body.soundness.fine(FACE_SIDE_MM)
    every = part.body.triangles
    if fine > limit and 2 * fine > every:
        yield Hit(measured=fine, words={"all": float(every)})
