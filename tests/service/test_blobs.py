"""Blobs in a folder and in a bucket behave alike. The bucket is moto's S3 server, on loopback."""

from __future__ import annotations

from pathlib import Path

import pytest

from lintsvc.store.blobs import Blobs, file_blob, made_blob, open_blobs


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


def test_bucket_is_made_where_it_is_missing_and_a_store_that_is_away_is_told(s3: str) -> None:
    store = open_blobs("s3://not-there-yet/x", s3)
    assert not store.reachable()
    store.prepare()
    store.prepare()
    assert store.reachable()
    assert not open_blobs("s3://parts/x", "http://127.0.0.1:9").reachable()
