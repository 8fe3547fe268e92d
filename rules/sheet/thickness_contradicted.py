"""A solid of another thickness than was said."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="sheet/thickness-contradicted",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The solid is {solid} mm thick; {said} mm was said. They differ by {measured}; {limit} is let pass.",
    remedy="Order {solid} mm, or model the part anew at {said} mm: its bends, its flat and what it fits to were "
    "drawn for {solid} mm, and it was checked as that.",
    limits=(Limit("any", 0.03, "x thickness", COMMON_PRACTICE),),
    worse="above",
    needs=("thickness",),
)
def thickness_contradicted(part: Checked, limit: float) -> Iterator[Hit]:
    """Thickness of the solid that is not the one that was said.

    One of the two is wrong. Where the shop cuts the flat from sheet of the thickness that was ordered, bends come
    out at another size, slots and tabs do not fit, and a countersink may go through.

    Measured: the thickness of the solid against the one that was said, by the user, the order or a gauge. Inch, gauge
    and metric names of one stock differ by less than 3 %, and are let pass.
    Ignore when: the solid is a stand-in, and a flat made for the ordered thickness is sent with it.
    """
    solid, said = part.flat.sheet.thickness_mm, part.choices.thickness_mm
    if solid is None or said is None:
        return
    off = abs(solid - said)
    if off > limit + part.flat.exact_mm:
        yield Hit(off, part.flat.where_of_all, words={"solid": f"{solid:.4g}", "said": f"{said:.4g}"})
