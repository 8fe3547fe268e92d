"""How fast the command is there: against the interpreter alone, and a check against importing numpy.

Run from the checkout: python -m bench.start. Each figure is the best of several runs; compiled code is cached.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from lintsvc.measure.stl_bytes import stl_bytes

RUNS = 7


def best_seconds(*arguments: str) -> float:
    """Return the least wall time of some runs of the interpreter."""
    times = []
    for _ in range(RUNS):
        started = time.perf_counter()
        subprocess.run([sys.executable, *arguments], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
        times.append(time.perf_counter() - started)
    return min(times)


def ball(path: Path, faces: int) -> None:
    """Write a ball of about so many faces as STL."""
    n = max(4, round((faces / 4) ** 0.5))
    u, v = np.meshgrid(np.linspace(0, np.pi, n + 1), np.linspace(0, 2 * np.pi, 2 * n + 1), indexing="ij")
    p = 20 * np.stack([np.sin(u) * np.cos(v), np.sin(u) * np.sin(v), np.cos(u)], -1)
    p[:, -1] = p[:, 0]
    p[0], p[-1] = (0, 0, 20), (0, 0, -20)
    a, b, c, d = p[:-1, :-1], p[1:, :-1], p[1:, 1:], p[:-1, 1:]
    corners = np.concatenate(
        [np.stack(x, 2)[rows].reshape(-1, 3, 3) for x, rows in (((a, b, c), slice(0, -1)), ((a, c, d), slice(1, None)))]
    )
    path.write_bytes(stl_bytes(corners, "ball, mm"))


def main() -> None:
    """Print the ratios."""
    nothing, numpy = best_seconds("-c", "pass"), best_seconds("-c", "import numpy")
    helped = best_seconds("-m", "lintsvc.cli", "--help")
    print(f"lintsvc --help          {helped / nothing:5.1f} x python -c pass        (aim: 4)")
    with tempfile.TemporaryDirectory() as folder:
        part = Path(folder) / "ball.stl"
        ball(part, 10_000)
        checked = best_seconds("-m", "lintsvc.cli", "check", "--no-cache", str(part))
    print(f"check of 10 k faces     {checked / numpy:5.1f} x python -c 'import numpy' (aim: 8)")


if __name__ == "__main__":
    main()
