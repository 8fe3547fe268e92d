from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Source, rule

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: 0.5 mm; 0.4 mm between short faces, 0.6 mm between long ones.",
)

MORE = "{count} more narrow places are not told one by one."
CROSSED = (
    "Where the surface goes through itself or lies on itself, {crossed} cannot be judged before that "
    "is mended; see the findings about soundness."
)


@rule(
    id="powder-bed/narrow-gap",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="Gap {measured} wide over {length} x {breadth} mm{facets}; below {limit} it fuses shut.",
    remedy="Open the gap to {limit} or more, or close it.",
    limits=(
        Limit("pa12", 0.5, "mm", PA12),
        Limit("pa11", 0.5, "mm", FROM_MEMORY),
        Limit("pa12-glass", 0.6, "mm", FROM_MEMORY),
        Limit("tpu", 0.6, "mm", FROM_MEMORY),
    ),
    needs=("material",),
)
def check(part: Checked, limit: float) -> Iterator[Hit]:
    """Gap within one body that is too narrow to stay open.

    Powder between two hot surfaces sinters. A gap that is too narrow comes out bridged or as a
    closed line. Long gaps fuse sooner than short ones.

    Measured: the diameter of the largest ball outside the body that touches two opposed surfaces of it,
    where they come close at one spot or in a curve. Corrected for coarse facets. Straight slots, holes and
    gaps between separate bodies are left to their own rules.
    Ignore when: the two sides may fuse without harm.
    """
    places = part.body.narrow_places(limit)
    for place in places:
        other = place.round or place.low or place.straight or place.between_bodies or place.in_void
        where = place.where()
        if not other and not place.slight(limit) and not any(x.holds(where.point) for x in part.body.openings):
            yield Hit(place.width_mm, where, words=place.words(), sure=place.sure())
    if places.left_out:
        words = {"count": places.left_out}
        yield Hit(None, part.body.everywhere(), limit=None, words=words, message=MORE, level="note")
    if places.crossed:
        words = {"crossed": f"{places.crossed} narrow place{'s' if places.crossed > 1 else ''}"}
        yield Hit(None, part.body.everywhere(), limit=None, words=words, message=CROSSED, level="note")
