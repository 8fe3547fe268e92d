"""Events of running checks: one Redis stream a check, and a channel that says there is something new.

The channel carries each event too, so that a web process that listens need not read the stream.
Events are a convenience: the records hold state, step and percent, and Redis may lose these.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from typing import Any

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from lintsvc.settings import Settings

log = logging.getLogger(__name__)

CHANNEL = "lintsvc:events"
#: A check's events are kept for a day, and no more of them than this.
KEEP_SECONDS, KEEP_EVENTS = 86_400, 2_000


def connect(settings: Settings, connections: int = 32) -> redis.Redis:
    """Return a client that waits for a free connection instead of failing."""
    pool = redis.BlockingConnectionPool.from_url(
        settings.redis_url,
        max_connections=connections,
        timeout=10,
        socket_connect_timeout=3,
        socket_timeout=10,
        decode_responses=True,
        # One more try for a connection that was closed meanwhile; whoever waits for Redis to come back waits outside.
        retry=Retry(NoBackoff(), 1),
    )
    return redis.Redis(connection_pool=pool)


def stream(check_id: str) -> str:
    """Name of a check's stream."""
    return f"lintsvc:check:{check_id}"


#: Adds an event and tells of it in one round trip, and in one order for all that listen.
_PUBLISH = """
local number = redis.call('XADD', KEYS[1], 'MAXLEN', '~', ARGV[1], '*', 'event', ARGV[3], 'data', ARGV[4])
redis.call('EXPIRE', KEYS[1], ARGV[2])
redis.call('PUBLISH', ARGV[5], ARGV[6] .. '\\n' .. number .. '\\n' .. ARGV[3] .. '\\n' .. ARGV[4])
"""


def publish(client: redis.Redis, check_id: str, event: str, data: Mapping[str, Any]) -> None:
    """Add an event to a check's stream and tell the listeners. Without Redis it is dropped."""
    text = json.dumps(data, separators=(",", ":"))
    script = client.register_script(_PUBLISH)
    try:
        script(keys=[stream(check_id)], args=[KEEP_EVENTS, KEEP_SECONDS, event, text, CHANNEL, check_id])
    except redis.RedisError as error:
        log.warning("an event of %s was dropped: %s", check_id, error)


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
