"""What reading limit rules gave, in a file of the user's cache: reading a text again costs a look-up.

The parsers of conditions and of TOML cost more than all else that loading a pack of limit rules takes.
"""

from __future__ import annotations

import hashlib
import json
import os
import tomllib
from contextlib import suppress
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

#: More are not kept: the file is begun anew.
_MOST_KEPT = 5_000

Table = Literal["trees", "files"]
#: Read in this process and not yet written down.
_fresh: set[tuple[Table, str]] = set()


def find(table: Table, text: str) -> Any:
    """Return what reading a text gave, None where it was never read."""
    return _known()[table].get(text)


def add(table: Table, text: str, value: Any) -> None:
    """Remember what reading a text gave. `value` is of JSON types."""
    _known()[table][text] = value
    _fresh.add((table, text))


def read_toml(text: str) -> dict[str, Any]:
    """Return the contents of a TOML text. Raises TOMLDecodeError."""
    found = find("files", text)
    if isinstance(found, dict):
        return found
    data = tomllib.loads(text)
    # Dates are no JSON; a limit rule has no use for one, and is refused for it every time.
    with suppress(TypeError, ValueError):
        add("files", text, json.loads(json.dumps(data, allow_nan=False)))
    return data


def keep() -> None:
    """Write down what is new since the last time. A folder that cannot be written to is no failure."""
    if not _fresh:
        return
    known = _known()
    if sum(len(x) for x in known.values()) > _MOST_KEPT:
        known = {t: {x: known[t][x] for table, x in _fresh if table == t} for t in known}
    _fresh.clear()
    path = _path()
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        # Written beside and renamed: another process never reads half of it.
        beside = path.with_suffix(f".{os.getpid()}")
        beside.write_text(json.dumps({"grammar": grammar_hash(), **known}), "utf-8")
        beside.replace(path)


def _path() -> Path:
    base = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    return Path(base).expanduser() / "lintsvc" / "limit-rules.json"


@lru_cache(maxsize=1)
def _known() -> dict[Table, dict[str, Any]]:
    with suppress(OSError, ValueError, KeyError, TypeError):
        data = json.loads(_path().read_text("utf-8"))
        if data["grammar"] == grammar_hash():
            return {"trees": dict(data["trees"]), "files": dict(data["files"])}
    # Not there, or damaged, or of another grammar: then it is as if it were not there.
    return {"trees": {}, "files": {}}


@lru_cache(maxsize=1)
def grammar_text() -> str:
    """Return the grammar of conditions."""
    return (files(__package__) / "expression.lark").read_text("utf-8")


def grammar_hash() -> str:
    """Return a hash of the grammar: another one, other trees."""
    return hashlib.sha256(grammar_text().encode()).hexdigest()
