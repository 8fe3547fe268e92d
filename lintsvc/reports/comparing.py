"""What changed between two reports: findings gone and new, size, volume, mass; and how it is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from lintsvc.model.finding import Finding
from lintsvc.model.report import PartReport, Report
from lintsvc.reports.json_report import finding_to_dict
from lintsvc.reports.tables import markdown_text
from lintsvc.reports.words import clean, plural, size
from lintsvc.rulebook.wording import number

#: Smaller changes than this share are the rounding of an export, not of a design.
SAME_SHARE = 1e-4


@dataclass(frozen=True, slots=True)
class Change:
    """A fact of the part that is another one now, as text with its unit."""

    what: str
    old: str
    new: str


@dataclass(frozen=True)
class PartChange:
    """One file. `old` and `new` are its names; None where it is not there."""

    old: str | None
    new: str | None
    same_content: bool
    changes: tuple[Change, ...]
    gone: tuple[Finding, ...]
    added: tuple[Finding, ...]
    kept: int

    @property
    def quiet(self) -> bool:
        """True when there is nothing to say."""
        return self.old == self.new and not (self.changes or self.gone or self.added)


def compare(old: Report, new: Report) -> tuple[PartChange, ...]:
    """Return an entry for every file of both. A file that was renamed is known by its content."""
    before = {x.file: x for x in old.parts}
    by_content = {x.sha256: x.file for x in old.parts if x.sha256}
    names = {x.file for x in new.parts}
    found: list[PartChange] = []
    for part in new.parts:
        name = part.file if part.file in before else by_content.get(part.sha256, "")
        # The old name is taken only where it is free: a copy is no move.
        was = before.pop(name, None) if name == part.file or name not in names else None
        found.append(compare_parts(was, part))
    found += [compare_parts(x, None) for x in before.values()]
    return tuple(found)


def compare_parts(old: PartReport | None, new: PartReport | None) -> PartChange:
    """Return what changed from one entry to the other, whatever their names; None for a file that is not there."""
    left = Counter(x.fingerprint for x in _findings(old))
    added = []
    for finding in _findings(new):
        if left[finding.fingerprint]:
            left[finding.fingerprint] -= 1
        else:
            added.append(finding)
    gone = []
    for finding in _findings(old):
        if left[finding.fingerprint]:
            left[finding.fingerprint] -= 1
            gone.append(finding)
    both = old is not None and new is not None
    return PartChange(
        None if old is None else old.file,
        None if new is None else new.file,
        both and old.sha256 == new.sha256 != "",  # type: ignore[union-attr]
        tuple(_changes(old, new)) if old is not None and new is not None else (),
        tuple(gone),
        tuple(added),
        len(_findings(new)) - len(added),
    )


def _findings(part: PartReport | None) -> tuple[Finding, ...]:
    return () if part is None else part.findings


def _changes(old: PartReport, new: PartReport) -> Iterator[Change]:
    a, b = old.unreadable, new.unreadable
    if (a is None) != (b is None):
        yield Change("readable", "no" if a else "yes", "no" if b else "yes")
    for what, was, now in (
        ("process", old.process, new.process),
        ("material", old.material, new.material),
        ("thickness", old.thickness and old.thickness.value, new.thickness and new.thickness.value),
    ):
        if was != now:
            yield Change(what, _shown(was), _shown(now))
    if old.part is None or new.part is None:
        return
    if any(_differ(x, y) for x, y in zip(old.part.size_mm, new.part.size_mm, strict=True)):
        flat = old.part.size_mm[2] == new.part.size_mm[2] == 0
        yield Change("size", *(size(x.size_mm[:2] if flat else x.size_mm) for x in (old.part, new.part)))
    for what, unit in (
        ("volume_mm3", " mm³"),
        ("area_mm2", " mm²"),
        ("mass_g", " g"),
        ("triangles", ""),
        ("bodies", ""),
        ("watertight", ""),
        ("contours", ""),
    ):
        was, now = getattr(old.part, what), getattr(new.part, what)
        if was != now and (isinstance(was, bool) or was is None or now is None or _differ(was, now)):
            yield Change(what.rsplit("_", 1)[0], _shown(was, unit), _shown(now, unit))
    for what, was, now in (
        ("round holes", _holes(old), _holes(new)),
        ("bends", str(len(old.part.bends)), str(len(new.part.bends))),
    ):
        if was != now:
            yield Change(what, was, now)


def _holes(part: PartReport) -> str:
    """Return holes by diameter: '4 × 3.4 mm, 1 × 8 mm'."""
    assert part.part is not None  # the caller looked
    counts = Counter(round(x.diameter_mm, 2) for x in part.part.holes)
    return ", ".join(f"{count} × {number(x)} mm" for x, count in sorted(counts.items())) or "none"


def _differ(old: float, new: float) -> bool:
    return abs(new - old) > SAME_SHARE * max(abs(old), abs(new))


def _shown(value: object, unit: str = "") -> str:
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{number(value)}{unit}" if isinstance(value, int | float) else str(value)


def to_dict(parts: tuple[PartChange, ...]) -> dict[str, Any]:
    """Return the comparison as JSON types; findings as in the JSON report."""
    return {
        "parts": [
            {
                "old": x.old,
                "new": x.new,
                "same_content": x.same_content,
                "changes": [asdict(y) for y in x.changes],
                "gone": [finding_to_dict(y) for y in x.gone],
                "added": [finding_to_dict(y) for y in x.added],
                "kept": x.kept,
            }
            for x in parts
        ]
    }


def text(parts: tuple[PartChange, ...]) -> str:
    """Return the comparison as text."""
    return "\n".join(_lines(parts)) + "\n"


def markdown(parts: tuple[PartChange, ...]) -> str:
    """Return the comparison as Markdown."""
    lines = []
    for line in _lines(parts):
        said = markdown_text(line.strip())
        lines.append(f"- {said}" if line.startswith(" ") else f"\n**{said}**\n")
    return "\n".join(lines).lstrip("\n") + "\n"


def _lines(parts: tuple[PartChange, ...]) -> Iterator[str]:
    for part in parts:
        if part.quiet:
            continue
        if part.old is None:
            yield f"{clean(part.new or '')}: new file"
        elif part.new is None:
            yield f"{clean(part.old)}: no longer there"
        else:
            yield clean(part.new) + (f" (was {clean(part.old)})" if part.old != part.new else "")
        yield from (f"  {x.what}: {x.old} → {x.new}" for x in part.changes)
        yield from (f"  new   {x.level} {x.rule}: {clean(x.message)}" for x in part.added)
        # Findings of a file that is no longer there are gone with it, and not worth a line each.
        if part.new is not None:
            yield from (f"  gone  {x.level} {x.rule}: {clean(x.message)}" for x in part.gone)
    added, gone = (sum(len(getattr(x, what)) for x in parts) for what in ("added", "gone"))
    same = sum(1 for x in parts if x.quiet)
    yield f"{plural(added, 'finding')} new, {number(gone)} gone; {plural(same, 'file')} unchanged"
