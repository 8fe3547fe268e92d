"""Running the command as a person does, and small files and packs to run it on."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path

from parts import reports

PACK = 'name = "trial"\ntitle = "Trial"\nsummary = "For tests."\n'

RULE = '''"""A rule for tests."""

import os, sys, time
from collections.abc import Iterator

from lintsvc.rulebook import CannotCheck, GEOMETRY, Checked, Hit, Where, rule


@rule(
    id="trial/{name}", process="any", kind="any", level="{level}", since="0.1", message="{message}",
    remedy="Do it otherwise.", sources=(GEOMETRY,), worse="present", impossible=True,
)
def check(part: Checked) -> Iterator[Hit]:
    """Trial.

    Measured: nothing.
    Ignore when: always.
    """
    here = Where((1.0, 2.0, 3.0), ((0.0, 0.0, 0.0), (2.0, 4.0, 6.0)), faces=(0, 1))
{body}
    yield from ()
'''


def lintsvc(
    *arguments: str | Path, cwd: Path, seconds: float = 180, **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run the command and return what came of it. It must end within `seconds`. Its cache is the folder's own.

    So many seconds that a busy machine is no failure, and few enough that what hangs is.
    """
    return subprocess.run(
        [sys.executable, "-m", "lintsvc.cli", *map(str, arguments)],
        cwd=cwd,
        env=os.environ | {"XDG_CACHE_HOME": str(cwd / ".cache")} | environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=seconds,
        check=False,
    )


def write_housing(path: Path) -> Path:
    """Write the housing block as a binary STL."""
    body = reports.housing_part().body
    assert body is not None
    triangles = body.vertices[body.faces]
    records = [struct.pack("<12fH", 0, 0, 0, *corners.ravel(), 0) for corners in triangles]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"\0" * 80 + struct.pack("<I", len(records)) + b"".join(records))
    return path


def write_rule(folder: Path, name: str, body: str, *, level: str = "error", message: str = "Found.") -> Path:
    """Add a rule `trial/NAME` to the pack in `folder`, made if need be, and return the folder. `body` is its code."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "pack.toml").write_text(PACK, "utf-8")
    indented = "\n".join("    " + line for line in body.splitlines())
    text = RULE.format(name=name, level=level, message=message, body=indented)
    (folder / f"{name.replace('-', '_')}.py").write_text(text, "utf-8")
    return folder


FINDS = "yield Hit(where=here, limit=None)"
