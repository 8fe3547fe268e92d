"""One word for everything that a result depends on beside the file and the choices."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

#: The parts of the program that make a result.
_CODE = ("model", "readers", "measure", "handbook", "rulebook", "reports", "order")
_KINDS = frozenset({".py", ".toml", ".csv", ".lark"})


def rules_version(folders: Iterable[Path]) -> str:
    """Return a hash of the rule packs in `folders` and of the code that measures for them."""
    import lintsvc

    digest = hashlib.sha256(lintsvc.__version__.encode())
    code = Path(lintsvc.__file__).parent
    for folder in (*(code / x for x in _CODE), *sorted(folders)):
        for path in sorted(x for x in folder.rglob("*") if x.suffix in _KINDS and x.is_file()):
            if "fixtures" in path.parts:
                continue
            digest.update(str(path.relative_to(folder)).encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:20]
