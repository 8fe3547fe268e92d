from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, patterns, rule, where_of_all

#: Wider holes let air and a brush in, however deep.
WIDEST_MM = 6.0
#: Narrower holes close up, as powder-bed/small-hole says: made wide enough, they are no longer deep for their width.
NARROWEST_MM = 1.0

ALIKE = (
    "{count} like {kind} holes {diameter} mm across are {depth} mm deep, {measured} times their diameter; over {limit} "
    "times the powder is hard to get out."
)


@rule(
    id="powder-bed/deep-hole",
    process="powder-bed",
    kind="body",
    level="note",
    since="0.1",
    message="{kind} hole {diameter} mm across is {depth} mm deep, {measured} times its diameter; over {limit} times "
    "the powder is hard to get out.",
    remedy="Open a blind hole through, make it wider or shallower, or plan for it to be drilled out.",
    limits=(
        Limit("any", 5.0, "ratio", FROM_MEMORY, name="blind"),
        Limit("any", 15.0, "ratio", FROM_MEMORY, name="through"),
    ),
    worse="above",
    cost="rework",
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Hole so deep and narrow that its powder stays.

    Powder in a narrow hole is half sintered and has to be blown or picked out. From one end that
    reaches a few diameters deep.

    Measured: depth over diameter of round holes from 1 to 6 mm across, blind and through ones apart. Three or
    more that are alike, of one body, are told once.
    Ignore when: the hole is drilled or reamed after printing.
    """
    solid = part.body.solids.of_face
    deep = [
        x
        for x in part.body.bores
        if NARROWEST_MM <= x.diameter_mm <= WIDEST_MM
        and x.depth_mm / x.diameter_mm > limits[_name(x.through)].value * 1.005
    ]
    for same in patterns(deep, lambda x: (x.diameter_mm, x.depth_mm), lambda x: (x.through, solid[x.faces[0]])):
        bore, name = same[0], _name(same[0].through)
        kind = name if len(same) > 1 else name.capitalize()
        words = {"kind": kind, "diameter": bore.diameter_mm, "depth": bore.depth_mm, "count": len(same)}
        where = where_of_all([x.where() for x in same])
        message = ALIKE if len(same) > 1 else None
        yield Hit(round(bore.depth_mm / bore.diameter_mm, 1), where, limit=name, words=words, message=message)


def _name(through: bool) -> str:
    """Name of the limit."""
    return "through" if through else "blind"
