"""What `lintsvc doctor` looks at: every part that the service needs, in words."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from lintsvc.settings import MIB, Settings


@dataclass(frozen=True, slots=True)
class Found:
    """One thing that was looked at."""

    what: str
    well: bool
    words: str


def look(settings: Settings) -> Iterator[Found]:
    """Look at everything, in the order in which the service needs it."""
    checks: tuple[tuple[str, Callable[[Settings], str]], ...] = (
        ("state folder", _state),
        ("disk", _disk),
        ("queue", _queue),
        ("records", _records),
        ("blobs", _blobs),
        ("page", _page),
        ("worker", _worker),
        ("fence", _fence),
    )
    for what, check in checks:
        try:
            yield Found(what, True, check(settings))
        except Wrong as error:
            yield Found(what, False, str(error))
        except Exception as error:  # noqa: BLE001 - the border: whatever is broken, the doctor looks at the rest too
            yield Found(what, False, f"{type(error).__name__}: {str(error).splitlines()[0] if str(error) else ''}")


class Wrong(Exception):
    """Something is not as it must be. Says what, and what to do."""


def _state(settings: Settings) -> str:
    settings.state.mkdir(parents=True, exist_ok=True, mode=0o700)
    mode = settings.state.stat().st_mode & 0o777
    with tempfile.TemporaryFile(dir=settings.state) as file:
        file.write(b"x")
    if mode & 0o007:
        raise Wrong(f"{settings.state} can be read by everybody; chmod 700 it")
    return f"{settings.state} can be written"


def _disk(settings: Settings) -> str:
    free = shutil.disk_usage(settings.state).free
    if free < 1024 * MIB:
        raise Wrong(f"only {free // MIB} MiB are free at {settings.state}; uploads are refused below 64 MiB")
    return f"{free // MIB} MiB are free"


def _queue(settings: Settings) -> str:
    from lintsvc.store.embedded_redis import server_program

    if not settings.redis_url:
        program = server_program()
        version = subprocess.run([program, "--version"], capture_output=True, text=True, timeout=10, check=False).stdout
        return f"embedded, {program} ({' '.join(version.split()[:3])})"
    from lintsvc.store import events

    client = events.connect(settings)
    info = client.info()
    if info.get("aof_enabled") == 0:
        return f"Redis {info.get('redis_version')} answers; it keeps no file, so lost calls are found from the records"
    return f"Redis {info.get('redis_version')} answers"


def _records(settings: Settings) -> str:
    from sqlalchemy import func, select

    from lintsvc.store.database import Database
    from lintsvc.store.tables import checks

    db = Database(settings.sqlalchemy_url)
    try:
        db.migrate()
        with db.reading() as connection:
            count = connection.execute(select(func.count()).select_from(checks)).scalar_one()
    finally:
        db.dispose()
    return f"{'SQLite' if db.lite else 'PostgreSQL'}, {count} check{'' if count == 1 else 's'}"


def _blobs(settings: Settings) -> str:
    from lintsvc.store.blobs import open_blobs

    blobs = open_blobs(settings.blob_root, settings.s3_endpoint)
    name = f"files/doctor/{os.getpid()}"
    with tempfile.NamedTemporaryFile() as file:
        file.write(b"well")
        file.flush()
        blobs.put(name, Path(file.name))
    try:
        with blobs.open(name) as stored:
            if stored.read() != b"well":
                raise Wrong("what was stored came back different")
    finally:
        blobs.delete(name)
    return f"{settings.blob_root} takes, gives back and deletes"


def _page(settings: Settings) -> str:
    index = Path(__file__).resolve().parent.parent / "web" / "static" / "index.html"
    if not index.is_file():
        raise Wrong("the page is not built; `make serve` builds it. The API works without")
    return "built"


def _worker(settings: Settings) -> str:
    if importlib.util.find_spec("lintsvc_worker") is None:
        raise Wrong("the worker's package is not installed; `pip install .` from a clone installs it")
    if settings.rules:
        missing = [str(x) for x in settings.rule_folders if not x.is_dir()]
        if missing:
            raise Wrong(f"LINTSVC_RULES names folders that are not there: {', '.join(missing)}")
    return f"{settings.job_count} files at once, {settings.memory_mib} MiB for each"


def _fence(settings: Settings) -> str:
    tried = subprocess.run(
        [sys.executable, "-P", "-m", "lintsvc_worker.fence"], capture_output=True, text=True, timeout=30, check=False
    )
    if tried.returncode != 0:
        raise Wrong(f"the fence cannot be shut: {tried.stderr.strip().splitlines()[-1:]}")
    return tried.stdout.strip()
