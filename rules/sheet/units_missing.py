"""A flat file that states no unit."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="sheet/units-missing",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The file states no unit; {unit} is assumed, which makes the flat {size} mm.{other}",
    remedy="State the unit in the drawing ($INSUNITS in DXF, width and height with a unit in SVG) and send it again, "
    "or say which unit is meant.",
    settles="units",
    sources=(GEOMETRY,),
    worse="present",
)
def units_missing(part: Checked) -> Iterator[Hit]:
    """Flat without a unit.

    A drawing of numbers without a unit is read as millimetres by one shop and as inches by the next: the part
    comes 25.4 times too large or too small.

    Measured: the unit that the file states, or that the user gave.
    Ignore when: the assumed unit is right, and the shop is told.
    """
    units = part.part.units
    if units.stated:
        return
    x, y = part.flat.flat_mm
    other = ""
    if units.other is not None and units.other_size_mm is not None:
        a, b = units.other_size_mm[:2]
        other = f" Read in {_PLURALS.get(units.other, units.other)} it would be {a:.4g} × {b:.4g} mm."
    words = {"unit": units.value, "size": f"{x:.4g} × {y:.4g}", "other": other}
    yield Hit(where=part.flat.where_of_all, limit=None, words=words)


_PLURALS = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches", "ft": "feet"}
