"""Resumable uploads by the tus protocol 1.0.0 (tus.io), and plain ones that are large."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import http.client
import socket
import struct
import time
from pathlib import Path

from parts.service_parts import box_stl
from service.running import Running, form

from lintsvc.settings import Settings

TUS = {"Tus-Resumable": "1.0.0"}
PIECE = {**TUS, "Content-Type": "application/offset+octet-stream"}


def begin(service: Running, length: int, name: str = "big.stl") -> str:
    meta = f"filename {base64.b64encode(name.encode()).decode()},is_confidential"
    answer = service.request(
        "POST", "/api/v1/uploads", b"", {**TUS, "Upload-Length": str(length), "Upload-Metadata": meta}
    )
    assert answer.status == 201, answer.body
    assert answer.headers["tus-resumable"] == "1.0.0"
    assert "upload-expires" in answer.headers
    return answer.headers["location"]


def test_options_tell_the_protocol(service: Running) -> None:
    answer = service.request("OPTIONS", "/api/v1/uploads")
    assert answer.status == 204
    assert answer.headers["tus-version"] == "1.0.0"
    assert answer.headers["tus-extension"].split(",") == ["creation", "termination", "expiration"]
    assert int(answer.headers["tus-max-size"]) == Settings().upload_mib << 20


def test_upload_in_pieces_is_checked_like_any_other(service: Running) -> None:
    data = box_stl(61, 2, 3)
    place = begin(service, len(data))
    for start in range(0, len(data), 250):
        piece = data[start : start + 250]
        answer = service.request("PATCH", place, piece, {**PIECE, "Upload-Offset": str(start)})
        assert answer.status == 204, answer.body
        assert answer.headers["upload-offset"] == str(start + len(piece))
    head = service.request("HEAD", place, headers=TUS)
    assert (head.headers["upload-offset"], head.headers["upload-length"]) == (str(len(data)), str(len(data)))
    assert head.headers["cache-control"] == "no-store"
    check = service.send([], {"upload": place.rpartition("/")[2]})
    assert check.status == 200, check.body
    assert check.json["files"][0]["sha256"] == hashlib.sha256(data).hexdigest()
    assert check.json["files"][0]["name"] == "big.stl"
    assert check.json["report"]["parts"][0]["part"]["size_mm"] == [61, 2, 3]
    assert list((service.state / "blobs" / "uploads").rglob("0*")) == []


def test_broken_connection_keeps_what_came(service: Running) -> None:
    data = box_stl(62, 2, 3)
    place = begin(service, len(data))
    offset = 0
    # How long the service takes to read them, nobody is told: what was unread when the line broke is lost.
    for seconds in (0.2, 2.0, 20.0):
        head = (
            f"PATCH {place} HTTP/1.1\r\nHost: 127.0.0.1\r\nTus-Resumable: 1.0.0\r\nUpload-Offset: 0\r\n"
            f"Content-Type: application/offset+octet-stream\r\nContent-Length: {len(data)}\r\n"
            f"X-Request-ID: broken-{seconds}\r\n\r\n"
        )
        with socket.create_connection(("127.0.0.1", service.port)) as line:
            line.sendall(head.encode() + data[:300])
            time.sleep(seconds)
        service.wait_logged(f"[broken-{seconds}]")
        offset = int(service.request("HEAD", place, headers=TUS).headers["upload-offset"])
        if offset:
            break
    assert offset == 300
    answer = service.request("PATCH", place, data[300:], {**PIECE, "Upload-Offset": "300"})
    assert answer.status == 204
    assert service.send([], {"upload": place.rpartition("/")[2]}).json["summary"]["unreadable"] == 0


def test_wrong_pieces_are_refused(service: Running) -> None:
    place = begin(service, 100)
    patch = lambda body, **more: service.request("PATCH", place, body, {**PIECE, **more})  # noqa: E731
    assert patch(b"x", **{"Upload-Offset": "5"}).status == 409
    assert patch(b"x" * 101, **{"Upload-Offset": "0"}).status == 413
    assert patch(b"x", **{"Upload-Offset": "0", "Content-Type": "text/plain"}).status == 400
    assert patch(b"x", **{"Upload-Offset": "-1"}).status == 400
    assert service.request("PATCH", place, b"x", {"Upload-Offset": "0"}).status == 400
    assert service.request("HEAD", place, headers=TUS).headers["upload-offset"] == "0"
    unfinished = service.send([], {"upload": place.rpartition("/")[2]}, wait=0)
    assert (unfinished.status, unfinished.json["type"]) == (409, "urn:lintsvc:problem:not-ready")
    assert service.request("DELETE", place, headers=TUS).status == 204
    assert service.request("HEAD", place, headers=TUS).status == 404


def test_too_long_and_nameless_uploads_are_refused(service: Running) -> None:
    for length in (str((Settings().upload_mib << 20) + 1), "-1", "x", "", "9" * 30):
        answer = service.request("POST", "/api/v1/uploads", b"", {**TUS, "Upload-Length": length})
        assert answer.status in (400, 413), length
    meta = {"Upload-Metadata": "filename !!!", "Upload-Length": "5"}
    assert service.request("POST", "/api/v1/uploads", b"", {**TUS, **meta}).status == 400


def test_empty_upload_is_an_empty_file(service: Running) -> None:
    place = begin(service, 0)
    check = service.send([], {"upload": place.rpartition("/")[2]})
    assert check.json["summary"]["unreadable"] == 1


def memory_bytes(pid: int) -> int:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) * 1024
    raise AssertionError


def test_large_upload_never_stands_in_memory(service: Running) -> None:
    assert service.process is not None
    size = 100 << 20
    start, kind = form({}, [("large.bin", b"")])
    head, tail = start.split(b"\r\n\r\n", 1)
    before = memory_bytes(service.process.pid)
    connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=120)
    connection.putrequest("POST", "/api/v1/checks")
    connection.putheader("Content-Type", kind)
    connection.putheader("Content-Length", str(len(head) + 4 + size + len(tail)))
    connection.endheaders(head + b"\r\n\r\n")
    block = b"\x01" * (1 << 20)
    for _ in range(size >> 20):
        connection.send(block)
    connection.send(tail)
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    assert answer.status == 202, body
    grown = memory_bytes(service.process.pid) - before
    assert grown < 40 << 20, f"{grown >> 20} MiB"


def test_senders_that_stall_are_cut_off_and_are_in_nobodys_way(idle: Running) -> None:
    body, kind = form({}, [("slow.stl", struct.pack("<100I", *range(100)))])
    head = (
        f"POST /api/v1/checks HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: {kind}\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    with contextlib.ExitStack() as lines:
        stalled = [
            lines.enter_context(socket.create_connection(("127.0.0.1", idle.port), timeout=60))
            for _ in range(60)  # more than there are threads
        ]
        for line in stalled:
            line.sendall(head.encode() + body[:50])
        assert idle.get("/healthz").status == 200
        assert idle.send([("ok.stl", box_stl(1, 1, 1))], wait=0).status == 202
        for line in stalled:
            got = b""
            # Each is cut off, and none is taken for whole.
            with contextlib.suppress(ConnectionResetError):
                while piece := line.recv(4096):
                    got += piece
            assert not got or b" 400 " in got.partition(b"\r\n")[0], got
