"""A part larger than the sheet or the table."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Limit, Limits, Source, rule

SHEET = Source("memory", "Metal sheet is sold and cut as 1000 × 2000, 1250 × 2500 and 1500 × 3000 mm.")
TABLE = Source("memory", "Tables of CO2 lasers for plastics and wood: 600 × 900 to 1300 × 2500 mm; often 900 × 1300.")
SOFT = ("acrylic", "pom", "polycarbonate", "abs", "wood", "soft")


@rule(
    id="sheet/part-too-big",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The part is {long} × {wide} mm; the sheet or the table is at most {most} mm.",
    remedy="Split the part, or ask for the shop's largest sheet. If it should be smaller, check the unit of the file.",
    limits=(
        Limit("any", 3000.0, "mm", SHEET, name="length"),
        Limit("any", 1500.0, "mm", SHEET, name="width"),
        *(Limit(x, 1300.0, "mm", TABLE, name="length") for x in SOFT),
        *(Limit(x, 900.0, "mm", TABLE, name="width") for x in SOFT),
    ),
    worse="above",
)
def part_too_big(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Part larger than the sheet.

    What is larger than the sheet that the shop buys, or than its table, cannot be cut in one piece. A part that
    comes out far too large is often a file in the wrong unit.

    Measured: sides of the smallest rectangle around each outer contour, however it lies.
    Ignore when: the shop has said that it takes parts of this size.
    """
    flat = part.outlined
    length, width = limits["length"].value, limits["width"].value
    words = {"most": f"{length:g} × {width:g}"}
    for contour, long, wide in flat.sizes:
        name = "length" if long > length + flat.exact_mm else "width" if wide > width + flat.exact_mm else ""
        if name:
            words |= {"long": f"{long:.1f}", "wide": f"{wide:.1f}"}
            yield Hit(long if name == "length" else wide, contour.where, name, words=words)
