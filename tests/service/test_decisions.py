"""What helps to decide: materials held against each other, versions of a file, findings set aside."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from parts.bodies import box
from parts.meshfiles import binary_stl
from service.running import Running

from lintsvc.demo import write_demo

FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@pytest.fixture(scope="session")
def gauge(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("gauge")
    write_demo(folder)
    return folder


def sent(service: Running, path: Path, name: str, **choices: str) -> Any:
    return service.check(name, path.read_bytes(), **choices)


def test_a_part_is_held_against_every_material(service: Running, gauge: Path) -> None:
    check = sent(service, gauge / "faulty/housing.stl", "housing.stl")
    answer = service.get(f"/api/v1/checks/{check['id']}/files/0/materials.json")
    assert answer.status == 200
    rows = {x["material"]: x for x in answer.json["rows"]}
    assert {"pa12", "pa11", "tpu"} <= set(rows)
    chosen = [x for x in rows.values() if x["chosen"]]
    assert [x["material"] for x in chosen] == ["pa12"]
    assert chosen[0]["stiffness"] == 1.0
    levels = [x["level"] for x in check["report"]["parts"][0]["findings"]]
    assert chosen[0]["counts"]["warning"] == levels.count("warning")
    assert rows["tpu"]["youngs_modulus_gpa"]["source"]["text"]
    assert answer.json["of"] == len(rows)
    assert answer.json["next"] is None
    piece = service.get(f"/api/v1/checks/{check['id']}/files/0/materials.json?from=1").json
    assert [x["material"] for x in piece["rows"]] == [x for x in rows if x != "pa12"]
    # A piece after the last has no rows; what is no number is refused.
    table = f"/api/v1/checks/{check['id']}/files/0/materials.json"
    assert service.get(f"{table}?from={len(rows)}").json["rows"] == []
    assert service.get(f"{table}?from=-1").status == 400


def test_another_material_is_checked_from_what_was_measured(service: Running) -> None:
    plate = box((60.0, 60.0, 0.7), (130, 130, 2))
    first = service.check("measured.stl", binary_stl(*plate))["report"]["parts"][0]
    sha256 = first["sha256"]
    fields: dict[str, str | list[str]] = {
        "file_sha256": sha256, "file_name": "again.stl", "process": "powder-bed", "material": "pa11", "quantity": "7"
    }  # fmt: skip
    again = service.send([], fields).json["report"]["parts"][0]
    # Nothing was read: the measurements of the first check stood ready.
    assert again["seconds"]["read"] == 0.0
    assert first["seconds"]["read"] > 0.0
    assert again["file"] == "again.stl"
    assert again["part"]["mass_g"] != first["part"]["mass_g"]
    assert "powder-bed/thin-wall" in {x["rule"] for x in again["findings"]}


def test_two_versions_of_a_body_differ_where_the_shape_does(service: Running, gauge: Path) -> None:
    old = sent(service, gauge / "faulty/housing.stl", "housing-1.stl")
    new = sent(service, gauge / "good/housing.stl", "housing-2.stl")
    found = service.get(f"/api/v1/checks/{new['id']}/files/0/versions?old={old['id']}").json
    assert len(found["gone"]) == len(old["report"]["parts"][0]["findings"])
    assert found["added"] == []
    assert found["kept"] == []
    assert "volume" in {x["what"] for x in found["changes"]}
    assert found["shape"]["faces"]
    assert found["shape"]["gone"]
    assert found["shape"]["moved_mm"] is None
    same = service.get(f"/api/v1/checks/{new['id']}/files/0/versions?old={new['id']}").json
    assert same["same_content"] is True
    assert (same["gone"], same["added"], same["changes"]) == ([], [], [])
    assert (same["shape"]["faces"], same["shape"]["gone"]) == ([], [])


def test_two_versions_of_a_flat_differ_by_entity(service: Running, gauge: Path) -> None:
    old = sent(service, gauge / "faulty/gasket.dxf", "gasket-1.dxf")
    new = sent(service, gauge / "good/gasket.dxf", "gasket-2.dxf")
    found = service.get(f"/api/v1/checks/{new['id']}/files/0/versions?old={old['id']}").json
    assert found["shape"]["entities"]
    assert found["shape"]["faces"] == []


@pytest.mark.parametrize("query", ["", "?old=nothing", "?old={id}&old_file=9", "?old={id}&old_file=x"])
def test_a_version_that_is_not_there_is_refused(service: Running, gauge: Path, query: str) -> None:
    new = sent(service, gauge / "good/lid.stl", "lid.stl")
    path = f"/api/v1/checks/{new['id']}/files/0/versions{query.format(id=new['id'])}"
    assert service.get(path).status in (400, 404)


def test_a_finding_set_aside_is_so_in_every_check_of_the_same_bytes_and_can_be_taken_back(
    service: Running, gauge: Path
) -> None:
    check = sent(service, gauge / "faulty/lid.stl", "lid.stl")
    finding = check["report"]["parts"][0]["findings"][0]
    assert "set_aside" not in finding
    path = f"/api/v1/checks/{check['id']}/files/0/set-aside/{finding['fingerprint']}"
    html = f"/api/v1/checks/{check['id']}/report.html"
    assert b"cut away after printing" not in service.get(html).body
    kept = service.request("PUT", path, b"reason=a+film,+cut+away+after+printing", FORM)
    assert kept.status == 200
    assert kept.json["set_aside"].startswith("a film, cut away after printing (")
    listed = {x["id"]: x["summary"] for x in service.get("/api/v1/checks?limit=100").json["checks"]}
    assert listed[check["id"]]["warning"] == check["summary"]["warning"] - 1
    # Under another name, in another check: the bytes are the same.
    other = sent(service, gauge / "faulty/lid.stl", "renamed.stl", quantity="2")
    found = other["report"]["parts"][0]["findings"][0]
    assert found["set_aside"] == kept.json["set_aside"]
    assert b"cut away after printing" in service.get(html).body
    assert service.get(f"/api/v1/checks/{check['id']}/report.sarif").json["runs"][0]["results"][0]["suppressions"]
    assert service.request("DELETE", path).status == 204
    assert service.request("DELETE", path).status == 404
    assert b"cut away after printing" not in service.get(html).body
    again = service.get(f"/api/v1/checks/{other['id']}").json
    assert "set_aside" not in again["report"]["parts"][0]["findings"][0]


@pytest.mark.parametrize("reason", ["", "   ", "x" * 501, "a%00b"])
def test_a_reason_must_be_one(service: Running, gauge: Path, reason: str) -> None:
    check = sent(service, gauge / "faulty/lid.stl", "lid.stl")
    finding = check["report"]["parts"][0]["findings"][0]
    path = f"/api/v1/checks/{check['id']}/files/0/set-aside/{finding['fingerprint']}"
    assert service.request("PUT", path, f"reason={reason}".encode(), FORM).status == 400


def test_only_what_was_found_can_be_set_aside(service: Running, gauge: Path) -> None:
    check = sent(service, gauge / "faulty/lid.stl", "lid.stl")
    for place in (f"files/0/set-aside/{'0' * 16}", f"files/7/set-aside/{'0' * 16}"):
        assert service.request("PUT", f"/api/v1/checks/{check['id']}/{place}", b"reason=x", FORM).status == 404
