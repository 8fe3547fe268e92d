"""The bending tools that a bend order is tried with: a straight punch, the beam that holds it, and a V-die, as bodies.

In the machine's frame x runs across the bend, y along it, z up; the bend line lies on the origin, on
the inside of the bend. The punch comes from above, the die stands below. Punch and die are as long as the
bend; the beam runs on past both its ends, so that the walls of a deep box meet it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

Tool = Literal["punch", "beam", "die"]
#: Beyond what any part reaches (mm).
_BEAM_LENGTH_MM = 6000.0
_BEAM_HEIGHT_MM = 2000.0
#: A die is at least so much wider than its V (mm).
_SHOULDERS_MM = 20.0


@dataclass(frozen=True, slots=True)
class Tooling:
    """Common press brake tools (common practice, no source). `die_opening_mm`: the V; 8 thicknesses is usual."""

    die_opening_mm: float
    punch_width_mm: float = 12.0
    punch_height_mm: float = 120.0
    punch_angle_deg: float = 85.0
    beam_width_mm: float = 40.0
    narrowest_die_mm: float = 40.0
    die_height_mm: float = 90.0

    @property
    def die_width_mm(self) -> float:
        """Width of the die, its V and two shoulders."""
        return max(self.narrowest_die_mm, self.die_opening_mm + _SHOULDERS_MM)

    @property
    def stated(self) -> str:
        """The assumption in words, for a finding."""
        return (
            f"a straight punch {self.punch_width_mm:g} mm wide and {self.punch_height_mm:g} mm high under a beam "
            f"{self.beam_width_mm:g} mm wide, and a die {self.die_width_mm:g} mm wide with a V of "
            f"{self.die_opening_mm:g} mm; punch and die as long as the bend"
        )

    def punch(self, length_mm: float) -> Any:
        """Return the punch, its tip on the origin."""
        half = self.punch_width_mm / 2
        shoulder = half / math.tan(math.radians(self.punch_angle_deg) / 2)
        top = self.punch_height_mm
        return _prism([(0, 0), (half, shoulder), (half, top), (-half, top), (-half, shoulder)], length_mm)

    def beam(self) -> Any:
        """Return the beam above the punch."""
        half, low = self.beam_width_mm / 2, self.punch_height_mm
        high = low + _BEAM_HEIGHT_MM
        return _prism([(-half, low), (half, low), (half, high), (-half, high)], _BEAM_LENGTH_MM)

    def die(self, length_mm: float) -> Any:
        """Return the die, its upper face at z = 0."""
        half, v, low = self.die_width_mm / 2, self.die_opening_mm / 2, -self.die_height_mm
        profile = [(-half, low), (half, low), (half, 0), (v, 0), (0, -v), (-v, 0), (-half, 0)]
        return _prism(profile, length_mm)


def _prism(profile: list[tuple[float, float]], length_mm: float) -> Any:
    """Extrude a profile (x, z) along y, about the origin."""
    from manifold3d import CrossSection, FillRule, Manifold

    # Extrusion runs along z; x, y, z of the profile become x, z, −y.
    body = Manifold.extrude(CrossSection([profile], FillRule.NonZero), length_mm)
    return body.rotate((90.0, 0.0, 0.0)).translate((0.0, length_mm / 2, 0.0))
