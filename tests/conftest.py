"""Shared by all tests: where the open corpus lies, when it is there, and the broken files beside it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from parts.hostile_files import Hostile, hostile_files

# Nothing in the tests is timed: a machine under load is no failure. Where each change is tried (CI is set) a test has
# the same examples every time, so that nobody's change fails on an example that it did not bring; elsewhere new ones
# are looked for.
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("untimed-same", settings.get_profile("untimed"), derandomize=True, database=None)
settings.load_profile("untimed-same" if os.environ.get("CI") else "untimed")

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


@pytest.fixture(scope="session")
def hostile(shared: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Hostile]:
    """Broken and hostile files by the names in their index."""
    folder = tmp_path_factory.getbasetemp()
    # The processes of one run share the folder above.
    return hostile_files(shared / "corpus", folder.parent if "PYTEST_XDIST_WORKER" in os.environ else folder)
