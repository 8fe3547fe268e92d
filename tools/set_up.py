"""Make `.venv` ready: `set_up.py` for running, `set_up.py --test` for the tests too.

Standard library only: it runs before anything is installed. Everything comes by the lock files in `requirements/`,
with hashes. Does nothing when the lock files have not changed.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import venv
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from find_node import node_on_path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PYTHON = VENV / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
REQUIREMENTS = ROOT / "requirements"


def run(*command: str) -> None:
    """Run a command; stop with its own output when it fails."""
    done = subprocess.run(command, cwd=ROOT, check=False)
    if done.returncode:
        raise SystemExit(f"This step failed: {' '.join(command)}")


def make_environment() -> None:
    """Create the virtual environment where there is none."""
    if PYTHON.exists():
        return
    print("Making a Python environment in .venv …", flush=True)
    try:
        venv.create(VENV, with_pip=True)
    except (subprocess.CalledProcessError, OSError) as error:
        raise SystemExit(
            f"Python could not make a virtual environment ({error}). "
            "On Debian and Ubuntu: apt-get install python3-venv."
        ) from None


def install(lock: Path) -> None:
    """Install a lock file's packages once for each state of it."""
    digest = hashlib.sha256(lock.read_bytes() + (ROOT / "pyproject.toml").read_bytes()).hexdigest()
    mark = VENV / f".installed-{lock.stem}"
    if mark.is_file() and mark.read_text() == digest:
        return
    print(f"Installing the packages of {lock.relative_to(ROOT)} …", flush=True)
    run(str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
        "--require-hashes", "-r", str(lock))  # fmt: skip
    mark.write_text(digest)


def install_self() -> None:
    """Install lintsvc itself, editable."""
    digest = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    mark = VENV / ".installed-lintsvc"
    if mark.is_file() and mark.read_text() == digest:
        return
    run(str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-deps", "-e", ".")
    mark.write_text(digest)


def main() -> None:
    """Do all of it."""
    if sys.version_info < (3, 11):  # noqa: UP036  (this file runs before the version is known)
        raise SystemExit(f"lintsvc needs Python 3.11 or newer; this is {sys.version.split()[0]}.")
    make_environment()
    testing = "--test" in sys.argv
    # The test lock holds the runtime's packages too, in the same versions.
    if testing or not (VENV / ".installed-test").is_file():
        install(REQUIREMENTS / ("test.lock" if testing else "runtime.lock"))
    else:
        install(REQUIREMENTS / "test.lock")
    if not node_on_path():
        install(REQUIREMENTS / "node.lock")
    install_self()
    run(str(PYTHON), "tools/build_page.py")


if __name__ == "__main__":
    main()
