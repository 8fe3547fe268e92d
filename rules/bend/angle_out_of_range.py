"""A bend angle that a press brake does not reach."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, GEOMETRY, Checked, Hit, Limit, Limits, rule, where_of_bend


@rule(
    id="bend/angle-out-of-range",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="A bend is {measured}, measured as the angle bent through; air bending ends at {limit}.",
    remedy="Bend at most {limit}; for a hem, say so to the shop: it takes a second stroke that flattens the sheet.",
    limits=(Limit("any", 150.0, "deg", COMMON_PRACTICE),),
    sources=(GEOMETRY,),
    worse="above",
    impossible=True,
    about="bends",
)
def angle_out_of_range(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Bend angle out of range.

    The angle is the one that the sheet is bent through: 90 for an L, 0 for flat. Sharp punches reach about
    150°; up to 180° needs a hemming stroke; nothing bends through more than 180° or through 0°.

    Measured: the angle as the file or the choices say it.
    Ignore when: the shop hems, and the hem is as it is meant.
    """
    limit = limits["limit"].value
    for bend in part.flat.bends:
        if bend.angle_deg is None or 0.0 < bend.angle_deg <= limit:
            continue
        if 0.0 < bend.angle_deg <= 180.0:
            yield Hit(bend.angle_deg, where_of_bend(bend), level="warning")
        else:
            yield Hit(
                bend.angle_deg,
                where_of_bend(bend),
                limit=None,
                unit="deg",
                message="A bend is said to be {measured}: the angle bent through is above 0° and at most 180°.",
                remedy="Say the angle bent through: 90 for an L, 0 for flat.",
            )
