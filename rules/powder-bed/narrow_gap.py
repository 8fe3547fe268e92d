from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, Source, rule

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: 0.5 mm; 0.4 mm between short faces, 0.6 mm between long ones. The usual "
    "value is used for short faces too.",
)
#: Faces longer than this are long; from memory.
LONG_MM = 50.0

MORE = "{places} not told one by one."
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
        Limit("pa12", 0.6, "mm", PA12, name="long"),
        Limit("pa11", 0.6, "mm", FROM_MEMORY, name="long"),
        Limit("pa12-glass", 0.7, "mm", FROM_MEMORY, name="long"),
        Limit("tpu", 0.7, "mm", FROM_MEMORY, name="long"),
    ),
    needs=("material",),
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Gap within one body that is too narrow to stay open.

    Powder between two hot surfaces sinters. A gap that is too narrow comes out bridged or as a
    closed line. Long gaps fuse sooner than short ones. How the part lies in the build is not known here: the
    limits are for every direction.

    Measured: the diameter of the largest ball outside the body that touches two opposed surfaces of it,
    where they come close at one spot or in a curve; the limit by the length of the gap, over 50 mm long.
    Corrected for coarse facets. Straight slots, holes and
    gaps between separate bodies are left to their own rules.
    Ignore when: the two sides may fuse without harm.
    """
    usual, longer = limits["limit"].value, limits["long"].value
    places = part.body.narrow_places(usual)
    # Only between long faces a gap that is wide enough elsewhere is too narrow.
    more = [x for x in part.body.narrow_places(longer) if x.length_mm > LONG_MM and usual <= x.width_mm < longer]
    for place in (*places, *more):
        # A shop's own limit may be the wider one of both.
        name = "long" if place.length_mm > LONG_MM and longer > usual else "limit"
        limit = limits[name].value
        other = place.round or place.low or place.straight or place.between_bodies or place.in_void
        where = place.where()
        if not other and not place.slight(limit) and not any(x.holds(where.point) for x in part.body.openings):
            yield Hit(place.width_mm, where, limit=name, words=place.words(), sure=place.sure())
    if places.left_out:
        words = {
            "places": "1 more narrow place is" if places.left_out == 1 else f"{places.left_out} more narrow places are"
        }
        yield Hit(None, part.body.everywhere(), limit=None, words=words, message=MORE, level="note")
    if places.crossed:
        words = {"crossed": f"{places.crossed} narrow place{'s' if places.crossed > 1 else ''}"}
        yield Hit(None, part.body.everywhere(), limit=None, words=words, message=CROSSED, level="note")
