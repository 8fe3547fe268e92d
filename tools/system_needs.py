"""What the tests need of the system: a browser and a PostgreSQL server. Installs what is missing where it may.

Fails, rather than letting tests be skipped, with one plain line for each thing that is not there.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Need:
    """A program, under any of its names or in any of its usual places, and the Debian package that has it."""

    what: str
    programs: tuple[str, ...]
    places: tuple[str, ...]
    debian_package: str

    def there(self) -> bool:
        """True when the program can be found."""
        if any(shutil.which(x) for x in self.programs):
            return True
        return any(list(Path("/").glob(x)) for x in self.places)


NEEDS = (
    Need("a browser (Chromium)", ("chromium", "chromium-browser", "google-chrome"), (), "chromium"),
    Need("a PostgreSQL server", ("postgres",), ("usr/lib/postgresql/*/bin/postgres",), "postgresql"),
)


def install(packages: list[str]) -> None:
    """Try to install packages with apt-get; silent about failure, the caller looks again."""
    if shutil.which("apt-get") is None:
        return
    prefix: list[str] = []
    if os.geteuid() != 0:
        if shutil.which("sudo") is None:
            return
        prefix = ["sudo", "-n"]
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run([*prefix, "apt-get", "update", "-qq"], env=environment, check=False)
    subprocess.run(
        [*prefix, "apt-get", "install", "-y", "-qq", "--no-install-recommends", *packages],
        env=environment, stdout=subprocess.DEVNULL, check=False,
    )  # fmt: skip


def main() -> None:
    """Install what is missing, then say what still is."""
    missing = [x for x in NEEDS if not x.there()]
    if missing:
        print("Installing for the tests:", ", ".join(x.what for x in missing), flush=True)
        install([x.debian_package for x in missing])
    still = [x for x in missing if not x.there()]
    for need in still:
        print(f"The tests need {need.what}, and it could not be installed. Install it (Debian: {need.debian_package}).")
    if still:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
