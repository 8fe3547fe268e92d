from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, CannotCheck, Hit, rule


@rule(
    id="order/too-few-spares",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="{part}: of {count} ordered, the {needed} that are needed arrive good with a chance of {measured}; {limit} "
    "is wanted.",
    remedy="Order {advised}: that gives {then} %.{days}",
    sources=(COMMON_PRACTICE,),
    worse="below",
    cost="rework",
)
def check(order) -> Iterator[Hit]:
    """So few ordered that one bad part means a second order.

    One part that arrives bent or scratched costs the wait of a whole second order; one spare is often cheap against it.

    Measured: the chance that at most as many as there are spares are bad, each by itself with the share that the order
    or the shop's own record states (binomial distribution); against the chance that the order wants.
    Ignore when: a second order is quick, or the part can be mended.
    """
    unknown = []
    for part in order.order.part:
        spares = order.spares(part.id)
        if spares is None:
            unknown.append(part.id)
            continue
        if spares.chance < spares.wanted_chance:
            words = {
                "part": part.id,
                "count": spares.needed + spares.ordered,
                "needed": spares.needed,
                "advised": f"{spares.advised} spare" + ("" if spares.advised == 1 else "s"),
                "then": f"{100 * order.chance_with(spares):.1f}",
                "days": "" if spares.second_days is None else f" A second order takes {spares.second_days} days.",
            }
            yield Hit(
                round(100 * spares.chance, 2),
                limit=100 * spares.wanted_chance,
                unit="%",
                limit_source=order.own_word,
                words=words,
                parts=(part.id,),
            )
    if unknown:
        raise CannotCheck(f"nobody says how often {', '.join(unknown)} arrives bad: bad_share, or a shop.toml")
