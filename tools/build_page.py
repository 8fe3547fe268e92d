"""Build the page: `lintsvc/web/page/` (TypeScript) into `lintsvc/web/static/`.

Used by `make`, by the wheel's build hook and by the container image. Does nothing when the built page is newer than
its sources.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from find_node import npm_command

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "lintsvc" / "web" / "page"
BUILT = ROOT / "lintsvc" / "web" / "static"


def sources() -> list[Path]:
    """Return every file that the built page depends on."""
    found = [x for x in PAGE.iterdir() if x.is_file()]
    for folder in PAGE.iterdir():
        if folder.is_dir() and folder.name not in {"node_modules", "dist"}:
            found += [x for x in folder.rglob("*") if x.is_file()]
    return found


def up_to_date() -> bool:
    """True when the built page is newer than all its sources."""
    mark = BUILT / "index.html"
    return mark.is_file() and mark.stat().st_mtime >= max(x.stat().st_mtime for x in sources())


def build(*, force: bool = False) -> None:
    """Install the page's packages by its lock file and build it."""
    if not force and up_to_date():
        return
    npm, environment = npm_command()
    modules_mark = PAGE / "node_modules" / ".package-lock.json"
    lock = PAGE / "package-lock.json"
    if not modules_mark.is_file() or modules_mark.stat().st_mtime < lock.stat().st_mtime:
        subprocess.run([*npm, "ci", "--no-audit", "--no-fund"], cwd=PAGE, env=environment, check=True)
    subprocess.run([*npm, "run", "build"], cwd=PAGE, env=environment, check=True)


if __name__ == "__main__":
    build(force="--force" in sys.argv)
