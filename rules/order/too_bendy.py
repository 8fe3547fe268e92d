from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, CannotCheck, Hit, rule, where_of_spot


@rule(
    id="order/too-bendy",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="{part} gives way by {measured} under its load (by {by}); {limit} is allowed.",
    remedy="Fold an edge, take a thicker sheet or a stiffer material, or shorten the arm: compared are {others}.",
    sources=(GEOMETRY,),
    worse="above",
    cost="rework",
    caution="A first estimate of a steady load, small moves and an even material; prints are weaker across their "
    "layers. It replaces no calculation by a licensed engineer where somebody can be hurt.",
)
def check(order) -> Iterator[Hit]:
    """Part that gives way too far under its load.

    A bracket that sags shows a wrong level; whether it does is known before it is made.

    Measured: the largest deflection, against what the order allows: by formula for a straight bar held at one end and
    for a flat rectangle or disc held along its edge, else by finite elements (quadratic tetrahedra).
    Ignore when: the load is carried by something that the order does not name.
    """
    unknown = []
    allowed = order.order.allowed.deflection
    for one in order.loaded:
        if one.why:
            unknown.append(one.why)
        elif allowed is None:
            unknown.append(
                f"{one.part} bends by {one.deflection_mm:.3g} mm; say what is allowed: deflection in [allowed]"
            )
        elif one.deflection_mm > allowed:
            words = {"part": one.part, "by": one.by, "others": order.compared(one)}
            yield Hit(
                one.deflection_mm,
                where_of_spot(one.deflected_at),
                limit=allowed,
                limit_source=order.own_word,
                words=words,
                parts=(one.part,),
            )
    if unknown:
        raise CannotCheck("; ".join(dict.fromkeys(unknown)))
