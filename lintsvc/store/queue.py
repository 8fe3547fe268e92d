"""The queue: Celery on Redis. Messages are wake-up calls; what is to be done stands in the records."""

from __future__ import annotations

import contextlib
import logging
import queue
import threading
import time
from typing import Any

from lintsvc.settings import Settings
from lintsvc.store.events import ANSWER_SECONDS

log = logging.getLogger(__name__)

QUEUE = "lintsvc"
CHECK, RENDER, ORDER = "lintsvc.check", "lintsvc.render", "lintsvc.order"
#: Celery on Redis: 0 is served first. Somebody looks at the page and waits for a picture.
RENDER_PRIORITY, CHECK_PRIORITY = 0, 3
#: One process sends so many calls for checks, and then none for so long: enough to wake a hundred workers in a second.
_AT_ONCE, _PAUSE_SECONDS = 8, 0.05
#: A queue that is away is tried once more in a moment. By itself Celery would try for 6 s, and somebody waits for the
#: answer; whoever works waits for as long as it takes.
_TRIES = {"max_retries": 1, "interval_start": 0.1}


def make_celery(settings: Settings, answer_seconds: float = 20.0) -> Any:
    """Return the Celery app, for working and, with less patience for a Redis that does not answer, for sending."""
    from celery import Celery

    app = Celery("lintsvc", broker=settings.broker_url, set_as_current=False)
    app.conf.update(
        task_default_queue=QUEUE,
        task_ignore_result=True,
        task_acks_late=True,
        task_reject_on_worker_lost=True,
        task_serializer="json",
        accept_content=["json"],
        # Calls are cheap and any worker may take any check: a few at hand bridge the loop's pauses.
        worker_prefetch_multiplier=4,
        worker_send_task_events=False,
        worker_enable_remote_control=False,
        worker_hijack_root_logger=False,
        worker_redirect_stdouts=False,
        worker_cancel_long_running_tasks_on_connection_loss=False,
        broker_connection_retry_on_startup=True,
        # Redis may be away for long; the worker waits for it.
        broker_connection_max_retries=None,
        broker_transport_options={
            "queue_order_strategy": "priority",
            "priority_steps": [RENDER_PRIORITY, CHECK_PRIORITY],
            "visibility_timeout": 3600,
            "socket_timeout": answer_seconds,
            "socket_connect_timeout": 3,
            "socket_keepalive": True,
            "health_check_interval": 10,
        },
    )
    return app


class Caller:
    """Sends wake-up calls. One that cannot be sent is no loss: the sweeper sends it again.

    A call says that there is something to do, not what; a worker that is awake takes check after check. So calls
    for checks are sent by a thread, and those that come thick and fast are not all sent.
    """

    def __init__(self, settings: Settings) -> None:
        self._app = make_celery(settings, ANSWER_SECONDS)
        self._app.conf.broker_transport_options.update(_TRIES)
        self._waiting: queue.SimpleQueue[tuple[str, str]] = queue.SimpleQueue()
        self._sender: threading.Thread | None = None
        self._lock = threading.Lock()

    def check(self, check_id: str, request: str = "") -> None:
        """Call, in a moment, for a worker to take the next check."""
        self._waiting.put((check_id, request))
        with self._lock:
            if self._sender is None:
                self._sender = threading.Thread(target=self._send_checks, name="caller", daemon=True)
                self._sender.start()

    def check_now(self, check_id: str, request: str = "") -> bool:
        """Call for a worker at once; False when the queue is away."""
        return self._send(CHECK, [check_id, request], CHECK_PRIORITY)

    def render(self, check_id: str, name: str, number: int, request: str = "") -> bool:
        """Call for something to be made from a finished check."""
        return self._send(RENDER, [check_id, name, number, request], RENDER_PRIORITY)

    def order(self, order_id: str, name: str, request: str = "") -> bool:
        """Call for something to be made of an order."""
        return self._send(ORDER, [order_id, name, request], CHECK_PRIORITY)

    def _send_checks(self) -> None:
        while True:
            calls = [self._waiting.get()]
            with contextlib.suppress(queue.Empty):
                while True:
                    calls.append(self._waiting.get_nowait())
            for check_id, request in calls[:_AT_ONCE]:
                if not self.check_now(check_id, request):
                    break
            time.sleep(_PAUSE_SECONDS)

    def _send(self, task: str, arguments: list[Any], priority: int) -> bool:
        from kombu.exceptions import OperationalError
        from redis.exceptions import RedisError

        try:
            self._app.send_task(task, args=arguments, priority=priority, retry=False, ignore_result=True)
        except (OperationalError, RedisError, OSError) as error:
            log.warning("the queue cannot be reached: %s", error)
            return False
        return True
