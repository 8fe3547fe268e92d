from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Hit, rule, where_of_spot

TOOL = (
    "{a} and {b}: above the heads of the {screw} screws it is free over {measured}; the tool that turns them needs "
    "{limit}."
)
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
    remedy="Move the holes away from {who}, or take screws with a smaller head and say its size.",
    sources=(FROM_MEMORY,),
    worse="below",
    cost="rework",
)
def check(order) -> Iterator[Hit]:
    """Screw whose head or nut, or the tool that turns it, has no room.

    A hole close to a flange or a wall takes the screw but not its head; and a head that is free may be out of reach
    of a key.

    Measured: how wide it is free about the screw's axis at the height of the head, with everything in its place; and
    above the head over 25 mm, with only the two parts there, against the head's or the tool's diameter; and about the
    nut, against what it measures across its corners.
    Ignore when: an angled key reaches it, or it is screwed in before the other part is there.
    """
    for meets in order.meetings:
        if meets.of is not None or not meets.ways:
            continue
        a, b = meets.pair
        tight = [x for x in order.rooms(meets) if x.head_mm is not None]
        far = [x for x in order.rooms(meets) if x.head_mm is None and x.tool_mm is not None]
        nuts = [x for x in order.nut_rooms(meets) if x.head_mm is not None]
        for found, key, message in ((tight, "head_mm", None), (far, "tool_mm", TOOL), (nuts, "head_mm", NUT)):
            if found:
                one = min(found, key=lambda x: getattr(x, key))
                words = {
                    "a": a,
                    "b": b,
                    "screw": meets.relation.screw.size,
                    "who": one.in_the_way or "what is in the way",
                }
                yield Hit(
                    getattr(one, key),
                    where_of_spot(one.at, one.head.diameter_mm / 2),
                    limit=one.head.diameter_mm if key == "head_mm" else one.head.tool_mm,
                    limit_source=one.head.source,
                    words=words,
                    message=message,
                    parts=(b, a) if message is NUT else (a, b),
                )
