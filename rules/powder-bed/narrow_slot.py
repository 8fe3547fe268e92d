from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, Source, patterns, rule, where_of_all

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: least gap 0.5 mm, 0.6 mm between long faces.",
)
#: Faces longer than this are long; from memory.
LONG_MM = 50.0

ALIKE = (
    "{count} like slots {measured} wide and {length} mm long{facets}; below {limit} they fuse shut or keep their "
    "powder."
)


@rule(
    id="powder-bed/narrow-slot",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="Slot {measured} wide and {length} mm long{facets}; below {limit} it fuses shut or keeps its powder.",
    remedy="Widen the slot to {limit} or more; wider where it is deep.",
    limits=(
        Limit("pa12", 0.5, "mm", PA12),
        Limit("pa11", 0.5, "mm", FROM_MEMORY),
        Limit("pa12-glass", 0.6, "mm", FROM_MEMORY),
        Limit("tpu", 0.6, "mm", FROM_MEMORY),
        Limit("pa12", 0.6, "mm", PA12, name="long"),
        Limit("pa11", 0.6, "mm", FROM_MEMORY, name="long"),
        Limit("pa12-glass", 0.7, "mm", FROM_MEMORY, name="long"),
        Limit("tpu", 0.7, "mm", FROM_MEMORY, name="long"),
    ),
    needs=("material",),
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Slot that is too narrow to stay open.

    Heat gathers between the two faces of a slot and sinters the powder in it, the more the longer they are. What
    stays loose has to be blown or picked out, which a deep narrow slot does not let happen. How the part lies in
    the build is not known here: the limits are for every direction.

    Measured: the diameter of the largest ball that touches both faces of a gap in one body, where they are
    parallel and at least three times as long as they are apart; for openings in a flat face that are more than twice
    as long as wide, and go through or are deeper than wide, the largest circle in their outline. The limit is by
    the length, over 50 mm long. Three or more that are alike, of one body, are told once.
    Ignore when: the slot only marks a line.
    """
    openings = part.body.openings
    solid = part.body.solids.of_face
    usual, longer = limits["limit"].value, limits["long"].value
    cut = [x for x in openings if x.long and x.diameter_mm < limits[_by_length(x.length_mm, limits)].value * 0.995]
    for same in patterns(cut, lambda x: (x.diameter_mm, x.length_mm), lambda x: solid[x.faces[0]]):
        words = {"length": round(same[0].length_mm, 1), "facets": "", "count": len(same)}
        where = where_of_all([x.where() for x in same])
        name = _by_length(same[0].length_mm, limits)
        yield Hit(same[0].diameter_mm, where, limit=name, words=words, message=ALIKE if len(same) > 1 else None)
    # Only between long faces a slot that is wide enough elsewhere is too narrow.
    more = [x for x in part.body.narrow_places(longer) if x.length_mm > LONG_MM and usual <= x.width_mm < longer]
    slots = [
        x
        for x in (*part.body.narrow_places(usual), *more)
        if x.straight
        and not (x.round or x.low or x.between_bodies or x.in_void or x.slight(usual))
        and not any(y.holds(x.where().point) for y in openings)
    ]
    for slot in patterns(slots, lambda x: (x.width_mm, x.length_mm), lambda x: x.solids):
        words = slot[0].words() | {"count": len(slot)}
        where = where_of_all([x.where() for x in slot])
        message = ALIKE if len(slot) > 1 else None
        name = _by_length(slot[0].length_mm, limits)
        yield Hit(slot[0].width_mm, where, limit=name, words=words, sure=slot[0].sure(), message=message)


def _by_length(length_mm: float, limits: Limits) -> str:
    """Name of the limit. A shop's own usual limit may be the wider one of both."""
    return "long" if length_mm > LONG_MM and limits["long"].value > limits["limit"].value else "limit"
