"""The connection to the records: SQLite for one machine, PostgreSQL for many."""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Float, cast, create_engine, event, func, literal, select, text
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.sql.elements import ColumnElement

log = logging.getLogger(__name__)

#: So long a writer waits for its turn.
_PATIENCE_SECONDS = 20.0
MIGRATIONS = Path(__file__).with_name("migrations")


class Database:
    """Transactions on the records. Make one a process; it is safe for threads.

    `durable` False: a power cut may take the last changes back. For workers, whose work is then done once more;
    what a sender was told is never among them. (Only SQLite knows the difference.)
    """

    def __init__(self, url: str, *, durable: bool = True) -> None:
        self.url = url
        self.lite = url.startswith("sqlite")
        # SQLite has one writer at a time, and whoever finds it busy sleeps and looks again: threads of one process
        # take turns here instead, in the order in which they came.
        self._turn = threading.Lock() if self.lite else None
        if self.lite:
            path = Path(url.partition("///")[2])
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            self.engine = create_engine(url, connect_args={"timeout": _PATIENCE_SECONDS, "check_same_thread": False})
            _set_up_sqlite(self.engine, durable=durable)
        else:
            self.engine = create_engine(
                url,
                pool_size=10,
                max_overflow=30,
                pool_timeout=10,
                pool_pre_ping=True,
                connect_args={"connect_timeout": 5},
            )
        self._writing = self.engine.execution_options(lintsvc_writes=True)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that only reads."""
        with self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that writes. On SQLite it waits here for its turn, not at its first write."""
        with self._its_turn(), self._writing.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def _its_turn(self) -> Iterator[None]:
        if self._turn is None:
            yield
            return
        if not self._turn.acquire(timeout=_PATIENCE_SECONDS):
            raise PoolTimeout(f"the records were busy for {_PATIENCE_SECONDS:g} s")
        try:
            yield
        finally:
            self._turn.release()

    @property
    def now(self) -> ColumnElement[float]:
        """The time as the records know it: the server's clock where there are several machines."""
        if self.lite:
            return literal(time.time())
        return cast(func.extract("epoch", func.clock_timestamp()), Float(53))

    def clock(self, connection: Connection) -> float:
        """`now` as a number."""
        return time.time() if self.lite else float(connection.execute(select(self.now)).scalar_one())

    def migrate(self) -> None:
        """Bring the tables to this version's shape."""
        from alembic import command

        with self.engine.connect() as connection:
            if not self.lite:
                # Several processes may start at once: one migrates, the others wait.
                connection.execute(text("select pg_advisory_lock(7130531)"))
                connection.commit()
            try:
                config = alembic_config()
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
                connection.commit()
            finally:
                if not self.lite:
                    connection.rollback()
                    connection.execute(text("select pg_advisory_unlock(7130531)"))
                    connection.commit()

    def forget_deleted(self) -> None:
        """Leave nothing of what was deleted in SQLite's log of changes, which is written over only in time.

        Where somebody reads at this instant, it is left for the next time.
        """
        if not self.lite:
            return
        connection = self.engine.raw_connection()
        try:
            cursor = connection.cursor()
            cursor.execute("pragma busy_timeout=0")
            with suppress(sqlite3.OperationalError):
                cursor.execute("pragma wal_checkpoint(truncate)")
            cursor.execute(f"pragma busy_timeout={_PATIENCE_SECONDS * 1000:.0f}")
        finally:
            connection.close()

    def dispose(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def alembic_config() -> Any:
    """Alembic's settings for the migrations in this package."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    # Revisions are named by number: `0001` is easier to talk about than a hash.
    config.set_main_option("file_template", "%%(rev)s_%%(slug)s")
    return config


def _set_up_sqlite(engine: Engine, *, durable: bool) -> None:
    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        # The driver's own transaction handling begins late; ours is explicit, in _on_begin.
        connection.isolation_level = None
        sync = "full" if durable else "normal"
        patience = f"busy_timeout={_PATIENCE_SECONDS * 1000:.0f}"
        # What is deleted is written over, whatever this SQLite was built to do.
        for pragma in ("journal_mode=wal", f"synchronous={sync}", "foreign_keys=on", patience, "secure_delete=on"):
            connection.execute(f"pragma {pragma}")

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        # A transaction that reads first and writes later can be refused half-way; so writers queue at the start.
        writes = connection.get_execution_options().get("lintsvc_writes", False)
        connection.exec_driver_sql("begin immediate" if writes else "begin")
