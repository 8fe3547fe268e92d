from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, CannotCheck, Hit, rule


@rule(
    id="order/late",
    process="any",
    kind="order",
    level="warning",
    since="0.2",
    message="It is done on {done} at the earliest, {late} after {need_by}. Everything waits for {critical}.",
    remedy="{remedy}",
    sources=(GEOMETRY,),
    worse="above",
    cost="rework",
)
def check(order) -> Iterator[Hit]:
    """Order that is not there when it is needed.

    The slowest chain of making, finishing, transport and putting together decides, not the slowest part.

    Measured: the day on which the last step ends, counted in the working days of each supplier, against the day on
    which it is needed.
    Ignore when: the deadline can be moved.
    """
    if order.order.order.need_by is None:
        return
    try:
        plan = order.schedule
    except ValueError as why:
        raise CannotCheck(str(why)) from None
    if plan.late_days > 0:
        # Of several that end on one day all have to come sooner.
        waited = [x for x in plan.steps if x in plan.critical or not x.slack_days]
        things = list(dict.fromkeys(x.of for x in waited if x.of))
        last = [x.what for x in waited if not x.of]
        by = plan.order_by
        in_time = by is not None and by >= plan.start
        words = {
            "done": plan.done.isoformat(),
            "need_by": plan.need_by.isoformat(),
            "critical": ", then ".join(x for x in (" and ".join(things), *last) if x) or "the last step",
            "late": f"{plan.late_days} day" + ("" if plan.late_days == 1 else "s"),
            "remedy": "Ask for a quicker delivery of what everything waits for, or move the date."
            + ("" if in_time or by is None else f" It had to go out by {by.isoformat()}."),
        }
        yield Hit(plan.late_days, limit=0.0, unit="days", limit_source=order.own_word, words=words, parts=tuple(things))
    elif plan.unknown:
        raise CannotCheck(f"nobody says {', '.join(plan.unknown)}")
