"""What the service answers, as types: checks, share links, events, and its refusals."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from lintsvc.model.report import Report

State = Literal["queued", "running", "done", "failed", "cancelled"]
_ENDED = frozenset({"done", "failed", "cancelled"})


class Refused(Exception):
    """The service refused. `kind` is the last piece of the problem's type (RFC 9457): not-found, bad-choice …"""

    def __init__(self, status: int, kind: str, detail: str, more: Mapping[str, Any]) -> None:
        self.status = status
        self.kind = kind
        self.detail = detail
        self.more = more
        super().__init__(f"{detail} ({status} {kind})")


class Away(Exception):
    """The service cannot be reached, or something between here and there answers in its place."""


@dataclass(frozen=True, slots=True)
class CheckFile:
    """One file of a check."""

    number: int
    name: str
    sha256: str
    bytes: int


@dataclass(frozen=True, slots=True)
class Check:
    """A check as the service has it. `report` is there once it is done."""

    id: str
    state: State
    step: str | None
    percent: float
    created: datetime
    finished: datetime | None
    files: tuple[CheckFile, ...]
    choices: Mapping[str, str]
    summary: Mapping[str, int] | None
    problem: str | None
    report: Report | None
    links: Mapping[str, str]

    @property
    def ended(self) -> bool:
        """True when nothing more will happen to it."""
        return self.state in _ENDED


@dataclass(frozen=True, slots=True)
class Share:
    """A link that lets whoever has it look at a check. `secret` and `link` are told once, when it is made."""

    id: str
    created: datetime
    expires: datetime | None
    secret: str | None = None
    link: str | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """An order as the service has it: its files, and where to find what is made of it."""

    id: str
    created: datetime
    expires: datetime
    files: tuple[CheckFile, ...]
    links: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened to a check: state, step, file, finding, made."""

    id: str
    name: str
    data: Mapping[str, Any]


def check_of(data: Mapping[str, Any]) -> Check:
    """Return a check from its JSON."""
    from lintsvc.reports.json_report import from_dict

    finished = data["finished"]
    report = data["report"]
    return Check(
        id=data["id"],
        state=data["state"],
        step=data["step"],
        percent=data["percent"],
        created=datetime.fromisoformat(data["created"]),
        finished=None if finished is None else datetime.fromisoformat(finished),
        files=_files_of(data),
        choices=data["choices"],
        summary=data["summary"],
        problem=data["problem"],
        report=None if report is None else from_dict(report),
        links=data["links"],
    )


def _files_of(data: Mapping[str, Any]) -> tuple[CheckFile, ...]:
    return tuple(CheckFile(x["number"], x["name"], x["sha256"], x["bytes"]) for x in data["files"])


def order_of(data: Mapping[str, Any]) -> Order:
    """Return an order from its JSON."""
    created, expires = (datetime.fromisoformat(data[x]) for x in ("created", "expires"))
    return Order(data["id"], created, expires, _files_of(data), data["links"])


def share_of(data: Mapping[str, Any]) -> Share:
    """Return a share link from its JSON."""
    expires = data["expires"]
    return Share(
        data["id"],
        datetime.fromisoformat(data["created"]),
        None if expires is None else datetime.fromisoformat(expires),
        data.get("secret"),
        data.get("link"),
    )


def refusal(status: int, media_type: str, body: bytes) -> Exception:
    """Return what an answer of 400 and more says: the service's words, or that it is not the service that answers."""
    if media_type.partition(";")[0].strip() == "application/problem+json":
        try:
            data = json.loads(body)
            kind = str(data["type"]).rpartition(":")[2]
            return Refused(status, kind, str(data.get("detail") or data.get("title", "")), data)
        except (ValueError, KeyError, TypeError):
            pass  # said to be a problem and is none: told below
    return Away(f"what answers is not the service, or not in order: status {status}")
