"""How likely two hole patterns go together: does one rigid move pass every screw, for holes that are each a little off.

A screw passes two holes when their centres are at most the sum of both radial clearances apart. So a set of position
errors goes together when some shift and small turn brings every residual within its clearance. Simulated parts are
judged exactly that way, by a smoothed minimum of the largest residual (Newton's method in three unknowns).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Spread = Literal["uniform", "normal"]
#: A clearance that is none.
_NONE_MM = 1e-6


@dataclass(frozen=True)
class Chance:
    """What the simulation gave."""

    share: float
    samples: int
    #: Half the width of the 95 % interval of `share` (normal approximation; rule of three at the ends).
    within: float


def worst_case_play_mm(clearance_mm: Iterable[float], position_mm: Iterable[float]) -> float:
    """Return the play that is left at worst: the smallest of clearance minus position error (both radial sums)."""
    return min(c - p for c, p in zip(clearance_mm, position_mm, strict=True))


def chance_to_assemble(
    centres_mm: Floats,
    clearance_mm: Floats,
    position_a_mm: float,
    position_b_mm: float,
    *,
    spread: Spread = "normal",
    samples: int = 20_000,
    seed: int = 0,
    offset_mm: Floats | None = None,
    together_mm: Sequence[Floats] = (),
    size_mm: Floats | float = 0.0,
) -> Chance:
    """Return the share of pairs of parts that go together.

    `centres_mm`: (n, 2) nominal centres. `clearance_mm`: (n,) radial clearance of each screw, both holes together.
    `position_a_mm`, `position_b_mm`: diameters of the position zones of both parts (ASME Y14.5 sense). `uniform` fills
    the zone evenly; `normal` puts 99.7 % of each coordinate inside it. `offset_mm`: (n, 2) how far centres are off
    as drawn. `together_mm`: errors that move holes together, each (n, 2) at its tolerance, such as a bend's angle.
    `size_mm`: the tolerance ± of each radial clearance, from the sizes of its holes and its screw.
    """
    centres = np.ascontiguousarray(centres_mm - np.mean(centres_mm, axis=0), np.float64)
    random = np.random.default_rng(seed)
    errors = _errors(random, len(centres), position_a_mm, spread, samples)
    errors -= _errors(random, len(centres), position_b_mm, spread, samples)
    if offset_mm is not None:
        errors += offset_mm
    for mode in together_mm:
        errors += _one_sided(random, (samples, 1, 1), spread) * mode
    clearance = np.broadcast_to(np.asarray(clearance_mm, np.float64), (samples, len(centres)))
    if np.any(np.asarray(size_mm) > 0):
        clearance = clearance + _one_sided(random, (samples, len(centres)), spread) * size_mm
    largest = _kernel()(centres, np.ascontiguousarray(errors), np.ascontiguousarray(np.maximum(clearance, _NONE_MM)))
    # Where a screw is wider than its hole no moving helps.
    share = float(((largest <= 1.0 + 1e-9) & (clearance >= 0).all(axis=1)).mean())
    if share in (0.0, 1.0):
        return Chance(share, samples, 3.0 / samples)
    return Chance(share, samples, 1.96 * float(np.sqrt(share * (1 - share) / samples)))


def _one_sided(random: np.random.Generator, shape: tuple[int, ...], spread: Spread) -> Floats:
    """Return errors as shares of their tolerance."""
    return random.normal(0.0, 1 / 3, shape) if spread == "normal" else random.uniform(-1, 1, shape)


def _errors(random: np.random.Generator, holes: int, zone_mm: float, spread: Spread, samples: int) -> Floats:
    if spread == "normal":
        return random.normal(0.0, zone_mm / 2 / 3, (samples, holes, 2))
    radius = zone_mm / 2 * np.sqrt(random.uniform(0, 1, (samples, holes)))
    angle = random.uniform(0, 2 * np.pi, (samples, holes))
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)


def largest_residual(centres_mm: Floats, error_mm: Floats, clearance_mm: Floats) -> float:
    """Return the least, over shifts and small turns, of the largest residual as a share of its clearance."""
    centres = np.ascontiguousarray(centres_mm - np.mean(centres_mm, axis=0), np.float64)
    return float(_kernel()(centres, np.ascontiguousarray(error_mm[None]), np.ascontiguousarray(clearance_mm[None]))[0])


def _kernel() -> Any:
    """Return the compiled simulation. Imported at first use only: reading an order must not wait for numba."""
    from lintsvc.order.stack_up_kernel import least_of_all

    return least_of_all
