"""What the page and the API tell about the rules, and the version that results are kept under."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from lintsvc.rulebook.version import rules_version

if TYPE_CHECKING:
    from lintsvc.rulebook.packs import Pack
    from lintsvc.rulebook.rule import Rule


def packs_version(packs: Iterable[Pack]) -> str:
    """Return a hash of the rules and of the code that measures for them: another one, another result."""
    return rules_version(x.folder for x in packs)


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
