"""Run all benches, or those named: `python -m bench [NAME …]`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

#: In this order; each also runs alone as `python -m bench.NAME`, with its own arguments.
ALL = (
    "start",
    "bodies",
    "soundness",
    "flats",
    "repository",
    "orders",
    "service",
    "records",
    "redis_use",
    "page",
    "view",
    "faults",
    "fuzz",
)


def main(names: list[str]) -> int:
    """Run them one after the other; the exit status is the number that failed."""
    here = Path(__file__).parent
    there = [x for x in ALL if (here / f"{x}.py").is_file()]
    unknown = [x for x in names if x not in there]
    if unknown:
        print(f"there is no bench {', '.join(unknown)}; there are {', '.join(there)}")
        return 2
    failed = 0
    for name in names or there:
        print(f"\n== {name}", flush=True)
        failed += subprocess.run([sys.executable, "-m", f"bench.{name}"], cwd=here.parent, check=False).returncode != 0
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
