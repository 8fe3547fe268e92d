from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, CannotCheck, Hit, Limit, Source, rule, where_of_spot

CHANCE = Source(
    "common-practice", "One in a hundred that does not go together is taken as the most; no standard states it."
)
NARROW = "{part}: {count} for {screw} screws {are} {measured} wide; {limit} is the least for a screw to pass ({table})."
NARROW_SHOP = (
    "{part}: {count} for {screw} screws {are} {drawn} mm wide as drawn and {measured} as they come out ({shop}); "
    "{limit} is the least for a screw to pass ({table})."
)
SMALL = "{part}: {count} for {screw} screws {are} {measured} wide; the screw itself is {limit}."
LOOP = (
    "{a} and {b} are joined twice, by their own {screw} screws and by way of {by}: {measured} of the parts go together "
    "and {limit} is wanted. All screws round this loop together give {room} mm; the holes of {a} and {b} take up to "
    "{own} mm of it, the other way round {round} mm{bends}; at worst {worst} mm are {left}, by root sum square {rss} "
    "mm.{most}"
)
WIDER = "Open the holes to {usual} mm, the medium series."


@rule(
    id="fit/clearance-hole-tight",
    process="any",
    kind="order",
    level="error",
    since="0.2",
    message="{a} and {b}: {measured} of the parts go together with all {count} screws; {limit} is wanted. Each screw "
    "has {clearance} mm to all sides, the holes of the two are placed within {zone_a} and {zone_b} mm{bends}; at worst "
    "{worst} mm are {left}, by root sum square {rss} mm.",
    remedy="Open the clearance holes, shorten the chain of bends between the holes, or agree a tolerance with the shop "
    "and enter it.",
    limits=(Limit("any", 99.0, "%", CHANCE),),
    worse="below",
    cost="rework",
    impossible=True,
)
def check(order, limit: float) -> Iterator[Hit]:
    """Clearance hole so narrow that screws may not pass once holes are off by their tolerances.

    A screw passes two holes when their middles are no farther apart than both have play. What the process is off in
    places and sizes, and what every bend between two holes adds, uses this play up.

    Measured: the hole as drawn, or as it comes out by the shop's own record, against the fine series of ISO 273 (ASME
    B18.2.8 for inch screws); and the share of simulated pairs of parts whose screws all pass, the parts moved against
    each other as helps: places and sizes of holes and the thickness of screws normal with three sigma at the
    tolerance. The formulas of ASME Y14.5 (H = F + T floating, H = F + 2 T fixed) are the worst case.
    Where relations close a loop, what all joints in it give against what all parts in it are off, each bend counted.
    Ignore when: the screws locate the parts on purpose, or the parts give way.
    """
    told = set()
    for meets, hole, words in order.all_narrow_holes():
        told.add(hole.part)
        small = hole.diameter_mm <= meets.screw_mm
        yield Hit(
            hole.diameter_mm,
            where_of_spot(hole.at, hole.diameter_mm / 2),
            limit=meets.screw_mm if small else hole.least.value,
            limit_source=GEOMETRY if small else hole.least.source,
            words={**words, "usual": f"{hole.usual_mm:g}"},
            level="error" if small else "warning",
            message=NARROW_SHOP if words["shop"] else SMALL if small else NARROW,
            remedy=WIDER,
            parts=(hole.part, *(x for x in meets.pair if x != hole.part)),
        )
    unknown = []
    for meets in order.meetings:
        if not meets.ways:
            unknown += [meets.why] if meets.why else []
            continue
        way = order.way(meets)
        apart = float(way.off_mm.max()) > order.drawn_clearance_mm(meets)
        # Holes that are apart as drawn are another rule's; rubber in between stretches to the screws.
        if meets.count < meets.wanted or apart or (order.gives_way(meets.pair) and meets.of is not None):
            continue
        play = order.play(meets)
        if 100 * play.chance < limit and not told & set(meets.pair):
            a, b = meets.pair
            words = {
                "a": a,
                "b": b,
                "count": meets.count,
                "clearance": f"{float(play.clearance_mm.min()):.2f}",
                "zone_a": f"{play.zone_mm[0]:.2g}",
                "zone_b": f"{play.zone_mm[1]:.2g}",
                "bends": f", with {play.bends} bends between them" if play.bends else "",
                "worst": f"{abs(play.worst_mm):.2f}",
                "left": "left" if play.worst_mm >= 0 else "missing",
                "rss": f"{play.rss_mm:.2f}",
            }
            at = tuple(order.things[a].shape.holes.point[way.a[0]].tolist())
            spot = where_of_spot(at, meets.screw_mm / 2)
            yield Hit(round(100 * play.chance, 1), spot, words=words, level="warning", parts=(a, b))
        loop = order.loops.get(meets.number)
        if loop is not None and 100 * loop.chance < limit and not told & set(meets.pair):
            a, b = meets.pair
            words = {
                "a": a,
                "b": b,
                "screw": meets.relation.screw.size,
                "by": ", ".join(loop.by) or "other screws between them",
                "room": f"{loop.room_mm:.2f}",
                "own": f"{loop.own_mm:.2f}",
                "round": f"{loop.round_mm:.2f}",
                "bends": f", with {loop.bends} bends in it" if loop.bends else "",
                "worst": f"{abs(loop.worst_mm):.2f}",
                "left": "left" if loop.worst_mm >= 0 else "missing",
                "rss": f"{loop.rss_mm:.2f}",
                "most": f" {loop.most} alone takes {loop.most_mm:.2f} mm." if loop.most_mm > 0 else "",
            }
            at = tuple(order.things[a].shape.holes.point[way.a[0]].tolist())
            spot = where_of_spot(at, meets.screw_mm / 2)
            yield Hit(
                round(100 * loop.chance, 1), spot, words=words, level="warning", message=LOOP, parts=(a, *loop.by, b)
            )
    if unknown:
        raise CannotCheck("; ".join(dict.fromkeys(unknown)))
