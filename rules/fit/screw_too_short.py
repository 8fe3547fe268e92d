from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, CannotCheck, Hit, Source, rule, where_of_spot

NUT = Source("memory", "ISO 4032 nut height, and one pitch of screw beyond the nut; recalled.")
THREAD = (
    "{a} and {b}: of the {length} mm long {screw} screws, {measured} come into the thread of {b}; {limit} is needed in "
    "{material}."
)


@rule(
    id="fit/screw-too-short",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="{a} and {b}: the {screw} screws are {measured} long; with what they clamp and a nut they need {limit}.",
    remedy="Take screws of {longer} mm or more.",
    sources=(COMMON_PRACTICE,),
    worse="below",
    cost="rework",
    caution="A screw that holds by a few threads strips under load. The screw's and the shop's own data go first.",
)
def check(order) -> Iterator[Hit]:
    """Screw too short to hold what it clamps.

    What is clamped adds up: part, gasket, washer, part. A screw that ends inside the nut, or with a thread or two in
    the part, is felt only when it is tightened.

    Measured: the screw's length against all it clamps, a usual nut and one pitch; or the thread it engages against
    1 d in steel, 1.5 d in aluminium, 2 d in plastics. A tapped sheet is thin by nature and judged by the thread rules.
    Ignore when: an insert or a longer nut takes the load.
    """
    screwed, unknown = order.all_driven()
    for meets, screws in screwed:
        short = (
            [x for x in screws if x.engaged_mm < x.needed.value - 1e-6]
            if screws[0].tapped
            else [x for x in screws if x.length_mm < x.needed_length_mm - 1e-6]
        )
        if not short:
            continue
        one = min(short, key=lambda x: x.length_mm - x.needed_length_mm)
        a, b = meets.pair
        words = {
            "a": a,
            "b": b,
            "screw": meets.relation.screw.size,
            "length": f"{one.length_mm:g}",
            "longer": f"{one.needed_length_mm:.3g}",
            "material": order.material_name(b),
        }
        deeper = one.tapped and one.needed.value > one.depth_mm
        yield Hit(
            one.engaged_mm if one.tapped else one.length_mm,
            where_of_spot(one.at, meets.screw_mm),
            limit=one.needed.value if one.tapped else one.needed_length_mm,
            limit_source=one.needed.source if one.tapped else NUT,
            words=words,
            message=THREAD if one.tapped else None,
            remedy="The hole is too shallow: make it deeper, or use an insert or a nut." if deeper else None,
            parts=(a, b),
        )
    if unknown:
        raise CannotCheck("; ".join(unknown))
