"""General tolerances, ISO tolerance grades, and what a powder-bed print is held to. Sizes in mm."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

from lintsvc.handbook.sources import named
from lintsvc.handbook.tables import rows
from lintsvc.model.material import Value

#: ISO 2768-1 classes: fine, medium, coarse, very coarse.
ToleranceClass = Literal["f", "m", "c", "v"]
What = Literal["linear", "radius", "angular"]


@lru_cache(maxsize=1)
def _general() -> list[tuple[str, float, float, dict[str, float]]]:
    found = []
    for row in rows("general_tolerances.csv"):
        most = float(row["to_mm"]) if row["to_mm"] else math.inf
        found.append((row["what"], float(row["over_mm"]), most, {x: float(row[x]) for x in "fmcv" if row[x]}))
    return found


def general_tolerance(size_mm: float, grade: ToleranceClass = "m", what: What = "linear") -> Value:
    """Return the ± tolerance of ISO 2768-1: mm, or degrees for `angular` (size: the shorter leg).

    Raises ValueError for a size or class that the standard leaves out.
    """
    for kind, over, most, values in _general():
        # The first row includes its lower end (0.5 mm); the others start above it.
        if kind == what and (over < size_mm <= most or (size_mm == over and over in (0.0, 0.5))) and grade in values:
            return Value(values[grade] / 60 if what == "angular" else values[grade], named("iso-2768"))
    raise ValueError(f"ISO 2768-1 gives no {what} tolerance of class {grade} at {size_mm:g} mm")


@lru_cache(maxsize=1)
def _grades() -> list[tuple[float, float, dict[int, float]]]:
    return [
        (float(row["over_mm"]), float(row["to_mm"]), {grade: float(row[f"IT{grade}"]) for grade in range(5, 12)})
        for row in rows("it_grades.csv")
    ]


def it_grade(size_mm: float, grade: int) -> Value:
    """Return the width (mm) of a tolerance grade IT5 to IT11 for a size over 0 to 500 mm (ISO 286-1).

    Raises ValueError outside of that.
    """
    for over, most, values in _grades():
        if over < size_mm <= most and grade in values:
            return Value(values[grade] / 1000, named("iso-286"))
    raise ValueError(f"the table has IT5 to IT11 for sizes over 0 to 500 mm, not IT{grade} at {size_mm:g} mm")


def powder_bed_tolerance(size_mm: float) -> Value:
    """Return the ± tolerance to expect of a powder-bed print: 0.3 %, at least 0.3 mm. Common practice."""
    if size_mm < 0:
        raise ValueError("a size is not negative")
    return Value(max(0.3, 0.003 * size_mm), named("practice"))
