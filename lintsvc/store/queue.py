"""The queue: Celery on Redis. Messages are wake-up calls; what is to be done stands in the records."""

from __future__ import annotations

import logging
from typing import Any

from lintsvc.settings import Settings

log = logging.getLogger(__name__)

QUEUE = "lintsvc"
CHECK, RENDER = "lintsvc.check", "lintsvc.render"
#: Celery on Redis: 0 is served first. Somebody looks at the page and waits for a picture.
RENDER_PRIORITY, CHECK_PRIORITY = 0, 3


def make_celery(settings: Settings) -> Any:
    """Return the Celery app, for sending and for working."""
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
            "socket_timeout": 20,
            "socket_connect_timeout": 3,
            "socket_keepalive": True,
            "health_check_interval": 10,
        },
    )
    return app


class Caller:
    """Sends wake-up calls. One that cannot be sent is no loss: the sweeper sends it again."""

    def __init__(self, settings: Settings) -> None:
        self._app = make_celery(settings)

    def check(self, check_id: str, request: str = "") -> bool:
        """Call for a worker to take the next check."""
        return self._send(CHECK, [check_id, request], CHECK_PRIORITY)

    def render(self, check_id: str, name: str, number: int, request: str = "") -> bool:
        """Call for something to be made from a finished check."""
        return self._send(RENDER, [check_id, name, number, request], RENDER_PRIORITY)

    def _send(self, task: str, arguments: list[Any], priority: int) -> bool:
        from kombu.exceptions import OperationalError
        from redis.exceptions import RedisError

        try:
            self._app.send_task(task, args=arguments, priority=priority, retry=False, ignore_result=True)
        except (OperationalError, RedisError, OSError) as error:
            log.warning("the queue cannot be reached: %s", error)
            return False
        return True
