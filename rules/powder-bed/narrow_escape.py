from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, Source, rule

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: hollow bodies need two or more holes of 3.5 to 5 mm or more.",
)


@rule(
    id="powder-bed/narrow-escape",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="{volume} cm³ of hollow has no opening wider than {measured}; powder needs {limit} to get out.",
    remedy="Open it to {limit} or more, better by two holes on opposite sides, so that air can push the powder out; "
    "wider where the hollow is large or winding.",
    limits=(
        Limit("pa12", 3.5, "mm", PA12),
        Limit("pa11", 3.5, "mm", FROM_MEMORY),
        Limit("pa12-glass", 3.5, "mm", FROM_MEMORY),
        Limit("tpu", 5.0, "mm", FROM_MEMORY),
        Limit("any", 100.0, "mm3", FROM_MEMORY, name="volume"),
    ),
    needs=("material",),
    cost="rework",
    caution="Fine powder that stays inside comes out in use: keep it off skin, eyes and hot parts.",
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Hollow whose opening is too small for the powder to get out.

    The powder around a part cakes while it cools. Through a small opening it can be neither shaken nor
    blown out, and the part keeps it. The limit is the least for a hollow of any size: a large or winding one wants
    more.

    Measured: the air that a ball of the escape diameter cannot leave, at least a quarter wider than its opening;
    and the largest ball that gets through the opening. Smaller hollows than 100 mm3 are left out.
    Ignore when: the powder may stay inside.
    """
    for hollow in part.body.hollows(limits["limit"].value, limits["volume"].value):
        if hollow.opening_mm < limits["limit"].value * 0.995:
            volume = max(0.01, round(hollow.volume_mm3 / 1000, 2))
            yield Hit(hollow.opening_mm, hollow.where(), words={"volume": volume})
