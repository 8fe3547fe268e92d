"""What the service refuses, and how it says so: always as problem details, never with its insides."""

from __future__ import annotations

import contextlib
import json
import socket

import pytest
from parts.service_parts import box_stl
from service.running import Running, form


def problem(answer: object, status: int, kind: str) -> None:
    assert (answer.status, answer.headers["content-type"]) == (status, "application/problem+json"), answer.body[:400]
    body = answer.json
    assert body["type"] == f"urn:lintsvc:problem:{kind}", body
    assert body["status"] == status
    assert body["title"]
    assert body["detail"]
    assert body["request"] == answer.headers["x-request-id"]


@pytest.mark.parametrize(
    ("fields", "choice"),
    [
        ({"process": "casting"}, "process"),
        ({"material": "unobtainium"}, "material"),
        ({"thickness": "thick"}, "thickness"),
        ({"thickness": "-2mm"}, "thickness"),
        ({"thickness": "1e9m"}, "thickness"),
        ({"thickness": "16ga"}, "thickness"),
        ({"thickness": "16ga", "material": "copper"}, "thickness"),
        ({"units": "cubit"}, "units"),
        ({"quantity": "0"}, "quantity"),
        ({"k_factor": "nan"}, "k_factor"),
        ({"bends": '[{"start": [NaN, 0], "end": [1, 1]}]'}, "bends"),
        ({"bends": "{}"}, "bends"),
        ({"threads": "[{}]"}, "threads"),
        ({"finished_size": "1x2"}, "finished_size"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_bad_choice_is_named(service: Running, fields: dict[str, str], choice: str) -> None:
    answer = service.send([("x.stl", box_stl(1, 2, 3))], fields, wait=0)
    problem(answer, 422, "bad-choice")
    assert answer.json["choice"] == choice


def test_no_file_and_too_many_files_are_refused(service: Running) -> None:
    problem(service.send([], {"process": "sheet"}, wait=0), 422, "no-file")
    problem(service.send([(f"{n}.stl", b"x") for n in range(21)], wait=0), 422, "too-many-files")


def test_unknown_ids_paths_and_methods_are_problems(service: Running) -> None:
    problem(service.get("/api/v1/checks/nothing-here"), 404, "not-found")
    problem(service.get("/api/v1/nothing"), 404, "not-found")
    problem(service.get("/api/v1/checks/nothing-here/events"), 404, "not-found")
    answer = service.request("PUT", "/api/v1/checks")
    assert answer.status == 405
    assert "POST" in answer.headers["allow"]
    assert answer.json["type"].startswith("urn:lintsvc:problem:")


@pytest.mark.parametrize(
    "path",
    ["/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static//etc/passwd",
     "/api/v1/checks/../../x", "/api/v1/checks/%2e%2e%2f%2e%2e/report.json", "/api/v1/checks/a%00b",
     "/api/v1/checks/" + "a" * 5000],
)  # fmt: skip
def test_path_tricks_find_nothing(service: Running, path: str) -> None:
    assert service.get(path).status in (400, 404, 308)


def test_name_of_a_file_is_only_text(service: Running) -> None:
    answer = service.send([("../../etc/<script>alert(1)</script>\u202e.stl", box_stl(2, 2, 2))], wait=0)
    name = answer.json["files"][0]["name"]
    assert name == "script>.stl"
    long = service.send([("x" * 500 + ".stl", box_stl(2, 2, 2))], wait=0).json["files"][0]["name"]
    assert len(long) <= 120
    assert long.endswith(".stl")


def test_bad_cursor_and_limit_are_refused(service: Running) -> None:
    for query in ("limit=0", "limit=1000", "limit=x", "after=%21%21", "after=bm90IGEgY3Vyc29y", "limit=%C2%B2"):
        problem(service.get(f"/api/v1/checks?{query}"), 400, "bad-request")


def test_foreign_page_cannot_send(service: Running) -> None:
    body, kind = form({}, [("x.stl", box_stl(1, 2, 3))])
    for headers in (
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Host": "evil.example"},
    ):
        answer = service.request("POST", "/api/v1/checks", body, {"Content-Type": kind, **headers})
        problem(answer, 403, "wrong-origin")
    problem(service.request("GET", "/api/v1/checks", headers={"Host": "evil.example:80"}), 403, "wrong-origin")
    assert service.request("GET", "/api/v1/checks", headers={"Host": "LocalHost:80"}).status == 200
    own = {"Content-Type": kind, "Origin": f"http://127.0.0.1:{service.port}", "Sec-Fetch-Site": "same-origin"}
    assert service.request("POST", "/api/v1/checks", body, own).status == 202


def test_page_and_answers_carry_the_security_headers(service: Running) -> None:
    for path in ("/", "/api/v1/processes", "/api/v1/checks/none"):
        headers = service.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"
        assert headers["referrer-policy"] == "no-referrer"
        assert "set-cookie" not in headers
        assert "werkzeug" not in headers.get("server", "").lower()


def test_picture_of_a_strangers_file_is_never_shown_in_place(service: Running) -> None:
    from parts.service_parts import plate_dxf

    check = service.check("p.dxf", plate_dxf(), thickness="2mm")
    for name in ("highlights.svg", "report.html"):
        answer = service.get(f"/api/v1/checks/{check['id']}/{name}")
        assert answer.status == 200
        assert answer.headers["content-disposition"].startswith("attachment")
        assert "script-src 'self'" in answer.headers["content-security-policy"]


def test_report_of_a_waiting_check_is_not_there_yet(service: Running) -> None:
    # Many at once: the last of them waits for a moment.
    sent = [service.send([(f"{n}.stl", box_stl(3, 3, 40 + n))], wait=0).json for n in range(20)]
    answer = service.get(f"/api/v1/checks/{sent[-1]['id']}/report.json")
    if answer.status != 200:
        problem(answer, 409, "not-ready")


def raw(service: Running, data: bytes) -> bytes:
    """Send raw bytes and return what comes back until the server closes the line. It must close it."""
    got = b""
    with socket.create_connection(("127.0.0.1", service.port), timeout=90) as line:
        # Closed while we still send, or while it still had something to read.
        with contextlib.suppress(ConnectionResetError, BrokenPipeError):
            line.sendall(data)
        with contextlib.suppress(ConnectionResetError):
            while piece := line.recv(65536):
                got += piece
    return got


def test_garbage_and_endless_headers_are_cut_off(service: Running) -> None:
    assert b" 400 " in raw(service, b"\x16\x03\x01 garbage\r\n\r\n")
    endless = raw(service, b"GET / HTTP/1.1\r\nHost: x\r\nA: " + b"a" * 2_000_000)
    # Either a plain 400, or the line is cut while we still send.
    assert endless == b"" or b" 400 " in endless
    assert service.get("/healthz").status == 200


def test_body_shorter_than_promised_makes_no_check(service: Running) -> None:
    before = service.get("/api/v1/checks?limit=1").json["checks"][0]["id"]
    body, kind = form({}, [("cut.stl", box_stl(1, 1, 9))])
    head = (
        f"POST /api/v1/checks HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: {kind}\r\n"
        f"Content-Length: {len(body) + 1000}\r\nX-Request-ID: cut-short\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", service.port)) as line:
        line.sendall(head.encode() + body[: len(body) // 2])
    # Its end is in the log once the service is done with it.
    service.wait_logged("[cut-short]")
    assert service.get("/api/v1/checks?limit=1").json["checks"][0]["id"] == before
    assert list((service.state / "incoming").iterdir()) == []


def test_body_of_unstated_length_is_read_to_its_end(service: Running) -> None:
    body, kind = form({}, [("chunked.stl", box_stl(1, 1, 8))])
    chunks = b"".join(
        f"{len(body[i : i + 100]):x}\r\n".encode() + body[i : i + 100] + b"\r\n" for i in range(0, len(body), 100)
    )
    head = f"POST /api/v1/checks HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: {kind}\r\nTransfer-Encoding: chunked\r\n"
    got = raw(service, head.encode() + b"Connection: close\r\n\r\n" + chunks + b"0\r\n\r\n")
    assert b" 202 " in got.partition(b"\r\n")[0], got[:500]
    assert json.loads(got.partition(b"\r\n\r\n")[2])["files"][0]["name"] == "chunked.stl"
