from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Hit, rule, where_of_spot

TOOL = (
    "{a} and {b}: no tool turns the {screw} screws. Above their heads it is free over {measured}, and a straight tool "
    "needs {limit}; {tried}."
)
NUT_TOOL = (
    "{a} and {b}: no tool holds the nuts of the {screw} screws, behind {b}. Above them it is free over {measured}, and "
    "a socket needs {limit}; {tried}."
)
NOT_SAID = 'no other tool was tried, for the order does not say what the head is: head = "socket" or "hexagon"'
NUT = (
    "{a} and {b}: about the nuts of the {screw} screws, behind {b}, it is free over {measured}; a nut is {limit} "
    "across its corners."
)


@rule(
    id="fit/head-has-no-room",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="{a} and {b}: about the heads of the {screw} screws it is free over {measured}; a head is {limit} across.",
    remedy="Move the holes away from {who}, or take screws with a smaller or another head and say which.",
    sources=(FROM_MEMORY,),
    worse="below",
    cost="rework",
)
def check(order) -> Iterator[Hit]:
    """Screw whose head or nut, or the tool that turns it, has no room.

    A hole close to a flange or a wall takes the screw but not its head; and a head or a nut that is free may be out of
    reach of what turns it.

    Measured: how wide it is free about the screw's axis at the height of the head, with everything in its place, and
    about the nut, against what it measures across its corners. Then the tool, with only the two parts there: straight
    from above over 25 mm, against the head's or a socket's diameter. Where that finds no room, a spanner at the height
    of a hexagon, free about the axis and for its handle over 30°; or an angled key in a hexagon socket, over 60° at the
    height of its long arm. Of a screw with a nut one is turned, and the other only held; a nut in a
    pocket of its own shape is held by that.
    Ignore when: a ring spanner, a joint or a ball end reaches it, or it is screwed in before the other part is there.
    """
    for meets in order.meetings:
        if meets.of is not None or not meets.ways:
            continue
        heads, nuts = order.rooms(meets), order.nut_rooms(meets)
        no_tool, not_held = order.out_of_reach(meets)
        for found, message in (
            ([x for x in heads if x.head_mm is not None], None),
            ([x for x in no_tool if x.head_mm is None], TOOL),
            ([x for x in nuts if x.head_mm is not None], NUT),
            ([x for x in not_held if x.head_mm is None], NUT_TOOL),
        ):
            if found:
                yield _hit(meets, found, message)


def _hit(meets, found, message) -> Hit:
    a, b = meets.pair
    tools = message in (TOOL, NUT_TOOL)
    key = "tool_mm" if tools else "head_mm"
    one = min(found, key=lambda x: getattr(x, key))
    return Hit(
        getattr(one, key),
        where_of_spot(one.at, one.head.diameter_mm / 2),
        limit=one.head.tool_mm if tools else one.head.diameter_mm,
        limit_source=one.reaches[0].tool.source if tools and one.reaches else one.head.source,
        words={
            "a": a,
            "b": b,
            "screw": meets.relation.screw.size,
            "who": one.in_the_way or "what is in the way",
            "tried": "; ".join(x.words() for x in one.reaches) or NOT_SAID,
        },
        message=message,
        parts=(b, a) if message in (NUT, NUT_TOOL) else (a, b),
    )
