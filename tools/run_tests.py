"""Run all tests in two processes, and those that failed once more by themselves; `make test` does.

A browser, services that are killed, and two test processes share two cores in the first run. What fails twice has
failed, and so has a run that ended for any other reason than failed tests. What passes only by itself is named again
at the end: a test that is seen there more than once wants mending.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

#: More than this is no accident of timing.
MOST = 10
FAILED = Path(".pytest_cache/v/cache/lastfailed")
#: pytest's exit status when tests ran and some failed.
SOME_FAILED = 1


def pytest(*arguments: str) -> int:
    return subprocess.run([sys.executable, "-m", "pytest", *arguments]).returncode


def main() -> int:
    """Return 0 where every test passed, in the first run or by itself."""
    FAILED.unlink(missing_ok=True)
    status = pytest("-n", "2", "--dist", "loadfile")
    failed = sorted(json.loads(FAILED.read_text("utf-8"))) if FAILED.is_file() else []
    if status != SOME_FAILED or not 0 < len(failed) <= MOST:
        return status
    print("\nOnce more, by themselves:\n  " + "\n  ".join(failed), flush=True)
    status = pytest(*failed)
    if status == 0:
        print("Passed only when run again, by themselves:\n  " + "\n  ".join(failed))
    return status


if __name__ == "__main__":
    sys.exit(main())
