"""A running service that wants a token, for the client and for `check --server`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from service.running import Running

from lintsvc.store.database import Database
from lintsvc.store.tokens import make_token


@pytest.fixture(scope="session")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """`lintsvc serve` with a worker, and a token that may check; with a small pack of its own."""
    state = tmp_path_factory.mktemp("guarded") / "state"
    running = Running(state, {"LINTSVC_REQUESTS_A_MINUTE": "0", "LINTSVC_TOKENS": "required"})
    running.token = new_token(state, "tests")
    running.start()
    try:
        running.wait_ready()
        yield running
    finally:
        assert running.stop() == 0, running.words()


def new_token(state: Path, name: str) -> str:
    """Return a fresh token of the service with this state folder."""
    db = Database(f"sqlite:///{state / 'records.sqlite3'}")
    try:
        db.migrate()
        _, secret = make_token(db, name, frozenset({"check"}), None)
        return secret
    finally:
        db.dispose()
