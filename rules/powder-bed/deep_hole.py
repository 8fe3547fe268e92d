from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, rule

#: Wider holes let air and a brush in, however deep.
WIDEST_MM = 6.0
#: Narrower holes close up, as powder-bed/small-hole says: made wide enough, they are no longer deep for their width.
NARROWEST_MM = 1.0


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

    Measured: depth over diameter of round holes from 1 to 6 mm across, blind and through ones apart.
    Ignore when: the hole is drilled or reamed after printing.
    """
    for bore in part.body.bores:
        if not NARROWEST_MM <= bore.diameter_mm <= WIDEST_MM:
            continue
        name = "through" if bore.through else "blind"
        ratio = bore.depth_mm / bore.diameter_mm
        if ratio > limits[name].value * 1.005:
            words = {"kind": name.capitalize(), "diameter": bore.diameter_mm, "depth": bore.depth_mm}
            yield Hit(round(ratio, 1), bore.where(), limit=name, words=words)
