"""Running services for all tests of this folder that do not break them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from service.deployed import Deployed, deployed_in
from service.postgres import Postgres
from service.running import Running
from sqlalchemy import text

from lintsvc.store.database import Database


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


@pytest.fixture(scope="session")
def idle(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A service without a worker: its checks stay where they are."""
    running = Running(
        tmp_path_factory.mktemp("idle") / "state",
        {"LINTSVC_REQUESTS_A_MINUTE": "0", "LINTSVC_WORKERS": "0", "LINTSVC_UPLOAD_IDLE_SECONDS": "2"},
    ).start()
    try:
        yield running
    finally:
        assert running.stop() == 0, running.words()


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A state folder of this test's own."""
    return tmp_path / "state"


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """One PostgreSQL cluster for all tests of the records."""
    server = Postgres()
    yield server
    server.stop()


@pytest.fixture(scope="session")
def s3() -> Iterator[str]:
    """Address of an S3 server with the bucket `parts`."""
    from moto.server import ThreadedMotoServer

    keys = {"AWS_ACCESS_KEY_ID": "test", "AWS_SECRET_ACCESS_KEY": "test", "AWS_DEFAULT_REGION": "us-east-1"}
    before = {name: os.environ.get(name) for name in keys}
    os.environ.update(keys)
    server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    address = f"http://{host}:{port}"
    import fsspec

    fsspec.filesystem("s3", client_kwargs={"endpoint_url": address}).mkdir("parts")
    yield address
    server.stop()
    for name, value in before.items():
        if value is None:
            os.environ.pop(name, None)
        else:
            os.environ[name] = value


@pytest.fixture(scope="session")
def deployed(s3: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Deployed]:
    """The service on PostgreSQL, an S3 store and a Redis of its own, quick to notice deaths and slow files."""
    quick = {"LINTSVC_LEASE_SECONDS": "3", "LINTSVC_RESEND_SECONDS": "1", "LINTSVC_REQUESTS_A_MINUTE": "0",
             "LINTSVC_STEP_SECONDS": "6", "LINTSVC_FILE_SECONDS": "20", "LINTSVC_MEMORY_MIB": "1024"}  # fmt: skip
    with deployed_in(tmp_path_factory.mktemp("deployed"), s3, quick) as made:
        yield made


@pytest.fixture(params=["sqlite", "postgresql"])
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """Records without tables."""
    if request.param == "sqlite":
        db = Database(f"sqlite:///{tmp_path / 'records.sqlite3'}")
    else:
        server: Postgres = request.getfixturevalue("postgres")
        db = Database(server.url.replace("postgresql://", "postgresql+psycopg://"))
        with db.engine.connect() as connection:
            connection.execute(text("drop schema public cascade"))
            connection.execute(text("create schema public"))
            connection.commit()
    yield db
    db.dispose()


@pytest.fixture
def db(empty: Database) -> Database:
    """Records with this version's tables."""
    empty.migrate()
    return empty
