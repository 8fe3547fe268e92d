"""A full disk, a thousand listeners, and whatever the schema allows."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from hypothesis.errors import Unsatisfiable
from parts.service_parts import box_stl
from service.running import Running, form


class OnSmallDisk(Running):
    """A service whose state folder is a small disk of its own, in a mount namespace."""

    def command(self, port: int) -> list[str]:
        inner = f'mount -t tmpfs -o size=180m none "{self.state}" && exec "$@"'
        return ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", inner, "sh", *super().command(port)]


def chunked(running: Running, data: bytes, blocks: int) -> tuple[int, bytes]:
    """Send a file of unstated length; return status and body of the answer."""
    import http.client

    whole, kind = form({}, [("x.bin", b"MARK")])
    head, tail = whole.split(b"MARK")

    def pieces() -> Iterator[bytes]:
        yield head
        for _ in range(blocks):
            yield data
        yield tail

    connection = http.client.HTTPConnection("127.0.0.1", running.port, timeout=60)
    with contextlib.suppress(OSError):  # the answer may come before everything is sent
        connection.request("POST", "/api/v1/checks", pieces(), {"Content-Type": kind})
    try:
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


def test_full_disk_refuses_clearly_keeps_nothing_half_and_recovers(state: Path) -> None:
    state.mkdir()
    running = OnSmallDisk(state, {"LINTSVC_WORKERS": "0"}).start()
    try:
        block = bytes(1 << 20)
        accepted = []
        status, body = 202, b""
        for number in range(8):
            answer = running.send([(f"{number}.bin", bytes([number]) * (25 << 20))], wait=0)
            status, body = answer.status, answer.body
            if status != 202:
                break
            accepted.append(answer.json["id"])
        assert 1 <= len(accepted) <= 4
        assert status == 507, body
        assert json.loads(body)["type"] == "urn:lintsvc:problem:no-room"
        # Without a stated length it is only noticed on the way.
        status, body = chunked(running, block, 170)
        assert (status, json.loads(body)["type"]) == (507, "urn:lintsvc:problem:no-room")
        assert running.get("/api/v1/checks").json["checks"][0]["id"] == accepted[-1]
        for check_id in accepted:
            assert running.request("DELETE", f"/api/v1/checks/{check_id}").status == 204
        assert running.send([("again.bin", b"y" * (25 << 20))], wait=0).status == 202
    finally:
        running.stop()


def test_thousand_idle_listeners_cost_no_thread_and_all_hear_the_end(idle: Running) -> None:
    check = idle.send([("wait.stl", box_stl(20, 10, 5))], wait=0).json["id"]
    assert idle.process is not None

    async def listen(count: int) -> int:
        lines = [await asyncio.open_connection("127.0.0.1", idle.port) for _ in range(count)]
        request = f"GET /api/v1/checks/{check}/events HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode()
        for _, writer in lines:
            writer.write(request)
        for reader, _ in lines:
            await reader.readuntil(b"event: state\n")
        threads = len(list(Path(f"/proc/{idle.process.pid}/task").iterdir()))  # type: ignore[union-attr]
        assert threads < 80, threads
        # They are in nobody's way.
        answer = await asyncio.to_thread(idle.get, "/api/v1/processes")
        assert answer.status == 200
        await asyncio.to_thread(idle.request, "POST", f"/api/v1/checks/{check}/cancel")
        heard = 0
        for reader, writer in lines:
            try:
                await asyncio.wait_for(reader.readuntil(b'"state": "cancelled"'), 120)
                heard += 1
            finally:
                writer.close()
        return heard

    # In a thread: in this one the browser of other tests may keep a loop of its own.
    with ThreadPoolExecutor(1) as pool:
        heard = pool.submit(asyncio.run, listen(1000)).result()
    assert heard == 1000


def test_whatever_the_document_allows_meets_no_server_error(service: Running) -> None:
    import schemathesis
    from hypothesis import HealthCheck, Phase, given, settings
    from schemathesis.generation import GenerationMode

    schemathesis.serializer("application/offset+octet-stream")(lambda context, value: value)
    schema = schemathesis.openapi.from_url(f"http://127.0.0.1:{service.port}/api/openapi.json")
    seen: set[int] = set()

    def answers_well(case: schemathesis.Case) -> None:
        answer = case.call(timeout=90)
        seen.add(answer.status_code)
        assert answer.status_code < 500, (case.as_curl_command(), answer.text[:500])
        if answer.status_code >= 400 and case.method != "HEAD":
            assert answer.headers["content-type"] == ["application/problem+json"], (case.path, answer.text[:300])
            assert answer.json()["status"] == answer.status_code

    for found in schema.get_all_operations():
        operation = found.ok()
        for mode in GenerationMode:
            # Not every operation can be asked wrongly.
            quiet = settings(max_examples=6, deadline=None, derandomize=True, database=None,
                             suppress_health_check=list(HealthCheck), phases=[Phase.generate])  # fmt: skip
            try:
                quiet(given(operation.as_strategy(generation_mode=mode))(answers_well))()
            except Unsatisfiable:
                assert mode is GenerationMode.NEGATIVE, operation.label
    assert {200, 404, 422} <= seen
