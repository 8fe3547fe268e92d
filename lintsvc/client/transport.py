"""What both clients share: their settings, when an answer means "ask again", and reading an event stream."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from lintsvc import __version__
from lintsvc.client.answers import Event, refusal

#: So long a client waits, in all, for a service that says "later".
PATIENCE_SECONDS = 120.0
#: The service itself answers within a minute; an upload may be slow.
TIMEOUT_SECONDS = 90.0
_LATER = frozenset({429, 503})


@dataclass(frozen=True, slots=True)
class Got:
    """An answer, read to its end."""

    status: int
    media_type: str
    retry_after: str
    body: bytes

    def later_seconds(self, *, again: bool) -> float | None:
        """Return after how many seconds to ask again; None where this answer is final. Raises Refused, Away."""
        if self.status in _LATER or (again and self.status == 202):
            return min(30.0, float(self.retry_after)) if self.retry_after.isdigit() else 1.0
        if self.status >= 300:
            raise refusal(self.status, self.media_type, self.body)
        return None

    def refused(self) -> Exception:
        """Return what is raised when patience is at its end."""
        if self.status == 202:
            return TimeoutError("the service is still making it")
        return refusal(self.status, self.media_type, self.body)


def settings(address: str, token: str) -> Mapping[str, Any]:
    """Return what an httpx client is made with. Raises ValueError for what is no address."""
    if not address.startswith(("http://", "https://")):
        raise ValueError(f"{address!r} is no address of a service; it begins with http:// or https://")
    headers = {"User-Agent": f"lintsvc/{__version__}"}
    if token:
        headers["Authorization"] = f"Bearer {token}"
    # No redirect is followed: the token and the files are meant for the one who was named.
    return {
        "base_url": address.rstrip("/"),
        "headers": headers,
        "timeout": TIMEOUT_SECONDS,
        "follow_redirects": False,
    }


class EventReader:
    """Puts the lines of an event stream together (HTML, section 9.2.6)."""

    def __init__(self) -> None:
        self._id = self._name = self._data = ""

    def line(self, line: str) -> Event | None:
        """Take a line; return the event that it completes."""
        if line.startswith("id:"):
            self._id = line[3:].strip()
        elif line.startswith("event:"):
            self._name = line[6:].strip()
        elif line.startswith("data:"):
            self._data += line[5:].strip()
        elif not line and self._data:
            event = Event(self._id, self._name, json.loads(self._data))
            self._id = self._name = self._data = ""
            return event
        return None

    def lines(self, lines: Iterable[str]) -> Iterator[Event]:
        """Yield the events of all lines."""
        for line in lines:
            if (event := self.line(line)) is not None:
                yield event
