"""One running service for all tests of this folder that do not break it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from service.running import Running


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """`lintsvc serve` with embedded Redis, SQLite and one worker."""
    running = Running(tmp_path_factory.mktemp("service") / "state", {"LINTSVC_REQUESTS_A_MINUTE": "0"}).start()
    try:
        running.wait_ready()
        yield running
    finally:
        assert running.stop() == 0, running.words()
        assert running.children() == []


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A state folder of this test's own."""
    return tmp_path / "state"
