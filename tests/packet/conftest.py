"""The gauge's order and its packet, made once."""

from __future__ import annotations

import pytest
from parts import gauge_order

from lintsvc.packet.write import packet_files


@pytest.fixture(scope="session")
def order(tmp_path_factory):
    return gauge_order.checked(gauge_order.write_order(tmp_path_factory.mktemp("order")))


@pytest.fixture(scope="session")
def files(order) -> dict[str, bytes]:
    return packet_files(*order)
