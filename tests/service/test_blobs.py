"""Blobs in a folder and in a bucket behave alike. The bucket is moto's S3 server, on loopback."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from parts.service_parts import box_stl
from service.running import Running

from lintsvc.store.blobs import Blobs, file_blob, made_blob, open_blobs


@pytest.fixture(scope="module")
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


@pytest.fixture(params=["folder", "bucket"])
def blobs(request: pytest.FixtureRequest, tmp_path: Path) -> Blobs:
    if request.param == "folder":
        return open_blobs(str(tmp_path / "blobs"))
    return open_blobs(f"s3://parts/{tmp_path.name}", request.getfixturevalue("s3"))


def test_what_is_put_comes_back_and_goes_when_deleted(blobs: Blobs, tmp_path: Path) -> None:
    source, copy = tmp_path / "source", tmp_path / "copy"
    source.write_bytes(bytes(range(256)) * 5000)
    name = made_blob()
    assert not blobs.has(name)
    blobs.put(name, source)
    assert blobs.has(name)
    with blobs.open(name) as file:
        assert file.read(10) == bytes(range(10))
        file.seek(0)
        assert file.read() == source.read_bytes()
    blobs.fetch(name, copy)
    assert copy.read_bytes() == source.read_bytes()
    assert list(blobs.names("made")) == [name]
    blobs.delete(name)
    blobs.delete(name)
    assert not blobs.has(name)
    with pytest.raises(FileNotFoundError):
        blobs.open(name).read()


def test_name_is_written_once(blobs: Blobs, tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.write_bytes(b"first")
    blobs.put(file_blob("ab" * 32), source)
    source.write_bytes(b"second")
    blobs.put(file_blob("ab" * 32), source)
    with blobs.open(file_blob("ab" * 32)) as file:
        assert file.read() == b"first"


def test_folder_gives_nothing_outside_of_it(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("x")
    store = open_blobs(str(tmp_path / "blobs"))
    for name in ("../secret", "/etc/passwd", "files/../../secret"):
        with pytest.raises(FileNotFoundError):
            store.open(name)


def test_put_that_fails_leaves_nothing(tmp_path: Path) -> None:
    store = open_blobs(str(tmp_path / "blobs"))
    with pytest.raises(FileNotFoundError):
        store.put("made/aa/x", tmp_path / "not there")
    assert [x for x in (tmp_path / "blobs").rglob("*") if x.is_file()] == []


def test_service_runs_on_a_bucket(s3: str, tmp_path: Path) -> None:
    environment = {"LINTSVC_BLOBS": "s3://parts/service", "LINTSVC_S3_ENDPOINT": s3}
    running = Running(tmp_path / "state", environment).start()
    try:
        running.wait_ready()
        check = running.check("box.stl", box_stl(20, 10, 5))
        assert check["report"]["parts"][0]["part"]["size_mm"] == [20, 10, 5]
        assert running.get(f"/api/v1/checks/{check['id']}/files/0/geometry").status == 200
        store = open_blobs("s3://parts/service", s3)
        assert len(list(store.names("files"))) == 1
        assert running.request("DELETE", f"/api/v1/checks/{check['id']}").status == 204
        assert list(store.names("")) == []
    finally:
        running.stop()
