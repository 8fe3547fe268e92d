"""What the page and the API tell about the rules, and the version that results are kept under."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from lintsvc.rulebook.version import rules_version

if TYPE_CHECKING:
    from lintsvc.rulebook.packs import BrokenPack, Pack
    from lintsvc.rulebook.rule import Rule


def packs_version(packs: Iterable[Pack], broken: Iterable[BrokenPack] = ()) -> str:
    """Return a hash of the rules and of the code that measures for them: another one, another result."""
    version = rules_version(x.folder for x in packs)
    told = "".join(f"\0{x.name}\0{x.why}" for x in broken)
    # Reports name the packs that are left out.
    return hashlib.sha256((version + told).encode()).hexdigest()[:20] if told else version


def catalogue(packs: tuple[Pack, ...], broken: tuple[BrokenPack, ...] = ()) -> dict[str, Any]:
    """Return packs and rules as JSON types, and the packs that could not be loaded."""
    return {
        "version": packs_version(packs, broken),
        "left_out": [{"name": x.name, "why": x.why} for x in broken],
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
