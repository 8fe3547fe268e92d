from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, GEOMETRY, CannotCheck, Hit, rule, where_of_spot

GAP = (
    "{a} and {b} are {bare} mm apart bare, tolerances taken off; their finish takes {coat} mm of it and leaves "
    "{measured}, and {limit} is wanted."
)
ROOM = "Give them more room by what the finish adds, have the faces masked, or choose a thinner finish."
HOLES = (
    "{part}: {count} for {screw} screws {are} {drawn} mm wide as drawn{out} and {measured} with {finish} on their "
    "walls; {limit} is the least for a screw to pass ({table})."
)


@rule(
    id="fit/finish-eats-play",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="{thing} goes into {part} bare, with {bare} mm of play to each side; {finish} takes {coat} mm of it and "
    "leaves {measured}, and {limit} is wanted.",
    remedy="Widen it by what the finish adds, have it masked (masked = true), or choose a thinner finish.",
    sources=(COMMON_PRACTICE, GEOMETRY),
    worse="below",
    cost="rework",
)
def check(order) -> Iterator[Hit]:
    """Play or clearance that is there in the bare part and gone once the part is finished.

    Every face grows by the finish: a pocket loses it on both sides, a hole twice in its diameter. Powder coat adds
    about a tenth of a millimetre to a face.

    Measured: the play that is left after tolerances less the finish on a side, against the play the order wants, of
    things that lie in a place, slide or stay clear, the finish of both; a hole
    less twice the finish, against the fine series of ISO 273 or ASME B18.2.8.
    Ignore when: the shop masks the place, or it is cleared after finishing.
    """
    unknown = []
    for held in order.held:
        if held.place is None:
            unknown.append(held.why)
            continue
        left = held.left_mm - held.finish_mm
        if held.left_mm >= held.relation.play - 1e-6 and left < held.relation.play - 1e-6:
            part = held.relation.part
            words = {
                "part": part,
                "thing": held.relation.thing,
                "bare": f"{held.left_mm:.3g}",
                "coat": f"{held.finish_mm:.3g}",
                "finish": order.finishes((part, held.relation.thing)),
            }
            yield Hit(
                round(left, 3),
                where_of_spot(held.at),
                limit=held.relation.play,
                limit_source=held.finish_source,
                words=words,
                parts=(part, held.relation.thing),
            )
    for apart in order.apart:
        if apart.gap_mm is None:
            unknown.append(apart.why)
            continue
        wanted, left = apart.relation.play or 0.0, apart.left_mm - apart.finish_mm
        if apart.relation.kind != "presses" and apart.left_mm >= wanted - 1e-6 and left < wanted - 1e-6:
            a, b = apart.relation.a, apart.relation.b
            words = {"a": a, "b": b, "bare": f"{apart.left_mm:.3g}", "coat": f"{apart.finish_mm:.3g}"}
            spot = where_of_spot(order.things[a].shape.middle)
            yield Hit(round(left, 3), spot, limit=wanted, words=words, message=GAP, remedy=ROOM, parts=(a, b))
    for _, hole, words in order.all_narrow_holes(finished=True):
        finish = order.finishes((hole.part,))
        yield Hit(
            hole.diameter_mm,
            where_of_spot(hole.at, hole.diameter_mm / 2),
            limit=hole.least.value,
            limit_source=hole.least.source,
            words={**words, "finish": finish, "out": f" ({words['shop']})" if words["shop"] else ""},
            message=HOLES,
            parts=(hole.part,),
        )
    unknown += [x.why for x in order.meetings if not x.ways and x.why]
    if unknown:
        raise CannotCheck("; ".join(dict.fromkeys(unknown)))
