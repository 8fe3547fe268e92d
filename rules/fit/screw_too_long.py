from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, CannotCheck, Hit, rule, where_of_spot

BLIND = (
    "{a} and {b}: the {screw} screws reach {measured} into a hole that is {limit} deep: they meet its bottom and clamp "
    "nothing."
)


@rule(
    id="fit/screw-too-long",
    process="any",
    kind="order",
    level="error",
    since="0.2",
    message="{a} and {b}: the {screw} screws come out {measured} beyond {b}; after {limit} they run into {behind}.",
    remedy="Take screws of at most {shorter} mm.",
    sources=(GEOMETRY,),
    worse="above",
    cost="rework",
)
def check(order) -> Iterator[Hit]:
    """Screw too long: it meets the bottom of its hole, or what lies behind.

    A screw that meets the bottom of a blind hole feels tight and holds nothing. One that comes out behind may press on
    a battery or a cable.

    Measured: how far the screw reaches beyond what it clamps against the depth of its hole; and what comes out of a
    through hole against the free way behind it, with everything in its place.
    Ignore when: a washer or another part that the order does not name makes up for it.
    """
    screwed, unknown = order.all_driven()
    for meets, screws in screwed:
        a, b = meets.pair
        worst = None
        for one in screws:
            reach = one.length_mm - one.grip_mm
            out = reach - one.depth_mm
            if one.blind and reach > one.depth_mm + 1e-6:
                found = (reach, one.depth_mm, one, BLIND, one.grip_mm + one.depth_mm)
            elif not one.blind and one.far_mm is not None and out > one.far_mm + 1e-6:
                found = (out, one.far_mm, one, None, one.grip_mm + one.depth_mm + one.far_mm)
            else:
                continue
            if worst is None or found[0] - found[1] > worst[0] - worst[1]:
                worst = found
        if worst is not None:
            measured, allowed, one, message, most = worst
            words = {"a": a, "b": b, "behind": one.behind, "screw": meets.relation.screw.size, "shorter": f"{most:.3g}"}
            spot = where_of_spot(one.at, meets.screw_mm)
            yield Hit(measured, spot, limit=allowed, words=words, message=message, parts=(a, b))
    if unknown:
        raise CannotCheck("; ".join(unknown))
