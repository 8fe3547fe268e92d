"""Check the page's types."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from build_page import PAGE
from find_node import npm_command

if __name__ == "__main__":
    npm, environment = npm_command()
    raise SystemExit(
        subprocess.run([*npm, "run", "--silent", "check"], cwd=PAGE, env=environment, check=False).returncode
    )
