"""How likely two hole patterns go together: does one rigid move pass every screw, for holes that are each a little off.

A screw passes two holes when their centres are at most the sum of both radial clearances apart. So a set of position
errors goes together when some shift and small turn brings every residual within its clearance. Simulated parts are
judged exactly that way, by a smoothed minimum of the largest residual (Newton's method in three unknowns).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Spread = Literal["uniform", "normal"]

#: The least and largest sharpness of the smoothed maximum, and how fast it grows between.
_SHARP_START, _SHARP_GROWTH, _SHARP_END = 4.0, 1.7, 20_000.0


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
) -> Chance:
    """Return the share of pairs of parts that go together.

    `centres_mm`: (n, 2) nominal centres. `clearance_mm`: (n,) radial clearance of each screw, both holes together.
    `position_a_mm`, `position_b_mm`: diameters of the position zones of both parts (ASME Y14.5 sense). `uniform` fills
    the zone evenly; `normal` puts 99.7 % of each coordinate inside it.
    """
    centres = np.ascontiguousarray(centres_mm - np.mean(centres_mm, axis=0), np.float64)
    random = np.random.default_rng(seed)
    errors = _errors(random, len(centres), position_a_mm, spread, samples)
    errors -= _errors(random, len(centres), position_b_mm, spread, samples)
    largest = _kernel()(centres, errors, np.ascontiguousarray(clearance_mm, np.float64))
    share = float((largest <= 1.0 + 1e-9).mean())
    if share in (0.0, 1.0):
        return Chance(share, samples, 3.0 / samples)
    return Chance(share, samples, 1.96 * float(np.sqrt(share * (1 - share) / samples)))


def _errors(random: np.random.Generator, holes: int, zone_mm: float, spread: Spread, samples: int) -> Floats:
    if spread == "normal":
        return random.normal(0.0, zone_mm / 2 / 3, (samples, holes, 2))
    radius = zone_mm / 2 * np.sqrt(random.uniform(0, 1, (samples, holes)))
    angle = random.uniform(0, 2 * np.pi, (samples, holes))
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)


def largest_residual(centres_mm: Floats, error_mm: Floats, clearance_mm: Floats) -> float:
    """Return the least, over shifts and small turns, of the largest residual as a share of its clearance."""
    centres = np.ascontiguousarray(centres_mm - np.mean(centres_mm, axis=0), np.float64)
    return float(_kernel()(centres, np.ascontiguousarray(error_mm[None]), np.ascontiguousarray(clearance_mm))[0])


_compiled: list[Any] = []


def _kernel() -> Any:
    """Return the compiled simulation, compiled at first use only: reading an order must not wait for it."""
    if not _compiled:
        from numba import njit

        one = njit(cache=True)(_least_max)

        @njit(cache=False)
        def every(centres: Any, errors: Any, clearance: Any) -> Any:
            out = np.empty(len(errors))
            for k in range(len(errors)):
                out[k] = one(centres, errors[k], clearance, _SHARP_START, _SHARP_GROWTH, _SHARP_END)
            return out

        _compiled.append(every)
    return _compiled[0]


def _least_max(p: Any, e: Any, c: Any, start: float, growth: float, end: float) -> float:
    """Minimise max |e - shift - turn x p|^2 / c^2 by Newton's method on its log-sum-exp, sharpened step by step."""
    n = len(p)
    scale = 1e-12
    for i in range(n):
        scale += p[i, 0] ** 2 + p[i, 1] ** 2
    # The turn is counted in mm at the pattern's typical radius, so that all three unknowns are alike.
    scale = np.sqrt(scale / n)
    x, y, w = 0.0, 0.0, 0.0
    for i in range(n):
        x += e[i, 0] / n
        y += e[i, 1] / n
    best = 1e300
    h = np.empty(n)
    slope = np.empty((n, 3))
    sharp = start
    for _ in range(34):
        top = 0.0
        for i in range(n):
            rx = e[i, 0] - x + w / scale * p[i, 1]
            ry = e[i, 1] - y - w / scale * p[i, 0]
            c2 = c[i] ** 2
            h[i] = (rx * rx + ry * ry) / c2
            slope[i, 0] = -2 * rx / c2
            slope[i, 1] = -2 * ry / c2
            slope[i, 2] = 2 * (rx * p[i, 1] - ry * p[i, 0]) / scale / c2
            top = max(top, h[i])
        best = min(best, top)
        if top < 1e-14:
            break
        k = sharp / top
        weight = 0.0
        g = np.zeros(3)
        m = np.zeros((3, 3))
        for i in range(n):
            share = np.exp(k * (h[i] - top))
            weight += share
            curve = share * 2 / c[i] ** 2
            a, b = -p[i, 1] / scale, p[i, 0] / scale
            for u in range(3):
                g[u] += share * slope[i, u]
                for v in range(3):
                    m[u, v] += share * k * slope[i, u] * slope[i, v]
            m[0, 0] += curve
            m[1, 1] += curve
            m[2, 2] += curve * (a * a + b * b)
            m[0, 2] += curve * a
            m[2, 0] += curve * a
            m[1, 2] += curve * b
            m[2, 1] += curve * b
        g /= weight
        m /= weight
        for u in range(3):
            for v in range(3):
                m[u, v] -= k * g[u] * g[v]
        ridge = 1e-9 * (m[0, 0] + m[1, 1] + m[2, 2]) + 1e-300
        for u in range(3):
            m[u, u] += ridge
        step = np.linalg.solve(m, g)
        size = 1.0
        now = top + np.log(weight) / k
        nx, ny, nw = x, y, w
        for _try in range(8):
            nx, ny, nw = x - size * step[0], y - size * step[1], w - size * step[2]
            most = 0.0
            for i in range(n):
                rx = e[i, 0] - nx + nw / scale * p[i, 1]
                ry = e[i, 1] - ny - nw / scale * p[i, 0]
                h[i] = (rx * rx + ry * ry) / c[i] ** 2
                most = max(most, h[i])
            total = 0.0
            for i in range(n):
                total += np.exp(k * (h[i] - most))
            if most + np.log(total) / k <= now:
                break
            size *= 0.5
        x, y, w = nx, ny, nw
        sharp = min(sharp * growth, end)
    return float(np.sqrt(best))
