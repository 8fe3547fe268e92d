from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, CannotCheck, Hit, Limit, rule


@rule(
    id="fit/parts-clash",
    process="any",
    kind="order",
    level="error",
    since="0.2",
    message="{a} and {b} run {measured} into each other where they stand ({volume} mm³ in common).",
    remedy="Cut one of them back there, move it, or say with a relation how they really come together.",
    limits=(Limit("any", 0.1, "mm", GEOMETRY),),
    worse="above",
    impossible=True,
)
def check(order, limit: float) -> Iterator[Hit]:
    """Two parts, or a part and a bought-in thing, that are in the same place.

    The parts are put together as the relations say, by their holes and places, and two of them fill the same space.

    Measured: the least side of the box around the largest piece that both have in common. Less than the limit is taken
    for faces that touch. Parts that are to be pressed into each other are left out.
    Ignore when: the relations put the parts together otherwise than they will be.
    """
    for clash in order.clashes:
        if clash.depth_mm > limit:
            words = {"a": clash.a, "b": clash.b, "volume": f"{clash.volume_mm3:.3g}"}
            yield Hit(clash.depth_mm, clash.where, words=words, parts=(clash.a, clash.b))
    missing = order.placing.missing
    if missing and len(order.things) > 1:
        # Several things can lack the same: said once.
        why: dict[str, list[str]] = {}
        for id, words in missing.items():
            why.setdefault(words, []).append(id)
        said = (f"{', '.join(x)} {'is' if len(x) == 1 else 'are'} not placed: {words}" for words, x in why.items())
        raise CannotCheck("; ".join(said))
    whys = [why for x in order.things if (why := order.why_no_solid(x))]
    if whys:
        raise CannotCheck("; ".join(whys))
