from collections.abc import Iterator

from lintsvc.rulebook import CannotCheck, Hit, Limit, Source, rule

LIFT = Source(
    "memory", "ISO 11228-1: 25 kg, the reference mass for lifting with both hands close to the body; recalled."
)


@rule(
    id="order/too-heavy-to-hand",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="All together weighs {measured}; {limit} is the most for the one who carries it.",
    remedy="Take a lighter material or a thinner sheet, leave material out, or carry it in two pieces.",
    limits=(Limit("any", 25.0, "kg", LIFT),),
    worse="above",
    cost="rework",
    caution="Lifting limits depend on the person, the grip and the way. Local rules for manual handling go first.",
)
def check(order, limit: float) -> Iterator[Hit]:
    """Assembly heavier than whoever carries it is to carry.

    What is carried up a ladder or along a trail has to stay light; how heavy it becomes is known before it is made.

    Measured: the masses of the parts by volume and density, and of bought-in things as entered, one of each and as
    many as are placed, and their screws and nuts as estimated from diameter and length; against the order's own limit,
    else against what may be lifted with both hands.
    Ignore when: it is never carried in one piece.
    """
    mass, unknown = order.mass
    wanted = order.order.allowed.mass
    most = limit if wanted is None else wanted / 1000
    mass /= 1000
    if mass > most:
        if wanted is None:
            yield Hit(mass)
        else:
            yield Hit(mass, limit=most, unit="kg", limit_source=order.own_word)
    elif unknown:
        raise CannotCheck(f"the mass of {', '.join(unknown)} is not known")
