from collections.abc import Iterator
from typing import Any

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Source, rule

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: avoid sections over 8 to 10 mm; the upper value is used.",
)

SEVERAL = (
    "Solid {measured} thick, the thickest of {places} such places of this body; over {limit} it may sink, warp and "
    "yellow."
)
MORE = "{bodies} solid over {limit} thick, up to {measured}."
#: So many bodies are told one by one.
MOST_BODIES = 3


@rule(
    id="powder-bed/thick-section",
    process="powder-bed",
    kind="body",
    level="note",
    since="0.1",
    message="Solid {measured} thick; over {limit} it may sink, warp and yellow.",
    remedy="Hollow it to walls of 2 to 4 mm with two escape holes, or core it from a hidden side.",
    limits=(
        Limit("pa12", 10.0, "mm", PA12),
        Limit("pa11", 10.0, "mm", FROM_MEMORY),
        Limit("pa12-glass", 10.0, "mm", FROM_MEMORY),
        Limit("tpu", 15.0, "mm", FROM_MEMORY),
    ),
    needs=("material",),
    worse="above",
    cost="cosmetic",
)
def check(part: Checked, limit: float) -> Iterator[Hit]:
    """Section so thick that it holds heat.

    A thick section stays hot longer than the rest: its faces sink, the part warps and
    the powder around it ages. It also costs powder and time for nothing.

    Measured: the diameter of the largest ball that fits inside each body; other places of it where a ball over the
    limit fits are counted.
    Ignore when: sink and a little warp do not matter, or the mass is wanted.
    """
    thick = [x for x in part.body.thick_places(limit) if x.diameter_mm > limit * 1.005]
    # One cause, one finding: the thickest place of each body speaks for the others.
    bodies: dict[int, list[Any]] = {}
    for bulk in thick:
        bodies.setdefault(bulk.solid, []).append(bulk)
    for same in list(bodies.values())[:MOST_BODIES]:
        message = SEVERAL if len(same) > 1 else None
        yield Hit(same[0].diameter_mm, same[0].where(), words={"places": len(same)}, message=message)
    rest = list(bodies.values())[MOST_BODIES:]
    if rest:
        bodies = "1 more body is" if len(rest) == 1 else f"{len(rest)} more bodies are"
        yield Hit(rest[0][0].diameter_mm, rest[0][0].where(), words={"bodies": bodies}, message=MORE)
