"""Sending, following and looking at checks, against a real service."""

from __future__ import annotations

import hashlib
import json
import threading
from pathlib import Path

import brotli
import jsonschema
import pytest
from parts import bent_solids
from parts.service_parts import box_stl, open_box_stl, plate_dxf
from service.running import Running, end
from sqlalchemy import func, select

from lintsvc.demo import bracket
from lintsvc.reports.geometry import decode_body
from lintsvc.reports.json_report import schema
from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts


def test_sent_file_ends_in_a_report_that_fits_its_schema(service: Running) -> None:
    data = box_stl(30, 20, 10)
    answer = service.send([("box.stl", data)], wait=0)
    assert answer.status == 202
    assert answer.headers["location"] == f"/api/v1/checks/{answer.json['id']}"
    check = end(answer.json, service)
    assert check["state"] == "done"
    assert check["files"] == [
        {"number": 0, "name": "box.stl", "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
    ]
    report = service.get(f"/api/v1/checks/{check['id']}/report.json").json
    jsonschema.validate(report, schema())
    assert report["parts"][0]["part"]["size_mm"] == [30, 20, 10]
    assert report == check["report"]


def test_open_mesh_has_an_error_with_faces_or_lines_to_show(service: Running) -> None:
    check = service.check("open.stl", open_box_stl())
    rules = {x["rule"]: x for x in check["report"]["parts"][0]["findings"]}
    assert "soundness/open-edge" in rules
    assert check["summary"]["error"] >= 1
    placed = service.get(f"/api/v1/checks/{check['id']}/files/0/findings").json["findings"]
    found = next(x for x in placed if x["rule"] == "soundness/open-edge")
    assert found["faces"] or found["lines"]
    assert {x["fingerprint"] for x in placed} == {x["fingerprint"] for x in check["report"]["parts"][0]["findings"]}


def test_several_files_make_one_check_with_one_entry_each(service: Running) -> None:
    answer = service.send([("a.stl", box_stl(11, 12, 13)), ("b.dxf", plate_dxf())], {"thickness": "2mm"})
    assert answer.status == 200, answer.body
    parts = answer.json["report"]["parts"]
    assert [x["file"] for x in parts] == ["a.stl", "b.dxf"]
    assert [x["process"] for x in parts] == ["powder-bed", "sheet"]


def test_choices_reach_the_check_and_come_back_in_words(service: Running) -> None:
    check = service.check("p.dxf", plate_dxf(), process="sheet", material="steel-mild", thickness="0.08in")
    part = check["report"]["parts"][0]
    assert (part["process"], part["material"]) == ("sheet", "steel-mild")
    assert abs(part["thickness"]["value"] - 2.032) < 1e-9
    assert check["choices"] == {"process": "sheet", "material": "steel-mild", "thickness": "2.032mm"}
    check = service.check("p.dxf", plate_dxf(), process="sheet", material="steel-mild", thickness="16 ga")
    part = check["report"]["parts"][0]
    assert part["thickness"]["value"] == pytest.approx(1.519, abs=0.001)
    assert "16 ga mild steel: 1.519 mm" in [x["why"][:26] for x in part["assumed"]]
    assert check["choices"] == {"process": "sheet", "material": "steel-mild", "thickness": "16ga"}


def test_unreadable_file_is_done_and_says_why(service: Running) -> None:
    check = service.check("notes.txt", b"nothing to see")
    assert check["state"] == "done"
    assert check["report"]["parts"][0]["unreadable"]["why"]
    assert check["summary"]["unreadable"] == 1


def test_same_bytes_and_choices_give_the_stored_report_at_once(service: Running) -> None:
    first = service.check("one.stl", box_stl(21, 22, 23))
    answer = service.send([("two.stl", box_stl(21, 22, 23))], wait=0)
    # No waiting was asked for: it was done before the answer.
    assert answer.json["state"] == "done"
    assert answer.json["id"] != first["id"]
    part, before = answer.json["report"]["parts"][0], first["report"]["parts"][0]
    assert part["file"] == "two.stl"
    assert {**part, "file": ""} == {**before, "file": ""}


def test_other_choices_are_another_result(service: Running) -> None:
    service.check("x.stl", box_stl(25, 22, 23))
    answer = service.send([("x.stl", box_stl(25, 22, 23))], {"units": "cm"}, wait=0)
    assert answer.json["state"] == "queued"
    check = end(answer.json, service)
    assert check["report"]["parts"][0]["part"]["size_mm"] == [250, 220, 230]


def test_file_sent_before_is_checked_again_by_its_hash(service: Running) -> None:
    data = box_stl(31, 32, 33)
    service.check("first.stl", data)
    digest = hashlib.sha256(data).hexdigest()
    answer = service.send([], {"file_sha256": digest, "file_name": "again.stl", "units": "in"})
    assert answer.status == 200, answer.body
    assert answer.json["report"]["parts"][0]["file"] == "again.stl"
    assert abs(answer.json["report"]["parts"][0]["part"]["size_mm"][0] - 31 * 25.4) < 1e-3
    unknown = service.send([], {"file_sha256": "0" * 64})
    assert unknown.status == 404


def test_idempotency_key_gives_one_check_and_refuses_another_request(service: Running) -> None:
    data = box_stl(41, 12, 13)
    answers: list[str] = []

    def send() -> None:
        answers.append(service.send([("k.stl", data)], wait=0, Idempotency_Key="order-17").json["id"])

    threads = [threading.Thread(target=send) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(answers) == 6
    assert len(set(answers)) == 1
    other = service.send([("k.stl", box_stl(42, 12, 13))], wait=0, Idempotency_Key="order-17")
    assert other.status == 422
    assert other.json["type"] == "urn:lintsvc:problem:key-used"


def test_events_come_in_order_and_resume_without_doubles(service: Running) -> None:
    answer = service.send([("e.stl", open_box_stl() + b"\0")], {"quantity": "7"}, wait=0)
    check = answer.json
    seen = list(service.events(check["id"]))
    numbered = [(n, e) for n, e, _ in seen if n]
    order = [tuple(int(x) for x in n.split("-")) for n, _ in numbered]
    assert order == sorted(set(order))
    assert seen[-1][1] == "state"
    assert seen[-1][2]["state"] in ("done", "failed")
    end(check, service)
    # Resumed in the middle, be it after the end: exactly the rest. When all was heard: nothing, and no reconnecting.
    rest = service.events(check["id"], numbered[0][0])
    assert [(n, e) for n, e, _ in rest if n] == numbered[1:]
    for last in (numbered[-1][0], "none"):
        assert service.get(f"/api/v1/checks/{check['id']}/events", Last_Event_ID=last).status == 204


def test_body_geometry_has_every_triangle_and_findings_point_into_it(service: Running) -> None:
    check = service.check("g.stl", open_box_stl())
    path = f"/api/v1/checks/{check['id']}/files/0/geometry"
    plain = service.get(path)
    assert (plain.status, plain.headers["content-type"]) == (200, "application/vnd.lintsvc.body")
    header, vertices, faces = decode_body(plain.body)
    assert header["triangles"] == 10
    assert vertices.max() <= 20 + header["step"]
    packed = service.get(path, Accept_Encoding="br")
    assert packed.headers["content-encoding"] == "br"
    assert brotli.decompress(packed.body) == plain.body
    again = service.get(path, If_None_Match=plain.headers["etag"])
    assert again.status == 304
    for finding in service.get(f"/api/v1/checks/{check['id']}/files/0/findings").json["findings"]:
        for first, count in finding["faces"]:
            assert 0 <= first < first + count <= len(faces)


def test_flat_geometry_is_json_with_true_circles(service: Running) -> None:
    check = service.check("f.dxf", plate_dxf(hole=8.0), thickness="2mm")
    answer = service.get(f"/api/v1/checks/{check['id']}/files/0/geometry")
    assert answer.headers["content-type"] == "application/json"
    shapes = [x for entity in answer.json["entities"] for x in entity["shapes"]]
    assert {"circle": [20, 20, 4]} in shapes
    assert answer.json["box"] == [[0, 0], [60, 40]]
    assert sorted(x["hole"] for x in answer.json["contours"]) == [False, True]


def test_flat_is_folded_for_the_page_and_as_a_body(service: Running, tmp_path: Path) -> None:
    bracket.write_bracket(tmp_path / "bracket.dxf", faulty=False)
    said = {"thickness": "2.5mm", "material": bracket.MATERIAL}
    check = service.check("bracket.dxf", (tmp_path / "bracket.dxf").read_bytes(), **said)
    base = f"/api/v1/checks/{check['id']}"
    answer = service.get(f"{base}/files/0/folded")
    assert (answer.status, answer.headers["content-type"]) == (200, "application/json")
    assert [x["direction"] for x in answer.json["bends"]] == ["down", "up"]
    assert sorted(answer.json["size_mm"]) == pytest.approx([57.5, 60.0, 86.0], abs=0.01)
    assert service.get(f"{base}/folded.glb").body[:4] == b"glTF"
    solid = service.get(f"{base}/folded.step?file=0")
    assert (solid.headers["content-type"], solid.body[:13]) == ("model/step", b"ISO-10303-21;")
    assert solid.headers["content-disposition"] == 'attachment; filename="bracket.folded.step"'


def test_what_is_not_folded_says_why(service: Running, tmp_path: Path) -> None:
    body = service.check("b.stl", open_box_stl())
    answer = service.get(f"/api/v1/checks/{body['id']}/files/0/folded")
    assert (answer.status, answer.json["type"]) == (404, "urn:lintsvc:problem:not-made")
    bracket.write_bracket(tmp_path / "bracket.dxf", faulty=False)
    flat = service.check("b.dxf", (tmp_path / "bracket.dxf").read_bytes())
    answer = service.get(f"/api/v1/checks/{flat['id']}/folded.step")
    assert "thickness is not known" in answer.json["detail"]


def test_bent_solid_shows_the_flat_that_its_findings_lie_in(service: Running, tmp_path: Path) -> None:
    offset = next(x for x in bent_solids.PARTS if x.name == "offset")
    data = bent_solids.written(offset.make(), tmp_path / "offset.step").read_bytes()
    check = service.check("offset.step", data, material="steel-mild")
    flat = service.get(f"/api/v1/checks/{check['id']}/files/0/geometry").json
    assert (flat["kind"], len(flat["bends"])) == ("sheet", 2)
    folded = service.get(f"/api/v1/checks/{check['id']}/files/0/folded").json
    assert [x["number"] for x in folded["bends"]] == [0, 1]


def test_every_report_format_is_made_and_downloads_under_a_safe_name(service: Running) -> None:
    check = service.check("näme';\"x.stl", open_box_stl())
    assert service.get(f"/api/v1/checks/{check['id']}/highlights.glb").body[:4] == b"glTF"
    for kind, start in {"sarif": b"{", "xml": b"<?xml", "html": b"<!", "pdf": b"%PDF"}.items():
        answer = service.get(f"/api/v1/checks/{check['id']}/report.{kind}")
        assert answer.status == 200, (kind, answer.body[:300], service.words())
        assert answer.body.lstrip().startswith(start), kind
        name = answer.headers["content-disposition"]
        assert name.startswith('attachment; filename="')
        assert name.count('"') == 2
    sarif = service.get(f"/api/v1/checks/{check['id']}/report.sarif").json
    assert sarif["version"] == "2.1.0"
    wrong = service.get(f"/api/v1/checks/{check['id']}/highlights.svg")
    assert (wrong.status, wrong.json["type"]) == (404, "urn:lintsvc:problem:not-made")


def test_report_is_conditional(service: Running) -> None:
    check = service.check("c.stl", box_stl(9, 9, 9))
    path = f"/api/v1/checks/{check['id']}/report.json"
    first = service.get(path)
    assert service.get(path, If_None_Match=first.headers["etag"]).status == 304


def test_list_pages_through_every_check_once(service: Running) -> None:
    for number in range(5):
        service.send([(f"page-{number}.stl", box_stl(5, 5, 5 + number))], wait=0)
    seen: list[str] = []
    path = "/api/v1/checks?limit=2"
    while path:
        answer = service.get(path)
        assert len(answer.json["checks"]) <= 2
        seen += [x["id"] for x in answer.json["checks"]]
        path = answer.json["next"]
    assert len(seen) == len(set(seen)) >= 5
    assert seen[0] == service.get("/api/v1/checks?limit=1").json["checks"][0]["id"]


def test_deleted_check_leaves_nothing(service: Running) -> None:
    data = box_stl(77, 7, 7)
    check = service.check("gone.stl", data)
    service.get(f"/api/v1/checks/{check['id']}/files/0/geometry")
    digest = hashlib.sha256(data).hexdigest()
    stored = service.state / "blobs" / "files" / digest[:2] / digest
    assert stored.exists()
    db = Database(f"sqlite:///{service.state / 'records.sqlite3'}")

    def made() -> int:
        with db.reading() as connection:
            return connection.execute(select(func.count()).select_from(artefacts)).scalar_one()

    before = made()
    assert service.request("DELETE", f"/api/v1/checks/{check['id']}").status == 204
    assert not stored.exists()
    # Entry, places and geometry of it are gone.
    assert before - made() == 3
    db.dispose()
    assert service.get(f"/api/v1/checks/{check['id']}").status == 404
    assert service.send([], {"file_sha256": digest}).status == 404


def test_file_shared_by_two_checks_outlives_one_of_them(service: Running) -> None:
    data = box_stl(78, 7, 7)
    first, second = service.check("a.stl", data), service.check("b.stl", data)
    assert service.request("DELETE", f"/api/v1/checks/{first['id']}").status == 204
    answer = service.get(f"/api/v1/checks/{second['id']}")
    assert answer.json["report"]["parts"][0]["file"] == "b.stl"
    assert service.get(f"/api/v1/checks/{second['id']}/files/0/geometry").status == 200


def test_catalogue_names_processes_materials_and_rules(service: Running) -> None:
    assert [x["id"] for x in service.get("/api/v1/processes").json["processes"]] == ["powder-bed", "sheet"]
    materials = {x["id"]: x for x in service.get("/api/v1/materials").json["materials"]}
    assert materials["pvc"]["laser"] == "never"
    rules = service.get("/api/v1/rules").json["rules"]
    thin = next(x for x in rules if x["id"] == "powder-bed/thin-wall")
    assert all(x["source"]["text"] for x in thin["limits"])
    json.dumps(rules)
