"""Bends in a material that is not bent cold."""

from __future__ import annotations

import math
from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, Where, rule, where_of_bend


@rule(
    id="bend/unbendable-material",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="The flat has {count} to make, and {material} is not bent cold: {why}.",
    remedy="Take a metal that bends, such as aluminium 5052-H32 or mild steel, or join flat pieces.",
    sources=(GEOMETRY,),
    worse="present",
    needs=("material",),
    impossible=True,
    about="bends",
)
def unbendable_material(part: Checked) -> Iterator[Hit]:
    """Bends in a material that cannot be bent on a press brake.

    Plywood and composites crack or come apart in layers; acrylic breaks; other plastics and soft sheet spring
    back. Thermoplastics are bent hot along a line, which is another job with other radii.

    Measured: whether the handbook lists the material as one that is bent cold.
    Ignore when: the bend lines are only marks, or the sheet is bent hot or by hand.
    """
    if part.material is None or part.material.bendable:
        return
    why = {
        "wood": "it cracks",
        "composite": "its fibres break and its layers part",
        "acrylic": "it breaks",
        "soft": "it springs back",
    }.get(part.material.family, "it springs back or cracks")
    bends = part.flat.bends
    count = "a bend" if len(bends) == 1 else f"{len(bends)} bends"
    # Whatever the order in the file, the same one is shown: the longest, the first from the middle of those.
    first = min((where_of_bend(x) for x in bends), key=lambda x: _longest_and_inmost(x, part.flat.centre_mm))
    # Plastics may be meant to be bent hot, soft sheet to be folded by hand: a doubt, not a certainty.
    sure = part.material.family in ("wood", "composite")
    yield Hit(
        where=first,
        words={"count": count, "material": part.material.name, "why": why},
        level=None if sure else "warning",
    )


def _longest_and_inmost(where: Where, centre: tuple[float, float]) -> tuple[float, float]:
    return -round(math.dist(*where.box), 2), math.dist(where.point[:2], centre)
