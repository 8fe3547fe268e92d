"""The service as `docker/compose.yaml` runs it, without containers: its commands and variables, real stores beside it.

Each process finds what the image gives it: it is user 10001 without capabilities, and nothing can be written but its
own state folder.
"""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from service.postgres import Postgres
from service.running import Running, processes_of

from lintsvc.store.database import Database
from lintsvc.store.embedded_redis import EmbeddedRedis
from lintsvc.store.tokens import make_token

REPOSITORY = Path(__file__).resolve().parents[2]
PROGRAM = Path(sys.executable).with_name("lintsvc")


def compose() -> Any:
    """The compose file."""
    return yaml.safe_load((REPOSITORY / "docker" / "compose.yaml").read_text())


def image_command() -> list[str]:
    """What the image runs when nothing else is said."""
    said = re.search(r"^CMD (\[.*\])$", (REPOSITORY / "docker" / "Dockerfile").read_text(), re.MULTILINE)
    assert said is not None
    return list(yaml.safe_load(said[1]))


def in_image(state: Path, command: list[str]) -> list[str]:
    """The command as the image would run it, with `lintsvc` from here."""
    inner = f"""mount -o remount,bind,ro / && mount -t tmpfs none "{state}" && mkdir "{state}/tmp" &&
        cp -r "{state.parent}/compiled" "{state}/compiled" && ! touch "{state.parent}/written" 2>/dev/null &&
        exec unshare --user --map-user=10001 --map-group=10001 env TMPDIR="{state}/tmp" "$@" """
    words = [str(PROGRAM) if x == "lintsvc" else x for x in command]
    return ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", inner, "sh", *words]


def take_compiled(folder: Path) -> None:
    """Copy the compiled measuring code to where it is looked for under NUMBA_CACHE_DIR: compiling it takes minutes."""
    from numba.core.caching import _CacheLocator

    folder.mkdir()
    for kept in (REPOSITORY / "lintsvc").rglob("__pycache__/*.nb[ic]"):
        source = kept.parent.parent / f"{kept.name.split('.')[0].split('-')[0]}.py"
        target = folder / _CacheLocator.get_suitable_cache_subpath(str(source))
        target.mkdir(parents=True, exist_ok=True)
        shutil.copy2(kept, target)


class InImage(Running):
    """The web process."""

    def command(self, port: int) -> list[str]:
        words = image_command()
        words[words.index("--host") + 1] = "127.0.0.1"
        words[words.index("--port") + 1] = str(port)
        return in_image(self.state, words)


@dataclass
class Deployed:
    """A web process, a worker, and two of their stores."""

    web: Running
    worker: Running
    records: Postgres
    store: str


@contextmanager
def deployed_in(folder: Path, store: str, more: dict[str, str]) -> Iterator[Deployed]:
    """Everything started in a folder, and stopped afterwards; `store` is the address of an S3 server."""
    take_compiled(folder / "compiled")
    with ExitStack() as stack:
        records, queue = Postgres(), EmbeddedRedis(folder / "queue")
        stack.callback(records.stop)
        queue.start()
        stack.callback(queue.stop)
        own = {
            "LINTSVC_REDIS_URL": queue.url,
            "LINTSVC_DATABASE_URL": records.url,
            "LINTSVC_S3_ENDPOINT": store,
            "AWS_ACCESS_KEY_ID": "test",
            "AWS_SECRET_ACCESS_KEY": "test",
        }
        said: dict[str, str] = compose()["services"]["web"]["environment"]
        assert own.keys() <= said.keys()
        environment = {**said, **own, **more, "LINTSVC_LOG": "json"}
        db = Database(records.url.replace("postgresql://", "postgresql+psycopg://"))
        db.migrate()
        _, secret = make_token(db, "tests", frozenset({"admin"}), None)
        db.dispose()
        for name in ("web", "worker"):
            (folder / name).mkdir()
        web = InImage(folder / "web", environment, token=secret).start()
        stack.callback(stopped_well, web)
        worker = Running(folder / "worker", environment)
        worker.process = worker.launch(in_image(worker.state, compose()["services"]["worker"]["command"]))
        stack.callback(stopped_well, worker)
        web.wait_ready()
        yield Deployed(web, worker, records, store)


def stopped_well(running: Running) -> None:
    """Stop it; nothing of it may be left."""
    assert running.stop() == 0, running.words()
    assert processes_of(running.state) == []
