"""Log lines: text for a terminal, JSON for a machine; each with the request it belongs to."""

from __future__ import annotations

import json
import logging
import time
from contextvars import ContextVar

from lintsvc.settings import Settings

#: Id of the request that is being served here; the queue carries it on.
request_id: ContextVar[str] = ContextVar("request_id", default="")


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def __init__(self, process: str) -> None:
        super().__init__()
        self.process_name = process

    def format(self, record: logging.LogRecord) -> str:
        data: dict[str, object] = {
            "time": time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(record.created)) + f".{int(record.msecs):03d}Z",
            "level": record.levelname.lower(),
            "process": self.process_name,
            "logger": record.name,
            "message": record.getMessage(),
        }
        if request := getattr(record, "request", "") or request_id.get():
            data["request"] = request
        if record.exc_info:
            data["error"] = self.formatException(record.exc_info)
        return json.dumps(data)


class TextLines(logging.Formatter):
    """Time, level, process, message, request."""

    def __init__(self, process: str) -> None:
        super().__init__(f"%(asctime)s %(levelname)-7s {process}: %(message)s", "%H:%M:%S")

    def format(self, record: logging.LogRecord) -> str:
        request = getattr(record, "request", "") or request_id.get()
        return super().format(record) + (f" [{request}]" if request else "")


def set_up_logging(settings: Settings, process: str) -> None:
    """Send this process's log to stderr in the form that the settings ask for."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines(process) if settings.log == "json" else TextLines(process))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    for name in ("lintsvc", "lintsvc_worker"):
        logging.getLogger(name).setLevel(logging.INFO)
