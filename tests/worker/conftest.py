"""Warm processes for all tests of this folder that need them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from lintsvc_worker.zygote_client import ZygoteClient
from worker.packs import write_unruly


@pytest.fixture(scope="session")
def zygote(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ZygoteClient]:
    """Warm processes with the unruly pack beside the built-in ones. What is stopped or killed is started again."""
    packs = write_unruly(tmp_path_factory.mktemp("packs"))
    # The kernel for solids is loaded by the first test that needs it, and not beside every other.
    client = ZygoteClient({"LINTSVC_RULE_CODE": "on", "LINTSVC_RULES": str(packs), "LINTSVC_LATER_SECONDS": "100000"})
    client.start()
    yield client
    client.stop()
