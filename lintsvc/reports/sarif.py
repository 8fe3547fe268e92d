"""SARIF 2.1.0 (OASIS standard, 2020), written as plain dicts that leave empty fields out.

Part files have no lines, so a location names the file and carries its place in the geometry as
properties and as a message. A rule that did not run and a file that could not be read are
notifications of the invocation: not the same as "nothing found".
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import PurePath
from typing import Any
from urllib.parse import quote

from lintsvc import __version__
from lintsvc.model.finding import Finding, NotChecked
from lintsvc.model.report import PartReport, Report
from lintsvc.reports.json_report import finding_to_dict
from lintsvc.reports.remedy import remedy_in_report
from lintsvc.reports.rule_pages import markdown, plain_text
from lintsvc.reports.words import clean, place
from lintsvc.rulebook.rule import Rule

Json = dict[str, Any]

#: Names of the two kinds of notification.
NOT_CHECKED, UNREADABLE = "not-checked", "unreadable"
#: Key of our fingerprints; the number changes when their making does.
FINGERPRINT = "geometry/v1"
#: Relative names are relative to the folder that the check ran in.
BASE = "CHECKED_FOLDER"


def to_sarif(report: Report, rules: Iterable[Rule] = ()) -> Json:
    """Return the report as one SARIF run. `rules` gives the metadata; a rule that is not among them is named only."""
    known = {x.id: x for x in rules}
    used = sorted({id for part in report.entries for id in _rules_of(part)})
    index = {id: number for number, id in enumerate(used)}
    run: Json = {
        "tool": {
            "driver": {
                "name": "lintsvc",
                "semanticVersion": report.made_by or __version__,
                "shortDescription": {"text": "Checks part files before they are sent out to be made."},
                "rules": [_rule(id, known.get(id)) for id in used],
                "notifications": [
                    {"id": NOT_CHECKED, "shortDescription": {"text": "A rule was not run to its end."}},
                    {"id": UNREADABLE, "shortDescription": {"text": "A file could not be read."}},
                ],
            }
        },
        "invocations": [_invocation(report, index)],
        "artifacts": [_artifact(part) for part in report.entries],
        # Present even when empty: an empty list says that the check ran and found nothing.
        "results": [
            _result(finding, part, number, index)
            for number, part in enumerate(report.entries)
            for finding in part.findings
        ],
    }
    if any(not PurePath(part.file).is_absolute() for part in report.entries):
        run["originalUriBaseIds"] = {BASE: {"description": {"text": "The folder that the check ran in."}}}
    return {"version": "2.1.0", "runs": [run]}


def dumps(report: Report, rules: Iterable[Rule] = ()) -> str:
    """Return the SARIF log as JSON text."""
    return json.dumps(to_sarif(report, rules), indent=2, allow_nan=False)


def _rules_of(part: PartReport) -> Sequence[str]:
    return [
        *(x.rule for x in part.findings),
        *part.checked,
        *(x.rule for x in part.not_checked if x.rule != "*"),
    ]


def _rule(id: str, rule: Rule | None) -> Json:
    if rule is None:
        return {"id": id}
    return {
        "id": id,
        "shortDescription": {"text": rule.title},
        "fullDescription": {"text": rule.why or rule.title},
        "help": {"text": plain_text(rule), "markdown": markdown(rule)},
        "defaultConfiguration": {"level": rule.level},
        "properties": {"tags": [*rule.processes, rule.cost]},
    }


def _result(finding: Finding, part: PartReport, artifact: int, index: dict[str, int]) -> Json:
    # The same numbers as in the JSON report, under the same keys.
    data = finding_to_dict(finding)
    words = [x for x in (data["message"], clean(remedy_in_report(finding)), finding.caution) if x]
    result: Json = {
        "ruleId": finding.rule,
        "ruleIndex": index[finding.rule],
        "kind": "fail",
        "level": finding.level,
        "rank": finding.rank,
        "message": {"text": " ".join(words)},
        "locations": [_location(part, artifact, finding, data["where"])],
        "fingerprints": {FINGERPRINT: finding.fingerprint},
        "partialFingerprints": {FINGERPRINT: finding.fingerprint},
        "properties": {key: data[key] for key in ("measured", "limit", "remedy", "sure") if data[key] is not None},
    }
    if finding.fix:
        # A SARIF `fix` must hold the bytes to replace; a mend is worked out when it is asked for.
        result["properties"]["fix"] = finding.fix
    if finding.set_aside:
        result["suppressions"] = [{"kind": "external", "justification": data["set_aside"]}]
    return result


def _location(part: PartReport, artifact: int, finding: Finding | None = None, where: Json | None = None) -> Json:
    location: Json = {"physicalLocation": {"artifactLocation": {**_uri(part.file), "index": artifact}}}
    if finding is not None and finding.where is not None and where is not None:
        kind = part.part.kind if part.part else "body"
        location["message"] = {"text": place(finding.where, kind)}
        location["properties"] = where
    return location


def _uri(file: str) -> Json:
    path = PurePath(file)
    if path.is_absolute():
        return {"uri": path.as_uri()}
    # ":" is escaped too: "a:b.stl" would read as a scheme.
    return {"uri": quote(path.as_posix(), safe="/", errors="backslashreplace"), "uriBaseId": BASE}


def _artifact(part: PartReport) -> Json:
    artifact: Json = {"location": _uri(part.file), "roles": ["analysisTarget"]}
    if part.sha256:
        artifact["hashes"] = {"sha-256": part.sha256}
    return artifact


def _invocation(report: Report, index: dict[str, int]) -> Json:
    notifications: list[Json] = []
    for number, part in enumerate(report.entries):
        if part.unreadable is not None:
            why = part.unreadable
            text = " ".join(clean(x) for x in (why.why, why.where and f"({why.where})", why.remedy) if x)
            notifications.append(_notification(UNREADABLE, 1, "error", text, part, number))
            continue
        for missed in part.not_checked:
            level = "error" if missed.failed else "warning"
            entry = _notification(NOT_CHECKED, 0, level, _missed(missed), part, number)
            if missed.rule in index:
                entry["associatedRule"] = {"id": missed.rule, "index": index[missed.rule]}
            notifications.append(entry)
    return {
        "executionSuccessful": not any(x["level"] == "error" for x in notifications),
        "toolExecutionNotifications": notifications,
    }


def _missed(missed: NotChecked) -> str:
    return f"Not checked: {clean(missed.why)}"


def _notification(id: str, index: int, level: str, text: str, part: PartReport, artifact: int) -> Json:
    return {
        "descriptor": {"id": id, "index": index},
        "level": level,
        "message": {"text": text},
        "locations": [_location(part, artifact)],
    }
