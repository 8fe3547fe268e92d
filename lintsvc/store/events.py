"""Events of running checks: one Redis stream a check, and a channel that says there is something new.

The channel carries each event too, so that a web process that listens need not read the stream.
Events are a convenience: the records hold state, step and percent, and Redis may lose these.
"""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Mapping, Sequence
from typing import Any

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from lintsvc.settings import Settings
from lintsvc.store.checks import ENDED

log = logging.getLogger(__name__)

CHANNEL = "lintsvc:events"
#: A check's events are kept for a day, and no more of them than this; when it has ended, for those who listen or are
#: about to come back, for a few minutes: the records have the report.
KEEP_SECONDS, KEEP_EVENTS, KEEP_ENDED_SECONDS = 86_400, 2_000, 300
#: Redis answers within so long, or is away: its machine may be gone without a word. It is not asked for so long then,
#: by what can do without it: each of many requests, or events, would wait in vain.
ANSWER_SECONDS, AWAY_SECONDS = 3.0, 5.0


def connect(settings: Settings, connections: int = 32) -> redis.Redis:
    """Return a client that waits for a free connection instead of failing."""
    pool = redis.BlockingConnectionPool.from_url(
        settings.redis_url,
        max_connections=connections,
        timeout=10,
        socket_connect_timeout=3,
        socket_timeout=ANSWER_SECONDS,
        decode_responses=True,
        # One more try for a connection that was closed meanwhile, none for silence; whoever waits for Redis to come
        # back waits outside.
        retry=Retry(NoBackoff(), 1, supported_errors=(redis.ConnectionError,)),
    )
    return redis.Redis(connection_pool=pool)


class Away:
    """Remembers for a moment that Redis did not answer. Safe for threads."""

    def __init__(self) -> None:
        self._until = 0.0

    def __bool__(self) -> bool:
        return time.monotonic() < self._until

    def remember(self) -> None:
        """It did not answer."""
        self._until = time.monotonic() + AWAY_SECONDS


def stream(check_id: str) -> str:
    """Name of a check's stream."""
    return f"lintsvc:check:{check_id}"


#: Adds events and tells of them in one round trip, and in one order for all that listen.
_PUBLISH = """
for i = 5, #ARGV, 2 do
  local number = redis.call('XADD', KEYS[1], 'MAXLEN', '~', ARGV[1], '*', 'event', ARGV[i], 'data', ARGV[i + 1])
  redis.call('PUBLISH', ARGV[3], ARGV[4] .. '\\n' .. number .. '\\n' .. ARGV[i] .. '\\n' .. ARGV[i + 1])
end
redis.call('EXPIRE', KEYS[1], ARGV[2])
"""


class Publisher:
    """Adds events to the streams of checks and tells the listeners. Without Redis they are dropped."""

    def __init__(self, client: redis.Redis) -> None:
        self._script = client.register_script(_PUBLISH)
        self._away = Away()

    def publish(self, check_id: str, happened: Sequence[tuple[str, Mapping[str, Any]]]) -> None:
        """Publish events of one check, in this order."""
        if self._away:
            return
        last, told = happened[-1]
        keep = KEEP_ENDED_SECONDS if last == "state" and told.get("state") in ENDED else KEEP_SECONDS
        said = [x for event, data in happened for x in (event, json.dumps(data, separators=(",", ":")))]
        try:
            self._script(keys=[stream(check_id)], args=[KEEP_EVENTS, keep, CHANNEL, check_id, *said])
        except redis.RedisError as error:
            self._away.remember()
            log.warning("events of %s were dropped: %s", check_id, error)


def replay(client: redis.Redis, check_id: str, after: str = "") -> list[tuple[str, str, str]]:
    """Return (id, event, data) of a check's events after an id; all of them without one.

    Raises redis.RedisError when Redis cannot be reached.
    """
    rows: Any = client.xrange(stream(check_id), f"({after}" if after else "-", "+")
    return [(number, fields["event"], fields["data"]) for number, fields in rows]


def forget(client: redis.Redis, check_id: str) -> None:
    """Delete a check's events."""
    try:
        client.delete(stream(check_id))
    except redis.RedisError as error:
        log.warning("events of %s stay for a day: %s", check_id, error)


def order(number: str) -> tuple[int, int]:
    """Sort key of an event's id. Raises ValueError for what is none."""
    first, _, second = number.partition("-")
    return int(first), int(second or 0)
