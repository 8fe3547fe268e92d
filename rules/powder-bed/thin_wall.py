from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, FROM_MEMORY, Checked, Hit, Limit, Source, patterns, rule, where_of_all

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: 0.5 to 0.7 mm is fragile, 0.8 mm the usual least, "
    "1.0 mm recommended, 1.5 mm on large parts.",
)

ALIKE = (
    "Walls {measured} thick over about {length} x {breadth} mm{facets}, in {count} like places; at least {limit} is "
    "needed."
)
STUB = "Short bar {measured} thick and {long} mm high{facets}; at least {limit} is needed."
STUBS = "{count} like short bars {measured} thick and {long} mm high{facets}; at least {limit} is needed."
MORE = "{places} not told one by one."
CROSSED = (
    "Where the surface goes through itself or lies on itself, {crossed} cannot be judged before that "
    "is mended; see the findings about soundness."
)


@rule(
    id="powder-bed/thin-wall",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="Wall {measured} thick over {length} x {breadth} mm{facets}; at least {limit} is needed.",
    remedy="Thicken the wall to {limit} or more, or give it ribs. On large parts 1 to 1.5 mm is usual: ask the shop.",
    limits=(
        Limit("pa12", 0.8, "mm", PA12),
        Limit("pa11", 0.8, "mm", FROM_MEMORY),
        Limit("pa12-glass", 1.0, "mm", FROM_MEMORY),
        Limit("tpu", 1.0, "mm", FROM_MEMORY),
    ),
    sources=(COMMON_PRACTICE,),
    needs=("material",),
)
def check(part: Checked, limit: float) -> Iterator[Hit]:
    """Wall thinner than the material prints soundly.

    A wall of a few laser passes is porous, warps while it cools and breaks when the powder is
    blasted off. How thin is too thin also depends on how the part lies in the build, which is not known here, and
    on its size: the usual least value is used for every direction, and a large part wants more.

    Measured: the diameter of the largest ball inside the body that touches the surface at a point and
    an opposed surface. Corrected for coarse facets. Pins, raised detail no higher than wide and edges that
    run out sharp are left to their own rules; bars too short for a pin are told here. Three or more of one
    thickness that reach about as far, of one body, are told once.
    Ignore when: the wall is a flap that is meant to give way, such as a seal lip or a break-off tab.
    """
    places = part.body.thin_places(limit)
    thin = [x for x in places if not (x.round or x.low or x.slight(limit))]
    for same in patterns(
        thin, lambda x: (x.width_mm,), lambda x: x.solids, about=lambda x: (x.length_mm, x.breadth_mm)
    ):
        where = where_of_all([x.where() for x in same])
        words = same[0].words() | {"count": len(same)}
        message = ALIKE if len(same) > 1 else None
        yield Hit(same[0].width_mm, where, words=words, sure=same[0].sure(), message=message)
    stubs = [x for x in places if x.stub and not x.slight(limit)]
    for same in patterns(stubs, lambda x: (x.width_mm, x.long_mm), lambda x: x.solids):
        where = where_of_all([x.where() for x in same])
        words = same[0].words() | {"count": len(same), "long": round(same[0].long_mm, 1)}
        message = STUBS if len(same) > 1 else STUB
        yield Hit(same[0].width_mm, where, words=words, sure=same[0].sure(), message=message)
    if places.left_out:
        words = {
            "places": "1 more thin place is" if places.left_out == 1 else f"{places.left_out} more thin places are"
        }
        yield Hit(None, part.body.everywhere(), limit=None, words=words, message=MORE, level="note")
    if places.crossed:
        words = {"crossed": f"{places.crossed} thin place{'s' if places.crossed > 1 else ''}"}
        yield Hit(None, part.body.everywhere(), limit=None, words=words, message=CROSSED, level="note")
