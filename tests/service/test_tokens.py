"""Tokens, share links, rates, sizes and quotas: a service that others reach."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from parts.service_parts import box_stl
from service.running import Running, form
from service.test_uploads import PIECE

from lintsvc.store.database import Database
from lintsvc.store.tables import tokens
from lintsvc.store.tokens import list_tokens, make_token, revoke_token

#: More requests than any other test here sends in a minute with one token, or without.
REQUESTS = 150
ENVIRONMENT = {"LINTSVC_TOKENS": "required", "LINTSVC_WORKERS": "0", "LINTSVC_QUOTA_WAITING": "4",
               "LINTSVC_QUOTA_MIB": "1", "LINTSVC_UPLOAD_MIB": "1",
               "LINTSVC_REQUESTS_A_MINUTE": str(REQUESTS)}  # fmt: skip


def database(state: Path) -> Database:
    db = Database(f"sqlite:///{state / 'records.sqlite3'}")
    db.migrate()
    return db


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Running, Database]]:
    """A service that wants tokens; no worker, so that checks stay where they are."""
    state = tmp_path_factory.mktemp("guarded") / "state"
    db = database(state)
    make_token(db, "first", frozenset({"admin"}), None)
    running = Running(state, ENVIRONMENT).start()
    yield running, db
    running.stop()
    db.dispose()


def as_token(running: Running, secret: str) -> Running:
    return Running(running.state, running.environment, process=running.process, port=running.port, token=secret)


def test_public_address_without_tokens_is_refused(state: Path) -> None:
    for environment in ({}, {"LINTSVC_TOKENS": "off"}):
        done = subprocess.run(
            [sys.executable, "-c", "from lintsvc.cli import main; main()", "serve", "--host", "0.0.0.0", "--port", "0"],
            capture_output=True, text=True, timeout=60,
            env={"LINTSVC_STATE": str(state), "PATH": "/usr/bin:/bin", **environment},
        )  # fmt: skip
        assert done.returncode == 3, done.stderr
        assert "token" in done.stderr
        assert "Traceback" not in done.stderr


def test_nothing_is_answered_without_a_token_but_health(guarded: tuple[Running, Database]) -> None:
    running, _ = guarded
    for path in ("/api/v1/checks", "/api/v1/rules", "/api/v1/checks/x", "/api/v1/checks/x/events", "/metrics"):
        answer = running.get(path)
        assert answer.status == 401, path
        assert answer.headers["www-authenticate"].startswith("Bearer")
    wrong = as_token(running, "lint_wrong").get("/api/v1/checks")
    assert wrong.status == 401
    assert running.get("/healthz").status == 200


def test_one_token_sees_only_its_own_checks(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    ann, ben = (as_token(running, make_token(db, x, frozenset({"check"}), None)[1]) for x in ("ann", "ben"))
    data = box_stl(51, 1, 1)
    check = ann.send([("a.stl", data)], wait=0).json
    assert ann.get(f"/api/v1/checks/{check['id']}").status == 200
    for method, path in (
        ("GET", ""), ("GET", "/report.json"), ("GET", "/events"), ("GET", "/files/0/geometry"), ("DELETE", ""),
        ("POST", "/cancel"), ("POST", "/shares"), ("GET", "/shares"),
    ):  # fmt: skip
        answer = ben.request(method, f"/api/v1/checks/{check['id']}{path}")
        assert answer.status == 404, (method, path)
    assert ben.get("/api/v1/checks").json["checks"] == []
    # Knowing the hash of somebody's file gives nothing.
    assert ben.send([], {"file_sha256": hashlib.sha256(data).hexdigest()}, wait=0).status == 404
    assert ann.get(f"/api/v1/checks/{check['id']}").json["state"] == "queued"


def test_nothing_of_another_token_is_reached_by_any_operation_of_the_document(
    guarded: tuple[Running, Database],
) -> None:
    running, db = guarded
    cat, dan = (as_token(running, make_token(db, x, frozenset({"check"}), None)[1]) for x in ("cat", "dan"))
    body, kind = form({}, [("order.toml", b'[[part]]\nid = "a"\nfile = "a.stl"\n'), ("a.stl", box_stl(57, 1, 1))])
    order = cat.request("POST", "/api/v1/orders", body, {"Content-Type": kind}).json["id"]
    check = cat.send([("a.stl", box_stl(58, 1, 1))], wait=0).json["id"]
    share = cat.request("POST", f"/api/v1/checks/{check}/shares").json["id"]
    tus = {"Tus-Resumable": "1.0.0", "Upload-Length": "5"}
    upload = cat.request("POST", "/api/v1/uploads", b"", tus).headers["location"].rpartition("/")[2]
    own = {"check_id": check, "order_id": order, "upload_id": upload, "share_id": share, "number": "0", "part": "a",
           "arrival": "0123456789abcdef", "fingerprint": "0" * 16}  # fmt: skip
    needs = {**PIECE, "Upload-Offset": "0"}
    tried = 0
    for path, operations in running.get("/api/openapi.json").json["paths"].items():
        if not {"{check_id}", "{order_id}", "{upload_id}"} & set(re.findall(r"{\w+}", path)):
            continue
        whole = re.sub(r"{(\w+)}", lambda x: own[x[1]], path)
        for method in operations.keys() & {"get", "head", "post", "put", "patch", "delete"}:
            sent = b"reason=x" if method in ("put", "patch") else None
            headers = {**needs, "Content-Type": "application/x-www-form-urlencoded"} if method == "put" else needs
            answer = dan.request(method.upper(), whole, sent, headers)
            assert answer.status == 404, (method, path, answer.status, answer.body[:200])
            tried += 1
    assert tried >= 25
    for path in ("checks", "orders"):
        assert dan.get(f"/api/v1/{path}").json[path] == []
    # All of it is still there.
    assert cat.get(f"/api/v1/checks/{check}").json["state"] == "queued"
    assert cat.get(f"/api/v1/orders/{order}").status == 200
    assert cat.request("HEAD", f"/api/v1/uploads/{upload}", headers=tus).headers["upload-offset"] == "0"


def test_idempotency_keys_of_two_tokens_do_not_meet(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    first, second = (as_token(running, make_token(db, x, frozenset({"check"}), None)[1]) for x in ("c", "d"))
    one = first.send([("k.stl", box_stl(52, 1, 1))], wait=0, Idempotency_Key="same").json["id"]
    two = second.send([("k.stl", box_stl(52, 1, 1))], wait=0, Idempotency_Key="same").json["id"]
    assert one != two


def test_scopes_expiry_and_revocation_hold(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    reader = as_token(running, make_token(db, "r", frozenset({"read"}), None)[1])
    assert reader.get("/api/v1/checks").status == 200
    assert reader.send([("x.stl", box_stl(1, 1, 1))], wait=0).status == 403
    assert reader.get("/metrics").status == 403
    made, secret = make_token(db, "short", frozenset({"check"}), 1)
    brief = as_token(running, secret)
    assert brief.get("/api/v1/checks").status == 200
    with db.writing() as connection:
        connection.execute(tokens.update().where(tokens.c.id == made.id).values(expires=1.0))
    assert brief.get("/api/v1/checks").status == 401
    made, secret = make_token(db, "gone", frozenset({"check"}), None)
    assert revoke_token(db, made.id)
    assert as_token(running, secret).get("/api/v1/checks").status == 401
    assert not revoke_token(db, made.id)


def test_secret_is_nowhere_in_the_records(guarded: tuple[Running, Database]) -> None:
    _, db = guarded
    _, secret = make_token(db, "hidden", frozenset({"check"}), None)
    with db.reading() as connection:
        rows = [str(x) for x in connection.execute(tokens.select())]
    assert all(secret not in x for x in rows)
    assert any(x.name == "hidden" for x in list_tokens(db))


def test_share_link_opens_one_check_until_it_is_revoked(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    owner = as_token(running, make_token(db, "e", frozenset({"check"}), None)[1])
    check = owner.send([("s.stl", box_stl(53, 1, 1))], wait=0).json["id"]
    other = owner.send([("s.stl", box_stl(54, 1, 1))], wait=0).json["id"]
    share = owner.request("POST", f"/api/v1/checks/{check}/shares").json
    assert running.get(f"/api/v1/checks/{check}?share={share['secret']}").status == 200
    assert running.get(f"/api/v1/checks/{check}", Lintsvc_Share=share["secret"]).status == 200
    assert running.get(f"/api/v1/checks/{other}?share={share['secret']}").status == 401
    assert running.request("DELETE", f"/api/v1/checks/{check}?share={share['secret']}").status == 401
    assert owner.get(f"/api/v1/checks/{check}/shares").json["shares"][0]["id"] == share["id"]
    assert owner.request("DELETE", f"/api/v1/checks/{check}/shares/{share['id']}").status == 204
    assert running.get(f"/api/v1/checks/{check}?share={share['secret']}").status == 401


def test_waiting_checks_of_one_token_are_limited(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    busy = as_token(running, make_token(db, "f", frozenset({"check"}), None)[1])
    answers = [busy.send([(f"{n}.stl", box_stl(55, 1, 1 + n))], wait=0) for n in range(6)]
    assert [x.status for x in answers] == [202] * 4 + [429] * 2
    assert answers[-1].json["type"] == "urn:lintsvc:problem:quota"
    assert int(answers[-1].headers["retry-after"]) > 0


def test_stored_bytes_of_one_owner_are_limited_and_come_back(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    full = as_token(running, make_token(db, "g", frozenset({"check"}), None)[1])
    first = full.send([("a.bin", b"a" * 700_000)], wait=0)
    assert first.status == 202
    assert full.send([("b.bin", b"b" * 700_000)], wait=0).json["type"] == "urn:lintsvc:problem:quota"
    assert full.request("DELETE", f"/api/v1/checks/{first.json['id']}").status == 204
    assert full.send([("b.bin", b"b" * 700_000)], wait=0).status == 202


def test_file_over_the_limit_is_refused_while_it_comes(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    owner = as_token(running, make_token(db, "h", frozenset({"check"}), None)[1])
    answer = owner.send([("big.bin", b"x" * (1 << 20) + b"y")], wait=0)
    assert (answer.status, answer.json["type"]) == (413, "urn:lintsvc:problem:too-large")
    assert owner.send([("fits.bin", b"x" * (1 << 20))], wait=0).status == 202
    assert list((running.state / "incoming").iterdir()) == []


def test_too_many_requests_are_slowed_down(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    hasty = as_token(running, make_token(db, "i", frozenset({"check"}), None)[1])
    answers = []
    while len(answers) < 4 * REQUESTS and not (answers and answers[-1].status == 429):
        answers.append(hasty.get("/api/v1/processes"))
    # The minute may turn while we ask, on a slow machine more than once.
    assert answers[-1].status == 429 and len(answers) > REQUESTS
    assert {x.status for x in answers[:-1]} == {200}
    assert 0 < int(answers[-1].headers["retry-after"]) <= 60
    # Nobody else is held up for it.
    assert as_token(running, make_token(db, "j", frozenset({"check"}), None)[1]).get("/api/v1/processes").status == 200
    assert running.get("/healthz").status == 200


def test_metrics_need_the_admin_scope_and_count(guarded: tuple[Running, Database]) -> None:
    running, db = guarded
    admin = as_token(running, make_token(db, "watch", frozenset({"admin"}), None)[1])
    text = admin.get("/metrics").body.decode()
    assert 'lintsvc_checks_now{state="queued"}' in text
    assert "lintsvc_request_seconds_bucket" in text
    assert "lintsvc_oldest_waiting_seconds" in text
