"""What to do about a finding, as it is said where it is read.

A rule's remedy speaks of the part and its file. Where a choice settles the finding as well, the rule names the choice
and nothing else, because how it is made depends on the reader: here it is the command's option and the key of the
project's file, for reports in a terminal, on paper and in CI. The page asks for it itself.
"""

from __future__ import annotations

from lintsvc.model.finding import Finding, Settles, Where

_KEY = "the key {key} in lintsvc.toml or in the order's file"


def remedy_in_report(finding: Finding) -> str:
    """Return a finding's remedy for who reads a report: with the option and the key of the choice that settles it."""
    if finding.settles is None:
        return finding.remedy
    return f"{finding.remedy} {how_to_say(finding.settles, finding.where)}"


def how_to_say(settles: Settles, where: Where | None = None) -> str:
    """Return how a choice is made with the command, for a place where it has one."""
    key = _KEY.format(key=settles)
    if settles == "units":
        return f"The unit is said by --units, or by {key}."
    lines = () if where is None else where.lines
    at = (
        "X,Y"
        if not lines
        else ",".join(f"{round((a + b) / 2, 2):g}" for a, b in zip(*(x[:2] for x in lines[0]), strict=True))
    )
    each = " once for each," if len(lines) > 1 else ""
    return f'Or say how it goes, such as --bend "at {at} up 90",{each} or by {key}.'
