from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, CannotCheck, Hit, rule, where_of_spot

FEW = "{a} and {b}: {measured} come together, {limit} have to."
LOOP = (
    "{a} and {b} are put in their places by other parts; their holes are then {measured} apart, and the screws have "
    "{limit} to move."
)


@rule(
    id="fit/holes-do-not-meet",
    process="any",
    kind="order",
    level="error",
    since="0.2",
    message="{a} and {b}: holes that have to meet are {measured} apart as drawn; the screws have {limit} to move.",
    remedy="Move the holes of one part to those of the other, or name the holes that belong together.",
    sources=(GEOMETRY,),
    worse="above",
)
def check(order) -> Iterator[Hit]:
    """Holes of two parts that a screw cannot go through together.

    A hole drawn a millimetre off is found when the box is opened. The two patterns are laid on each other the best way
    there is, turned over too, and what is then left between the middles of a pair is more than the screw has to move.

    Measured: the distance of the middles of the worst pair after the best fit, against the radial clearance of both
    holes, as drawn or as they come out by the shop's own record; how many holes come together at all, against how many
    have to.
    Ignore when: the holes are opened up or drilled together when the parts are there.
    """
    unknown = []
    for meets in order.meetings:
        a, b = meets.pair
        words = {"a": a, "b": b}
        if not meets.ways or meets.count < meets.wanted:
            if meets.why:
                unknown.append(meets.why)
                continue
            yield Hit(
                meets.count, None, limit=float(meets.wanted), unit="holes", words=words, message=FEW, parts=(a, b)
            )
            continue
        way = order.way(meets)
        worst = int(way.off_mm.argmax())
        point = tuple(order.things[a].shape.holes.point[way.a[worst]].tolist())
        allowed = order.drawn_clearance_mm(meets)
        if way.off_mm[worst] > allowed:
            spot = where_of_spot(point, meets.screw_mm)
            source = order.hole_source(meets)
            yield Hit(float(way.off_mm[worst]), spot, limit=allowed, limit_source=source, words=words, parts=(a, b))
        elif order.placing.loops.get(meets.number, 0.0) > allowed:
            apart = order.placing.loops[meets.number]
            spot = where_of_spot(point, meets.screw_mm)
            source = order.hole_source(meets)
            yield Hit(apart, spot, limit=allowed, limit_source=source, words=words, message=LOOP, parts=(a, b))
    if unknown:
        raise CannotCheck("; ".join(dict.fromkeys(unknown)))
