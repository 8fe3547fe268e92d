"""What the page and the API tell about the rules, and the version that results are kept under."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lintsvc.rulebook.packs import Pack
    from lintsvc.rulebook.rule import Rule

#: What a result depends on beside the packs.
_CODE = ("model", "readers", "measure", "handbook", "rulebook", "reports")


def packs_version(packs: Iterable[Pack]) -> str:
    """Return a hash of the rules and of the code that measures for them: another one, another result."""
    import lintsvc

    digest = hashlib.sha256(lintsvc.__version__.encode())
    code = Path(lintsvc.__file__).parent
    for folder in (*(code / x for x in _CODE), *sorted(x.folder for x in packs)):
        for path in sorted(x for x in folder.rglob("*") if x.suffix in {".py", ".toml", ".csv"} and x.is_file()):
            if "fixtures" in path.parts:
                continue
            digest.update(str(path.relative_to(folder)).encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:20]


def catalogue(packs: tuple[Pack, ...]) -> dict[str, Any]:
    """Return packs and rules as JSON types."""
    return {
        "version": packs_version(packs),
        "packs": [{"name": x.name, "title": x.title, "summary": x.summary} for x in packs],
        "rules": [_rule(x) for pack in packs for x in pack.rules],
    }


def _rule(rule: Rule) -> dict[str, Any]:
    return {
        "id": rule.id,
        "pack": rule.pack,
        "title": rule.title,
        "why": rule.why,
        "measured": rule.measured_how,
        "ignore_when": rule.ignore_when,
        "remedy": rule.remedy,
        "level": rule.level,
        "processes": list(rule.processes),
        "kinds": list(rule.kinds),
        "needs": list(rule.needs),
        "caution": rule.caution,
        "since": rule.since,
        "limits": [
            {
                "name": x.name,
                "material": x.material,
                "value": x.value,
                "unit": x.unit,
                "source": {"kind": x.source.kind, "text": x.source.text},
            }
            for x in rule.limits
        ],
        "sources": [{"kind": x.kind, "text": x.text} for x in dict.fromkeys(rule.sources)],
    }
