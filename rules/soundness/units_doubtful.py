"""The file states no unit, and in the one assumed the part has an unlikely size."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, Limits, rule

NAMES = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches", "ft": "feet", "micron": "microns"}


@rule(
    id="soundness/units-doubtful",
    process="any",
    kind="any",
    level="warning",
    since="0.1",
    message="The file states no unit. Read in {unit}, the part is {size} mm{doubt}.{other}",
    remedy="Say which unit is meant, or export to a format that states it (3MF or STEP for a body).",
    settles="units",
    limits=(
        Limit("any", 5.0, "mm", COMMON_PRACTICE, name="smallest body"),
        Limit("any", 1000.0, "mm", COMMON_PRACTICE, name="largest body"),
        Limit("any", 5.0, "mm", COMMON_PRACTICE, name="smallest flat"),
        Limit("any", 3000.0, "mm", COMMON_PRACTICE, name="largest flat"),
    ),
)
def units_doubtful(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Unit that may be the wrong one.

    STL, OBJ, PLY and many DXF hold bare numbers. An inch read as a millimetre gives a part 25 times too
    small: it is printed, paid for and thrown away.

    Measured: longest side in the unit assumed, against the sizes that parts of this kind usually have; and
    whether another unit than the millimetre had to be assumed at all.
    Ignore when: the size in the message is the size that was meant; naming the unit then ends the doubt.
    """
    units = part.part.units
    if units.stated:
        return
    longest = max(part.part.size_mm)
    kind = "flat" if part.part.kind == "sheet" else "body"
    limit, doubt = None, ""
    if longest < limits[f"smallest {kind}"].value:
        limit, doubt = f"smallest {kind}", ": very small for a part"
    elif longest > limits[f"largest {kind}"].value:
        limit, doubt = f"largest {kind}", ": very large for a part"
    elif units.value == "mm":
        return
    else:
        doubt = ", the only likely size" if units.other is None else ""
    other = ""
    if units.other is not None and units.other_size_mm is not None:
        other = f" In {_name(units.other)} it would be {_size(units.other_size_mm)} mm."
    elif limit is None or units.value != "mm":
        other = f" In millimetres it would be {_size(tuple(x / units.mm_per_unit for x in part.part.size_mm))} mm."
    yield Hit(
        measured=longest,
        limit=limit,
        words={"unit": _name(units.value), "size": _size(part.part.size_mm), "doubt": doubt, "other": other},
    )


def _name(unit: str) -> str:
    return NAMES.get(unit, unit)


def _size(sides: tuple[float, ...]) -> str:
    # A flat has no height.
    return " × ".join(f"{x:.4g}" for x in (sides if sides[2] else sides[:2]))
