"""The part lies so far from the origin that its coordinates lose digits."""

from __future__ import annotations

import math
from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="soundness/far-from-origin",
    process="any",
    kind="body",
    level="warning",
    since="0.1",
    message="The part lies {away} mm from the origin; there the file can only hold places in steps of {measured}.",
    remedy="Move the part to the origin before it is exported.",
    limits=(Limit("any", 0.001, "mm", COMMON_PRACTICE),),
    worse="above",
    cost="cosmetic",
)
def far_from_origin(part: Checked, limit: float) -> Iterator[Hit]:
    """Part far from the origin.

    Files in single precision keep seven digits. A small part ten metres out has its corners rounded to
    thousandths, so that thin faces collapse, flats get creases and holes open.

    Measured: step between two neighbouring single-precision numbers at the farthest coordinate, where that
    is more than ten times the size of the part.
    Ignore when: the part is that large, or steps of this size do not matter to it.
    """
    body = part.part.body
    away = part.body.soundness.farthest_mm
    if body is None or not body.single_precision or away < 10.0 * max(part.part.size_mm):
        return
    unit = part.part.units.mm_per_unit
    # 24 binary digits: the step is 2^-23 of the power of two below the number.
    step = 2.0 ** (math.floor(math.log2(away / unit)) - 23) * unit
    if step > limit:
        yield Hit(measured=step, words={"away": away})
