"""The reports whose text is kept in `tests/reports/snapshots`, to be read by a person when they change.

`PYTHONPATH=tests python -m parts.snapshots` writes them anew.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from parts import reports
from parts.rules import sample_rules

from lintsvc.reports import html, json_report, junit, rule_pages, sarif, text
from lintsvc.reports.highlights_svg import write_svg
from lintsvc.reports.picture import Svgs

FOLDER = Path(__file__).resolve().parent.parent / "reports" / "snapshots"


def _flat_svg() -> str:
    sheet = reports.bracket_part().sheet
    assert sheet is not None
    return write_svg(sheet, [reports.small_hole()])


SNAPSHOTS: dict[str, Callable[[], str]] = {
    "report.txt": lambda: text.dumps(reports.whole_report()),
    "report.json": lambda: json_report.dumps(reports.whole_report()) + "\n",
    "report.sarif": lambda: sarif.dumps(reports.whole_report(), sample_rules()) + "\n",
    "report.xml": lambda: junit.dumps(reports.whole_report()),
    "report.html": lambda: html.dumps(reports.whole_report(), rules=sample_rules(), pictures={1: Svgs(_flat_svg())}),
    "rules.md": lambda: "\n".join(rule_pages.markdown(x) for x in sample_rules()),
    "rules.txt": lambda: "\n".join(rule_pages.plain_text(x) for x in sample_rules()),
}

if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, make in SNAPSHOTS.items():
        (FOLDER / name).write_text(make(), "utf-8", newline="\n")
