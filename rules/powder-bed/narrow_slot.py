from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Source, rule

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: least gap 0.5 mm, 0.6 mm between long faces.",
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
    ),
    needs=("material",),
)
def check(part: Checked, limit: float) -> Iterator[Hit]:
    """Slot that is too narrow to stay open.

    Heat gathers between the two faces of a slot and sinters the powder in it. What stays loose has
    to be blown or picked out, which a deep narrow slot does not let happen.

    Measured: the diameter of the largest ball that touches both faces of a gap in one body, where they are
    parallel and at least three times as long as they are apart; for openings in a flat face that are more than twice
    as long as wide, and go through or are deeper than wide, the largest circle in their outline.
    Ignore when: the slot only marks a line.
    """
    openings = part.body.openings
    for opening in openings:
        if opening.long and opening.diameter_mm < limit * 0.995:
            words = {"length": round(opening.length_mm, 1), "facets": ""}
            yield Hit(opening.diameter_mm, opening.where(), words=words)
    for place in part.body.narrow_places(limit):
        other = place.round or place.low or place.between_bodies or place.in_void
        if place.straight and not other and not place.slight(limit):
            where = place.where()
            if not any(x.holds(where.point) for x in openings):
                yield Hit(place.width_mm, where, words=place.words(), sure=place.sure())
