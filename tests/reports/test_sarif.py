"""SARIF 2.1.0: valid by the OASIS schema, and each part of it means what the standard says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from parts import reports
from parts.rules import sample_rules
from pydantic_sarif.model import StaticAnalysisResultsFormatSarifVersion210JsonSchema as SarifLog

from lintsvc.model.report import Report
from lintsvc.reports.rule_pages import plain_text
from lintsvc.reports.sarif import dumps, to_sarif


def run_of(report: Report) -> dict[str, Any]:
    runs: list[dict[str, Any]] = json.loads(dumps(report, sample_rules()))["runs"]
    assert len(runs) == 1
    return runs[0]


def test_log_is_valid_by_classes_generated_from_the_oasis_schema() -> None:
    """Outside check: pydantic-sarif is generated from the OASIS schema and refuses unknown keys."""
    SarifLog.model_validate_json(dumps(reports.whole_report(), sample_rules()))
    SarifLog.model_validate_json(dumps(Report(())))


def test_outside_check_refuses_a_wrong_key() -> None:
    log = to_sarif(reports.whole_report())
    log["runs"][0]["results"][0]["remedy"] = "no such key in the standard"
    with pytest.raises(ValueError, match="remedy"):
        SarifLog.model_validate_json(json.dumps(log))


@pytest.mark.needs_shared
def test_log_is_valid_by_the_oasis_schema(shared: Path) -> None:
    """Source: OASIS sarif-schema-2.1.0.json, errata 01."""
    schema = json.loads((shared / "reference" / "sarif-schema-2.1.0.json").read_text("utf-8"))
    validator = jsonschema.Draft4Validator(schema, format_checker=jsonschema.Draft4Validator.FORMAT_CHECKER)
    for report in (reports.whole_report(), Report(()), Report((reports.housing_report(file="/a b/c:d.stl"),))):
        validator.validate(json.loads(dumps(report, sample_rules())))


def test_result_names_its_rule_by_id_and_index() -> None:
    run = run_of(reports.whole_report())
    rules = run["tool"]["driver"]["rules"]
    assert len(run["results"]) == 3
    for result in run["results"]:
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]


def test_result_carries_level_rank_fingerprint_and_remedy() -> None:
    result = run_of(reports.whole_report())["results"][0]
    assert (result["level"], result["rank"]) == ("error", 85.3)
    assert result["fingerprints"] == {"geometry/v1": "00112233445566aa"}
    assert "0.62 mm" in result["message"]["text"]
    assert "Make the wall at least 0.8 mm thick." in result["message"]["text"]
    assert result["properties"]["limit"]["source"]["kind"] == "handbook"


def test_location_names_file_and_place_but_no_region() -> None:
    location = run_of(reports.whole_report())["results"][0]["locations"][0]
    assert location["physicalLocation"] == {
        "artifactLocation": {"uri": "housing.stl", "uriBaseId": "CHECKED_FOLDER", "index": 0}
    }
    assert location["message"]["text"] == "x 25, y 20, z 0 mm; faces 0, 1"
    assert location["properties"]["faces"] == [0, 1]


def test_rule_carries_help_from_the_same_page_as_explain() -> None:
    rules = {x["id"]: x for x in run_of(reports.whole_report())["tool"]["driver"]["rules"]}
    rule = rules["powder-bed/thin-wall"]
    assert rule["help"]["text"] == plain_text(sample_rules()[0])
    assert rule["defaultConfiguration"]["level"] == "error"


def test_every_file_is_an_artifact_with_its_hash() -> None:
    artifacts = run_of(reports.whole_report())["artifacts"]
    assert [x["location"]["uri"] for x in artifacts] == ["housing.stl", "bracket.dxf", "broken.stl"]
    assert artifacts[0]["hashes"] == {"sha-256": "ab" * 32}
    assert "hashes" not in artifacts[2]


def test_what_did_not_run_is_a_notification_and_not_a_pass() -> None:
    run = run_of(reports.whole_report())
    invocation = run["invocations"][0]
    found = [(x["descriptor"]["id"], x["level"]) for x in invocation["toolExecutionNotifications"]]
    assert found == [("not-checked", "warning"), ("not-checked", "error"), ("unreadable", "error")]
    associated = invocation["toolExecutionNotifications"][1]["associatedRule"]
    assert run["tool"]["driver"]["rules"][associated["index"]]["id"] == "sheet/web-too-thin"
    assert invocation["executionSuccessful"] is False


def test_rule_without_a_limit_leaves_the_run_successful() -> None:
    assert run_of(Report((reports.housing_report(),)))["invocations"][0]["executionSuccessful"] is True


def test_run_that_found_nothing_says_so_with_an_empty_list() -> None:
    assert run_of(Report(()))["results"] == []


def test_finding_set_aside_is_suppressed_with_its_reason() -> None:
    finding = reports.thin_wall(set_aside="a film, cut away later")
    result = run_of(Report((reports.housing_report(finding),)))["results"][0]
    assert result["suppressions"] == [{"kind": "external", "justification": "a film, cut away later"}]


@given(name=st.text(min_size=1).filter(lambda x: "\x00" not in x))
def test_any_file_name_gives_a_valid_uri(name: str) -> None:
    SarifLog.model_validate_json(dumps(Report((reports.housing_report(file=name),))))
