from collections.abc import Iterator

from lintsvc.rulebook import CannotCheck, Hit, Limit, Source, rule, where_of_spot

TILT = Source("memory", "IEC 62368-1:2018, 8.6: a product must not overturn when tilted by 10°; recalled.")
LINE = "It rests on one line or point: nothing keeps it from tipping."
WIDER = "Name feet, or add them, that span an area."
FALLS = "It falls over by itself: its centre of gravity is {outside} mm outside of what it rests on."


@rule(
    id="order/tips-over",
    process="any",
    kind="order",
    level="error",
    since="0.2",
    message="It tips over at {measured}; {limit} is wanted. A level push of {push} N at the height of its centre of "
    "gravity does it.",
    remedy="Set the feet {margin} mm farther out under the weakest edge, or bring the weight down.",
    limits=(Limit("any", 10.0, "deg", TILT),),
    worse="below",
    cost="rework",
    impossible=True,
    caution="What stands overhead or beside people is to be fixed as well. Estimates for a first choice; local codes "
    "and licensed practice go first.",
)
def check(order, limit: float) -> Iterator[Hit]:
    """Assembly that tips over easily, or does not stand at all.

    A light stand with a heavy head falls at the first knock. How far it can be tilted depends on how high the centre of
    gravity is and how far inside the feet.

    Measured: the angle whose tangent is the distance of the centre of gravity from the nearest edge of the area that
    the feet span, over its height above them; z is up in the assembly's frame.
    Ignore when: it is screwed or clamped down in use.
    """
    if not any(x.kind == "feet" for x in order.order.rest):
        return
    stands = order.balance
    if isinstance(stands, str):
        if stands == order.ON_A_LINE:
            yield Hit(None, limit=None, message=LINE, remedy=WIDER)
            return
        raise CannotCheck(stands)
    wanted = order.order.allowed.tip_angle_deg
    least = limit if wanted is None else wanted
    if stands.tip_deg < least:
        x, y, z = stands.centre_mm
        floor = order.floor_mm
        further = (z - floor) * order.tangent(least) - stands.margin_mm
        words = {
            "outside": f"{-stands.margin_mm:.1f}",
            "push": f"{stands.push_n(max(z - floor, 1e-9)):.2g}",
            "margin": f"{further:.1f}",
        }
        falls = stands.tip_deg < 0
        yield Hit(
            stands.tip_deg,
            where_of_spot((x, y, z), 2.0),
            limit="limit" if wanted is None else wanted,
            unit="deg",
            limit_source=None if wanted is None else order.own_word,
            words=words,
            message=FALLS if falls else None,
            level="error" if falls else "warning",
        )
