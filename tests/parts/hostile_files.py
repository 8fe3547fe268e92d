"""Broken and hostile files, made once for all tests of a run."""

from __future__ import annotations

import csv
import fcntl
import gzip
import json
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple


class Hostile(NamedTuple):
    """One hostile file, unpacked, and what its index expects of a reader."""

    path: Path
    expected: str


def hostile_files(corpus: Path, beside: Path) -> dict[str, Hostile]:
    """The hostile files by the names in their index, made in `beside` by whichever process comes first.

    Nobody writes there: who needs files of their own copies them.
    """
    folder = beside / "hostile"
    with folder.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            make = [sys.executable, corpus / "hostile/make_hostile.py", folder.with_suffix(".making")]
            made = subprocess.run(make, capture_output=True, check=False)
            assert made.returncode == 0, made.stderr
            # Files that are kept packed are to be unpacked first.
            for path in folder.with_suffix(".making").glob("*.gz"):
                path.with_suffix("").write_bytes(gzip.decompress(path.read_bytes()))
            folder.with_suffix(".making").rename(folder)
    with (folder / "INDEX.tsv").open(encoding="utf8") as file:
        rows = list(csv.reader(file, delimiter="\t", quoting=csv.QUOTE_NONE))[1:]
    found = {}
    for row in rows:
        name = json.loads(row[0]) if row[0].startswith('"') else row[0]
        found[name] = Hostile(folder / name.removesuffix(".gz"), row[3])
    return found
