from collections.abc import Iterator

from lintsvc.rulebook import CannotCheck, Hit, Source, rule, where_of_spot

STRENGTH = Source(
    "handbook", "The material's yield stress as the handbook has it, times the share that the order allows."
)


@rule(
    id="order/over-yield",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="{part} is strained to {measured} under its load (by {by}); {limit} is allowed, {share} % of the "
    "{strength} MPa at which {material} yields.",
    remedy="Take a thicker sheet or a stronger material, round the corner, or spread the load: compared are {others}.",
    sources=(STRENGTH,),
    worse="above",
    caution="A first estimate: no fatigue, no impact, no notches smaller than the elements; prints are weaker across "
    "their layers. It replaces no calculation by a licensed engineer where somebody can be hurt.",
)
def check(order) -> Iterator[Hit]:
    """Part that is strained beyond what its material bears.

    Beyond the yield stress a part stays bent or breaks. Half of it is what is usually allowed for a steady load.

    Measured: the largest bending stress by a beam's or plate's formula, clamped edge and all, or the largest von Mises
    stress by finite elements, a wall or half an element away from clamps, feet and points of load, where the model's
    stress has no meaning; against the yield stress (the breaking stress where no yield is known) times the allowed
    share.
    Ignore when: the load is carried by something that the order does not name.
    """
    unknown = []
    share = order.order.allowed.yield_share
    for one in order.loaded:
        if one.why:
            unknown.append(one.why)
        elif one.yield_mpa is None:
            unknown.append(f"{one.part}: how strong its material is, is not known")
        elif one.stress_mpa > share * one.yield_mpa:
            strength = order.strength(one.part)
            words = {
                "part": one.part,
                "by": one.by,
                "share": f"{100 * share:g}",
                "strength": f"{one.yield_mpa:g}",
                "material": order.material_name(one.part),
                "others": order.compared(one),
            }
            yield Hit(
                one.stress_mpa,
                where_of_spot(one.stressed_at),
                limit=share * one.yield_mpa,
                unit="MPa",
                limit_source=None if strength is None else strength.source,
                words=words,
                parts=(one.part,),
            )
    if unknown:
        raise CannotCheck("; ".join(dict.fromkeys(unknown)))
