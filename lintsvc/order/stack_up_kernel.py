"""The simulation's inner loop, compiled: the least, over shifts and small turns, of the largest residual."""

from __future__ import annotations

from typing import Any

import numpy as np

from lintsvc.measure.compiled import compiled

#: The least and largest sharpness of the smoothed maximum, and how fast it grows between.
_SHARP_START, _SHARP_GROWTH, _SHARP_END = 4.0, 1.7, 20_000.0


@compiled
def _least_max(p: Any, e: Any, c: Any) -> float:
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
    sharp = _SHARP_START
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
        sharp = min(sharp * _SHARP_GROWTH, _SHARP_END)
    return float(np.sqrt(best))


@compiled
def least_of_all(centres: Any, errors: Any, clearance: Any) -> Any:
    """Return for each sample the least of the largest residual as a share of its clearance.

    `errors` (k, n, 2), `clearance` (k, n).
    """
    out = np.empty(len(errors))
    for k in range(len(errors)):
        out[k] = _least_max(centres, errors[k], clearance[k])
    return out
