"""Rate limit: so many requests a minute for one token, or for one address without tokens."""

from __future__ import annotations

import threading
import time
from collections import Counter

import redis
from flask import request

from lintsvc.store.events import Away
from lintsvc.store.tokens import hashed
from lintsvc.web.auth import bearer
from lintsvc.web.problems import Problem
from lintsvc.web.services import Services, services

_UNLIMITED = ("/static/", "/healthz", "/readyz")


class OwnCount:
    """What this process has counted in the current minute: for when Redis is away."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._minute = 0
        self._counts: Counter[str] = Counter()

    def add(self, who: str, minute: int) -> int:
        """Count one more; return how many there are."""
        with self._lock:
            if minute != self._minute:
                self._minute = minute
                self._counts.clear()
            self._counts[who] += 1
            return self._counts[who]


_own = OwnCount()
_away = Away()


def refuse_too_often() -> None:
    """Count this request. Raises Problem when there were too many in this minute."""
    here = services()
    most = here.settings.requests_a_minute
    if most == 0 or request.path.startswith(_UNLIMITED):
        return
    secret = bearer(request.headers.get("Authorization", ""))
    # A wrong token counts for the address, so that guessing is slow too.
    who = hashed(secret)[:16] if secret and here.tokens_needed else str(request.remote_addr)
    minute = int(time.time() // 60)
    count = _own.add(who, minute) if _away else _counted(here, who, minute)
    if count > most:
        wait = 60 - int(time.time() % 60)
        raise Problem(
            "too-often", f"at most {most} requests a minute; wait {wait} s", headers={"Retry-After": str(wait)}
        )


def _counted(here: Services, who: str, minute: int) -> int:
    """Count for all processes; where Redis is away, for this one."""
    try:
        pipe = here.redis.pipeline(transaction=False)
        pipe.incr(f"lintsvc:rate:{who}:{minute}")
        pipe.expire(f"lintsvc:rate:{who}:{minute}", 120)
        return int(pipe.execute()[0])
    except redis.RedisError:
        _away.remember()
        return _own.add(who, minute)
