"""The bending tools that a bend order is tried with: a straight punch and a V-die, as bodies.

In the machine's frame x runs across the bend, y along it, z up; the bend line lies on the origin, on
the inside of the bend. The punch comes from above, the die stands below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Tooling:
    """Common press brake tools (common practice, no source). `die_opening_mm`: the V; 8 thicknesses is usual."""

    die_opening_mm: float
    punch_width_mm: float = 12.0
    punch_height_mm: float = 100.0
    punch_angle_deg: float = 85.0
    die_width_mm: float = 40.0
    die_height_mm: float = 90.0

    @property
    def stated(self) -> str:
        """The assumption in words, for a finding."""
        return (
            f"a straight punch {self.punch_width_mm:g} mm wide and {self.punch_height_mm:g} mm high, and a die "
            f"{self.die_width_mm:g} mm wide with a V of {self.die_opening_mm:g} mm, both as long as the bend"
        )

    def punch(self, length_mm: float) -> Any:
        """Return the punch, its tip on the origin."""
        half = self.punch_width_mm / 2
        shoulder = half / math.tan(math.radians(self.punch_angle_deg) / 2)
        top = self.punch_height_mm
        return _prism([(0, 0), (half, shoulder), (half, top), (-half, top), (-half, shoulder)], length_mm)

    def die(self, length_mm: float) -> Any:
        """Return the die, its upper face at z = 0."""
        half, v, low = self.die_width_mm / 2, self.die_opening_mm / 2, -self.die_height_mm
        v = min(v, half - 1)
        profile = [(-half, low), (half, low), (half, 0), (v, 0), (0, -v), (-v, 0), (-half, 0)]
        return _prism(profile, length_mm)


def _prism(profile: list[tuple[float, float]], length_mm: float) -> Any:
    """Extrude a profile (x, z) along y, about the origin."""
    from manifold3d import CrossSection, FillRule, Manifold

    # Extrusion runs along z; x, y, z of the profile become x, z, −y.
    body = Manifold.extrude(CrossSection([profile], FillRule.NonZero), length_mm)
    return body.rotate((90.0, 0.0, 0.0)).translate((0.0, length_mm / 2, 0.0))
