"""The service in parts, as the compose file runs it: on PostgreSQL, Redis and S3, not root, nothing to write to."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest
from parts.hostile_files import Hostile
from parts.service_parts import box_stl, plate_dxf
from service.deployed import Deployed
from service.running import end

from lintsvc.store.blobs import open_blobs

ROOT = "s3://lintsvc/blobs"


def test_check_runs_and_leaves_nothing_when_deleted(deployed: Deployed) -> None:
    web, store = deployed.web, open_blobs(ROOT, deployed.store)
    before = sorted(store.names(""))
    for name, data, size in (("box.stl", box_stl(20, 10, 5), 3), ("plate.dxf", plate_dxf(), 2)):
        check = web.check(name, data)
        part = check["report"]["parts"][0]
        assert len(part["part"]["size_mm" if size == 3 else "flat_mm"]) == size
        assert not [x for x in part["not_checked"] if "failed" in x["why"]], part["not_checked"]
        assert web.get(f"/api/v1/checks/{check['id']}/files/0/geometry").status == 200
        assert web.get(f"/api/v1/checks/{check['id']}/report.pdf").body.startswith(b"%PDF")
        assert len(sorted(store.names(""))) > len(before)
        assert web.request("DELETE", f"/api/v1/checks/{check['id']}").status == 204
        assert sorted(store.names("")) == before


def test_request_id_goes_through_queue_and_worker(deployed: Deployed) -> None:
    answer = deployed.web.send([("id.stl", box_stl(20, 10, 7))], wait=0, X_Request_ID="traced-17")
    assert answer.headers["x-request-id"] == "traced-17"
    end(answer.json, deployed.web)

    def said() -> list[str]:
        lines = Path(deployed.worker.log.name).read_text().split("\n")[:-1]
        told = [json.loads(x) for x in lines if x.startswith("{")]
        return [x["message"].split()[2].rstrip(",") for x in told if x.get("request") == "traced-17"]

    # The end stands in the records a moment before it is in the log.
    ends = time.monotonic() + 60
    while len(said()) < 2 and time.monotonic() < ends:
        time.sleep(0.05)
    assert said() == ["taken", "done"], deployed.worker.words()


def test_killed_database_gives_a_clear_answer_and_comes_back_by_itself(deployed: Deployed) -> None:
    web, records = deployed.web, deployed.records
    ids = [web.send([(f"{n}.stl", box_stl(20, 10, 6 + n))], wait=0).json["id"] for n in range(6)]
    records.kill()
    refused = web.send([("x.stl", box_stl(1, 2, 3))], wait=0)
    assert (refused.status, refused.json["type"]) == (503, "urn:lintsvc:problem:away")
    assert int(refused.headers["retry-after"]) > 0
    assert "psycopg" not in refused.body.decode()
    assert web.get("/healthz").status == 200
    ready = web.get("/readyz")
    assert (ready.status, ready.json["missing"]["records"]) == (503, "the database does not answer")
    records.start()
    for check_id in ids:
        assert end({"id": check_id}, web)["state"] == "done"
    assert web.check("after.stl", box_stl(1, 2, 4))["state"] == "done"


@pytest.mark.needs_shared
def test_hostile_files_end_in_a_report_and_the_service_lives(hostile: dict[str, Hostile], deployed: Deployed) -> None:
    checks = []
    for path in sorted(x.path for x in hostile.values() if x.path.stat().st_size < 60 << 20):
        answer = deployed.web.send([(path.name, path.read_bytes())], wait=0)
        assert answer.status == 202, (path.name, answer.body)
        checks.append((path.name, answer.json))
    for name, check in checks:
        now = end(check, deployed.web, 240)
        assert now["state"] == "done", name
        part = now["report"]["parts"][0]
        assert "Traceback" not in json.dumps(part), name
        assert [x for x in part["not_checked"] if "crashed" in x["why"]] == [], (name, part["not_checked"])
    assert deployed.web.get("/readyz").status == 200
