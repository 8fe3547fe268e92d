from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Source, rule

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: avoid sections over 8 to 10 mm; the upper value is used.",
)


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

    Measured: the diameter of the largest ball that fits inside the body at each place.
    Ignore when: sink and a little warp do not matter, or the mass is wanted.
    """
    for bulk in part.body.thick_places(limit):
        if bulk.diameter_mm > limit * 1.005:
            yield Hit(bulk.diameter_mm, bulk.where())
