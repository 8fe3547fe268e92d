"""The format is told by content; what is not read is named, with what to send instead."""

from __future__ import annotations

import gzip
import hashlib
from pathlib import Path

import pytest
from parts import meshfiles as made
from parts.reading import read_bytes, read_file

from lintsvc.model.part import Unreadable
from lintsvc.readers.content import clean_name, sha256_of

VERTICES, FACES = made.box()


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"\x89PNG\r\n\x1a\n" + bytes(40), "PNG"),
        (b"\xff\xd8\xff\xe0" + bytes(40), "JPEG"),
        (b"%PDF-1.7\n1 0 obj", "PDF"),
        (b"<!doctype html><script>alert(1)</script>", "HTML"),
        (b"\xef\xbb\xbf\n <html><body>", "HTML"),
        (gzip.compress(made.binary_stl(VERTICES, FACES)), "gzip"),
        (b"AC1032\0\0\0\0" + bytes(range(200)), "DWG"),
        ((" " * 72 + "S      1\n" + "1H,,1H;," + " " * 64 + "G      1\n").encode(), "IGES"),
        (b'<?xml version="1.0"?><iso_10303_28 xmlns="urn:x"/>', "STEP in XML"),
        (b'<?xml version="1.0"?><amf unit="inch"/>', "AMF"),
        (b"7z\xbc\xaf\x27\x1c" + bytes(30), "7z"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "compound document"),
        (b"G21\nG90\nG1 X10 Y10\n", "machine code"),
        (b'{ "a": 1 }', "JSON"),
        (b"some words that mean nothing\n", "no format"),
        (b"x", "no format"),
        (bytes(range(128, 256)) * 20, "no format"),
        (b"", "empty"),
        (b" \r\n\t" * 300, "blank"),
        (bytes(2000), "blank"),
    ],
)
def test_files_that_are_not_read_are_named(tmp_path: Path, data: bytes, what: str) -> None:
    with pytest.raises(Unreadable, match=what) as caught:
        read_bytes(tmp_path, data)
    assert caught.value.remedy


def test_name_does_not_matter(tmp_path: Path) -> None:
    for name, data in (
        ("part.step", made.binary_stl(VERTICES, FACES)),
        ("part.stl", made.threemf(made.model_xml(f'<object id="1">{made.mesh_xml(VERTICES, FACES)}</object>'))),
        ("part", made.ply(VERTICES, FACES.tolist())),
        ("part.png", made.obj(VERTICES, FACES).encode()),
    ):
        path = tmp_path / name
        path.write_bytes(data)
        assert read_file(path).size_mm == (10, 20, 30)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(Unreadable, match="no such file"):
        sha256_of(tmp_path / "none")
    with pytest.raises(Unreadable, match="folder"):
        read_file(tmp_path)


def test_hash_is_that_of_the_bytes(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    # FIPS 180-4 example: SHA-256 of "abc".
    assert sha256_of(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert sha256_of(tmp_path / "a") == hashlib.sha256(b"abc").hexdigest()


def test_names_lose_control_characters_and_length() -> None:
    assert clean_name("a\x1b[31m\n\u202eb") == "a [31m  b"
    assert len(clean_name("n" * 10**6)) == 120
