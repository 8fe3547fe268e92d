"""A short run of the fuzzing in bench/fuzz.py: damaged files are read or refused, and nothing else comes of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts.fuzzing import READERS, Corpus, seeds
from parts.reading import read_bytes

from lintsvc.model.part import Unreadable


@pytest.fixture(scope="module")
def begin_with(repository: Path) -> dict[str, list[bytes]]:
    return seeds(repository)


@pytest.mark.parametrize("reader", READERS)
def test_damaged_files_are_read_or_refused(reader: str, begin_with: dict[str, list[bytes]], tmp_path: Path) -> None:
    assert begin_with[reader], "a reader without a file to begin with"
    corpus = Corpus(begin_with[reader], 20)
    for _ in range(60):
        data = corpus.next()
        try:
            part = read_bytes(tmp_path, data)
        except Unreadable as error:
            assert error.why
            corpus.learn(data, error.why)
            continue
        assert part.body is not None or part.sheet is not None
        corpus.learn(data, part.kind)
    # A run that meets one outcome only damages nothing, or too much.
    assert corpus.kinds > 3


@pytest.mark.parametrize("far", ["1e306", "5e307", "1e308"])
def test_curve_as_long_as_numbers_go_is_refused(far: str, tmp_path: Path) -> None:
    # Found by the fuzzing: bend over tolerance was more than a number can hold.
    path = f'<path d="M0 0 C{far} 0 -{far} 1 9 9 Z" fill="none" stroke="black"/>'
    with pytest.raises(Unreadable):
        read_bytes(tmp_path, f'<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm">{path}</svg>'.encode())
