"""A real service for tests: `lintsvc serve` as a process, on loopback, with its own state folder."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.parse
from collections.abc import Generator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import uuid4

from lintsvc.settings import PREFIX


@dataclass
class Answer:
    """An HTTP answer, read to its end."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


def form(fields: Mapping[str, str | list[str]], files: list[tuple[str, bytes]]) -> tuple[bytes, str]:
    """A multipart form as (body, content type)."""
    mark = uuid4().hex
    pieces = []
    for name, value in fields.items():
        for one in [value] if isinstance(value, str) else value:
            pieces.append(f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{one}\r\n'.encode())
    for name, data in files:
        # As a browser writes names (HTML, section 4.10.21.8 "multipart form data").
        name = name.replace('"', "%22").replace("\r", "%0D").replace("\n", "%0A")
        head = f'--{mark}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n\r\n'
        pieces.append(head.encode() + data + b"\r\n")
    return b"".join(pieces) + f"--{mark}--\r\n".encode(), f"multipart/form-data; boundary={mark}"


@dataclass
class Running:
    """The service's process and its address."""

    state: Path
    environment: Mapping[str, str] = field(default_factory=dict)
    host: str = "127.0.0.1"
    process: subprocess.Popen[str] | None = None
    port: int = 0
    token: str = ""

    def start(self, port: int = 0) -> Running:
        self.process = self.launch(self.command(port))
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r":(\d+)/", line)
        if found is None:
            self.process.wait(10)
            self.close()
            raise RuntimeError(f"the service did not start:\n{self.words()}")
        self.port = int(found[1])
        return self

    def launch(self, command: list[str]) -> subprocess.Popen[str]:
        """Start a process of the service."""
        env = {k: v for k, v in os.environ.items() if not k.startswith(PREFIX)}
        # Only what a test asks for is loaded: most do without STEP files, reports and orders.
        later = {f"{PREFIX}LATER_SECONDS": "100000"}
        env |= {f"{PREFIX}STATE": str(self.state), "PYTHONUNBUFFERED": "1", **later, **self.environment}
        self.log = (self.state.parent / f"{self.state.name}.log").open("a")
        return subprocess.Popen(
            command, env=env, stdout=subprocess.PIPE, stderr=self.log, text=True, start_new_session=True
        )

    def command(self, port: int) -> list[str]:
        """What is started."""
        return [sys.executable, "-m", "lintsvc.web.serve", self.host, str(port)]

    def words(self) -> str:
        """The end of the service's log."""
        return Path(self.log.name).read_text()[-6000:]

    def wait_logged(self, words: str, seconds: float = 90.0) -> None:
        """Wait until the service has logged these words: what it does in a thread has no other end to be seen."""
        ends = time.monotonic() + seconds
        while words not in Path(self.log.name).read_text():
            assert time.monotonic() < ends, f"not logged: {words}\n{self.words()}"
            time.sleep(0.02)

    def request(
        self,
        method: str,
        path: str,
        body: bytes | None = None,
        headers: Mapping[str, str] | None = None,
        timeout: float = 90.0,
    ) -> Answer:
        connection = http.client.HTTPConnection(self.host, self.port, timeout=timeout)
        sent = dict(headers or {})
        if self.token:
            sent.setdefault("Authorization", f"Bearer {self.token}")
        try:
            connection.request(method, path, body, sent)
            got = connection.getresponse()
            return Answer(got.status, {k.lower(): v for k, v in got.getheaders()}, got.read())
        finally:
            connection.close()

    def get(self, path: str, **headers: str) -> Answer:
        """Ask; as the page does, again and again while what is asked for is being made."""
        for _ in range(12):
            answer = self.request("GET", path, headers={k.replace("_", "-"): v for k, v in headers.items()})
            if answer.status != 202:
                break
        return answer

    def send(
        self,
        files: list[tuple[str, bytes]],
        fields: Mapping[str, str | list[str]] | None = None,
        wait: float = 60.0,
        **headers: str,
    ) -> Answer:
        body, kind = form(fields or {}, files)
        sent = {"Content-Type": kind, **{k.replace("_", "-"): v for k, v in headers.items()}}
        if wait:
            sent["Prefer"] = f"wait={wait:g}"
        return self.request("POST", "/api/v1/checks", body, sent)

    def check(self, name: str, data: bytes, **fields: str) -> Any:
        """Send one file, wait for the end and return the check."""
        answer = self.send([(name, data)], fields)
        # 202 where the worker is not ready yet.
        assert answer.status in (200, 202), (answer.status, answer.body[:500], self.words())
        return answer.json if answer.status == 200 else end(answer.json, self, 240.0)

    def wait_ready(self, seconds: float = 240.0) -> None:
        ends = time.monotonic() + seconds
        while time.monotonic() < ends:
            with contextlib.suppress(OSError):
                if self.get("/readyz").status == 200:
                    return
            time.sleep(0.1)
        raise AssertionError(f"the service did not get ready:\n{self.words()}")

    def stop(self, with_signal: int = signal.SIGTERM) -> int:
        """Stop it and return its exit status."""
        assert self.process is not None
        if self.process.poll() is None:
            self.process.send_signal(with_signal)
        status = self.process.wait(120)
        self.close()
        return status

    def kill(self) -> None:
        """A sudden death of the serving process."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()
        self.close()

    def close(self) -> None:
        """Close this side's files."""
        if self.process is not None and self.process.stdout is not None:
            self.process.stdout.close()
        self.log.close()

    def children(self) -> list[int]:
        """Process ids of everything that serves from this state folder."""
        return [pid for pid in processes_of(self.state) if self.process is None or pid != self.process.pid]

    def events(
        self, check_id: str, last: str = "", seconds: float = 90.0
    ) -> Generator[tuple[str, str, Any], None, None]:
        """Yield (id, event, data) of a check's stream until it ends."""
        headers = {"Last-Event-ID": last} if last else {}
        if self.token:
            headers["Authorization"] = f"Bearer {self.token}"
        with contextlib.closing(http.client.HTTPConnection(self.host, self.port, timeout=90)) as connection:
            connection.request("GET", f"/api/v1/checks/{urllib.parse.quote(check_id)}/events", headers=headers)
            got = connection.getresponse()
            if got.status == 204:
                return
            assert got.status == 200, got.status
            number = event = ""
            for line in got:
                text = line.decode().rstrip("\n")
                if text.startswith("id: "):
                    number = text[4:]
                elif text.startswith("event: "):
                    event = text[7:]
                elif text.startswith("data: "):
                    yield number, event, json.loads(text[6:])
                elif not text:
                    number = event = ""


def processes_of(state: Path) -> list[int]:
    """Process ids whose environment names this state folder."""
    wanted = f"{PREFIX}STATE={state}".encode()
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            with contextlib.suppress(OSError):
                if wanted in (entry / "environ").read_bytes().split(b"\0"):
                    found.append(int(entry.name))
    return found


def end(check: Any, running: Running, seconds: float = 240.0) -> Any:
    """Wait until a check has ended and return it."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        with contextlib.suppress(OSError):
            answer = running.request("GET", f"/api/v1/checks/{check['id']}", headers={"Prefer": "wait=5"})
            if answer.status == 200 and answer.json["state"] in ("done", "failed", "cancelled"):
                return answer.json
        time.sleep(0.1)
    raise AssertionError(f"check {check['id']} does not end:\n{running.words()}")
