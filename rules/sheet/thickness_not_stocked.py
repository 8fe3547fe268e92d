"""A thickness that the material is not commonly sold in."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, CannotCheck, Checked, Hit, rule

#: Inch and metric names of one thickness differ by less (0.080 in is 2.032 mm, drawn as 2.03).
SAME_MM = 0.03


@rule(
    id="sheet/thickness-not-stocked",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{material} is not commonly stocked {measured} thick; {near}.",
    remedy="Choose a stocked thickness, or ask the shop.",
    sources=(COMMON_PRACTICE,),
    worse="present",
    cost="rework",
    needs=("material", "thickness"),
)
def thickness_not_stocked(part: Checked) -> Iterator[Hit]:
    """Thickness that is not stocked.

    Sheet is sold in a series of thicknesses. Another one is ordered in whole sheets, or replaced by the nearest
    without asking; bends, slots and fits then come out wrong.

    Measured: the part's thickness against the handbook's common metric and inch series of the material.
    Ignore when: the shop has that thickness.
    """
    material, thickness = part.material, part.thickness_mm
    assert material is not None and thickness is not None  # the rule needs both
    stock = sorted({*material.stock_mm, *(round(25.4 * x, 3) for x in material.stock_in)})
    if not stock:
        raise CannotCheck(f"no stock thicknesses are known for {material.name}")
    nearest = min(stock, key=lambda x: abs(x - thickness))
    if abs(nearest - thickness) <= SAME_MM:
        return
    below, above = [x for x in stock if x < thickness][-1:], [x for x in stock if x > thickness][:1]
    near = "the nearest are " + " and ".join(f"{x:g} mm" for x in below + above)
    if not below or not above:
        near = f"the series runs from {stock[0]:g} to {stock[-1]:g} mm"
    yield Hit(
        thickness,
        part.flat.where_of_all,
        nearest,
        limit_source=material.stock_source or COMMON_PRACTICE,
        words={"material": material.name, "near": near},
    )
