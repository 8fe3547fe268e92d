"""Every operation of the API as a value: what is sent, and how the answer is read. Nothing is sent from here.

`OPERATIONS` names the function for each `operationId` of the OpenAPI document; a test holds the two together.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, TypeVar
from urllib.parse import parse_qs, quote, urlsplit

from lintsvc.client.answers import Check, Share, check_of, share_of
from lintsvc.model.choices import Choices
from lintsvc.model.choices_words import choices_to_words
from lintsvc.model.report import Report

API = "/api/v1"
#: The service keeps an answer back at most so long.
LONGEST_WAIT_SECONDS = 60.0

Answer = TypeVar("Answer")
#: A file to send: a path, or a name and its bytes.
Sent = Path | tuple[str, bytes]


@dataclass(frozen=True)
class Call(Generic[Answer]):
    """One request. `files` are sent as a form's field `file`; `again` where 202 means: ask again."""

    method: str
    path: str
    read: Callable[[bytes], Answer]
    form: Mapping[str, list[str]] = field(default_factory=dict)
    files: Sequence[Sent] = ()
    query: Mapping[str, str] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)
    again: bool = False
    #: A body that is no form.
    content: bytes | None = None

    def opened(self, stack: ExitStack) -> list[tuple[str, tuple[str, Any]]]:
        """Return the files as httpx takes them; they are closed with the stack. Raises OSError."""
        opened: list[tuple[str, tuple[str, Any]]] = []
        for file in self.files:
            name, content = (file.name, stack.enter_context(file.open("rb"))) if isinstance(file, Path) else file
            opened.append(("file", (name, content)))
        return opened


def send(
    files: Sequence[Sent],
    choices: Choices | Mapping[str, str],
    *,
    known: Sequence[tuple[str, str]] = (),
    changes: Mapping[str, Any] | None = None,
    wait: float = 0.0,
    key: str = "",
) -> Call[Check]:
    """Check files. `known`: (name, sha256) of files that the service has. `changes`: of the rules, for this check."""
    words = choices_to_words(choices) if isinstance(choices, Choices) else choices
    form = {name: [word] for name, word in words.items()}
    if known:
        form |= {"file_name": [x for x, _ in known], "file_sha256": [x for _, x in known]}
    if changes:
        form["changes"] = [json.dumps(changes)]
    headers = _wait(wait) | ({"Idempotency-Key": key} if key else {})
    return Call("POST", f"{API}/checks", _check, form=form, files=files, headers=headers)


def show(check_id: str, wait: float = 0.0) -> Call[Check]:
    """Look at a check; with `wait`, answered when it has ended or after so many seconds."""
    return Call("GET", _of(check_id), _check, headers=_wait(wait))


def listed(limit: int = 20, after: str = "") -> Call[tuple[list[Check], str]]:
    """List checks, newest first, and what to say for `after` to see more; empty at the end."""
    query = {"limit": str(limit), **({"after": after} if after else {})}
    return Call("GET", f"{API}/checks", _listed, query=query)


def cancel(check_id: str) -> Call[Check]:
    """Stop a check that waits or runs."""
    return Call("POST", _of(check_id, "/cancel"), _check)


def remove(check_id: str) -> Call[None]:
    """Delete a check with all that is kept for it."""
    return Call("DELETE", _of(check_id), nothing)


def known_files(sha256: Sequence[str]) -> Call[frozenset[str]]:
    """Ask which of these files the service has from earlier checks."""
    return Call(
        "POST", f"{API}/files/known", lambda x: frozenset(json.loads(x)["known"]), form={"sha256": list(sha256)}
    )


def report(check_id: str) -> Call[Report]:
    """The report of a check that is done."""
    return Call("GET", _of(check_id, "/report.json"), _report)


def made(check_id: str, name: str, file: int = 0) -> Call[bytes]:
    """What is made from a check, by its name in the document: report.pdf, highlights.glb, folded.step …"""
    return Call("GET", _of(check_id, f"/{quote(name, safe='')}"), as_bytes, query={"file": str(file)}, again=True)


def of_file(check_id: str, name: str, file: int = 0) -> Call[bytes]:
    """What belongs to one file of a check, by its name in the document: picture.svg, geometry, findings …"""
    return Call("GET", _of(check_id, f"/files/{file}/{quote(name, safe='')}"), as_bytes, again=True)


def processes() -> Call[list[Mapping[str, Any]]]:
    """The processes that parts are checked for."""
    return Call("GET", f"{API}/processes", lambda x: list(json.loads(x)["processes"]))


def materials() -> Call[list[Mapping[str, Any]]]:
    """The handbook's materials."""
    return Call("GET", f"{API}/materials", lambda x: list(json.loads(x)["materials"]))


def rules() -> Call[Mapping[str, Any]]:
    """Version, packs and rules, as the workers have them loaded."""
    return Call("GET", f"{API}/rules", lambda x: dict(json.loads(x)))


def make_share(check_id: str, days: int | None = None) -> Call[Share]:
    """Make a link that lets whoever has it look at a check."""
    form = {} if days is None else {"days": [str(days)]}
    return Call("POST", _of(check_id, "/shares"), lambda x: share_of(json.loads(x)), form=form)


def shares(check_id: str) -> Call[list[Share]]:
    """The links to a check, without their secrets."""
    return Call("GET", _of(check_id, "/shares"), lambda x: [share_of(y) for y in json.loads(x)["shares"]])


def revoke_share(check_id: str, share_id: str) -> Call[None]:
    """Revoke a link."""
    return Call("DELETE", _of(check_id, f"/shares/{quote(share_id, safe='')}"), nothing)


def set_aside(check_id: str, file: int, fingerprint: str, reason: str) -> Call[str]:
    """Set a finding of a file aside, for this and later checks."""
    path = _of(check_id, f"/files/{file}/set-aside/{quote(fingerprint, safe='')}")
    return Call("PUT", path, lambda x: str(json.loads(x)["set_aside"]), form={"reason": [reason]})


def take_back(check_id: str, file: int, fingerprint: str) -> Call[None]:
    """Let a finding count again."""
    return Call("DELETE", _of(check_id, f"/files/{file}/set-aside/{quote(fingerprint, safe='')}"), nothing)


def events_path(check_id: str) -> str:
    """Where the events of a check come from."""
    return _of(check_id, "/events")


#: The function for each operation of the OpenAPI document, but those that `made` and `of_file` take by name.
OPERATIONS: Mapping[str, Callable[..., Any]] = {
    "checks.send": send,
    "checks.show": show,
    "checks.listed": listed,
    "checks.cancel": cancel,
    "checks.remove": remove,
    "checks.events": events_path,
    "known.files": known_files,
    "files.report_json": report,
    "catalogue.processes": processes,
    "catalogue.materials": materials,
    "catalogue.rules": rules,
    "set_asides.keep": set_aside,
    "set_asides.take_back": take_back,
    "shares.make": make_share,
    "shares.listed": shares,
    "shares.revoke": revoke_share,
}


def _of(check_id: str, more: str = "") -> str:
    return f"{API}/checks/{quote(check_id, safe='')}{more}"


def _wait(seconds: float) -> dict[str, str]:
    return {"Prefer": f"wait={min(seconds, LONGEST_WAIT_SECONDS):.0f}"} if seconds > 0 else {}


def _check(body: bytes) -> Check:
    return check_of(json.loads(body))


def _report(body: bytes) -> Report:
    from lintsvc.reports.json_report import from_dict

    return from_dict(json.loads(body))


def _listed(body: bytes) -> tuple[list[Check], str]:
    data = json.loads(body)
    after = parse_qs(urlsplit(data["next"] or "").query).get("after", [""])
    return [check_of(x) for x in data["checks"]], after[0]


def as_bytes(body: bytes) -> bytes:
    """The answer as it came."""
    return body


def nothing(body: bytes) -> None:
    """No answer but that it is done."""
    return
