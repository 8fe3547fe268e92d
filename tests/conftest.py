"""Shared by all tests: where the open corpus lies, when it is there."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

# Nothing in the tests is timed: a machine under load is no failure.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

REPOSITORY = Path(__file__).resolve().parent.parent
SHARED = REPOSITORY.parent / "shared"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out tests marked `needs_shared` where the corpus of real files is not beside the checkout."""
    if (SHARED / "corpus").is_dir():
        return
    left = [x for x in items if x.get_closest_marker("needs_shared") is None]
    out = [x for x in items if x.get_closest_marker("needs_shared") is not None]
    if out:
        config.hook.pytest_deselected(items=out)
        items[:] = left


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of real part files and reference values beside the checkout."""
    return SHARED


@pytest.fixture(scope="session")
def repository() -> Path:
    """The checkout."""
    return REPOSITORY
