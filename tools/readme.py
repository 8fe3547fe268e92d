"""Fill in what the README shows of the program: real output, the packs and how many rules they have.

`python tools/readme.py` writes it anew; `--check` only says whether it is true, and is one of the tests.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys
import tempfile
from pathlib import Path

README = Path(__file__).resolve().parent.parent / "README.md"


def output() -> str:
    """Return what the first check prints."""
    from lintsvc.cli import main

    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        os.environ["NO_COLOR"] = "1"
        for arguments in (["demo", "gauge"], ["check", "--no-cache", "gauge/faulty/housing.stl"]):
            words = io.StringIO()
            with contextlib.redirect_stdout(words), contextlib.suppress(SystemExit):
                main(arguments)
    return words.getvalue().strip()


def packs() -> str:
    """Return the rows of the table of packs."""
    from lintsvc.rulebook.packs import load_packs

    return "\n".join(f"| `{x.name}` | {x.summary} | {len(x.rules)} |" for x in load_packs(installed=False))


def filled(text: str) -> str:
    """Return the README with both parts as they are now."""
    text = re.sub(
        r"(\$ lintsvc check gauge/faulty/housing\.stl\n).*?(\n```)", lambda m: m[1] + output() + m[2], text, flags=re.S
    )
    return re.sub(
        r"(\| pack \| about \| rules \|\n\|---\|---\|---\|\n).*?(\n\n)",
        lambda m: m[1] + packs() + m[2],
        text,
        flags=re.S,
    )


if __name__ == "__main__":
    now = README.read_text("utf-8")
    true = filled(now)
    if "--check" in sys.argv:
        raise SystemExit(0 if now == true else "README.md shows what the program no longer says: run tools/readme.py")
    README.write_text(true, "utf-8")
