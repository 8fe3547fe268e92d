from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Source, patterns, rule, where_of_all

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: least diameter of a pin 0.8 to 1.0 mm; the upper value is used, "
    "because a pin is bent from every side.",
)

ALIKE = "{count} like pins {measured} across and {length} mm long{facets}; at least {limit} is needed."


@rule(
    id="powder-bed/thin-pin",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="Pin {measured} across and {length} mm long{facets}; at least {limit} is needed.",
    remedy="Thicken the pin to {limit} or more, or use a bought-in steel pin in a hole. Ask how it lies in the build: "
    "upright it is weakest.",
    limits=(
        Limit("pa12", 1.0, "mm", PA12),
        Limit("pa11", 1.0, "mm", FROM_MEMORY),
        Limit("pa12-glass", 1.2, "mm", FROM_MEMORY),
        Limit("tpu", 1.2, "mm", FROM_MEMORY),
    ),
    needs=("material",),
)
def check(part: Checked, limit: float) -> Iterator[Hit]:
    """Pin, post or strut that is too thin.

    A pin is weak from every side and weakest across the layers when it stands upright. How it will
    stand in the build is not known here. Thin pins break while the powder is blasted off.

    Measured: the width of the thinnest section of a bar, the largest circle in it, where the section is no more than
    twice as broad and the bar at least one and a half times as long as that. Three or more that are alike, of one
    body, are told once.
    Ignore when: the pin only locates something light and is handled with care.
    """
    pins = [x for x in part.body.thin_places(limit) if x.slender and not x.slight(limit)]
    for same in patterns(pins, lambda x: (x.width_mm, x.length_mm), lambda x: x.solids):
        where = where_of_all([x.where() for x in same])
        words = same[0].words() | {"count": len(same)}
        message = ALIKE if len(same) > 1 else None
        yield Hit(same[0].width_mm, where, words=words, sure=same[0].sure(), message=message)
