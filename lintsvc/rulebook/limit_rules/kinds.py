"""What a value in a condition is: a length to some power, an angle, a mass, a stress, a text, a truth."""

from __future__ import annotations

from typing import NamedTuple


class Kind(NamedTuple):
    """The kind of a value. `power` counts for lengths only: 0 is a plain number, 2 an area."""

    base: str
    power: int = 0

    @property
    def name(self) -> str:
        """The kind in words."""
        if self.base == "length":
            return _LENGTHS.get(self.power, f"a length to the power {self.power}")
        return _NAMES[self]

    @property
    def unit(self) -> str:
        """The unit that its values are in."""
        if self.base == "length":
            return {0: "", 1: "mm", 2: "mm2", 3: "mm3"}.get(self.power, f"mm^{self.power}")
        return _UNITS.get(self, "")


NUMBER, LENGTH, AREA, VOLUME = (Kind("length", power) for power in range(4))
ANGLE, MASS, STRESS, TEXT, TRUTH = (Kind(x) for x in ("angle", "mass", "stress", "text", "truth"))

_LENGTHS = {0: "a number", 1: "a length", 2: "an area", 3: "a volume"}
_NAMES = {ANGLE: "an angle", MASS: "a mass", STRESS: "a stress", TEXT: "a text", TRUTH: "true or false"}
_UNITS = {ANGLE: "deg", MASS: "g", STRESS: "MPa"}

#: Units that may be written: their kind, and what one of them is in the kind's own unit.
UNITS: dict[str, tuple[Kind, float]] = {
    "mm": (LENGTH, 1.0),
    "cm": (LENGTH, 10.0),
    "m": (LENGTH, 1000.0),
    "in": (LENGTH, 25.4),
    "mm2": (AREA, 1.0),
    "mm²": (AREA, 1.0),
    "mm3": (VOLUME, 1.0),
    "mm³": (VOLUME, 1.0),
    "deg": (ANGLE, 1.0),
    "°": (ANGLE, 1.0),
    "%": (NUMBER, 0.01),
    "g": (MASS, 1.0),
    "kg": (MASS, 1000.0),
    "MPa": (STRESS, 1.0),
    "GPa": (STRESS, 1000.0),
}
