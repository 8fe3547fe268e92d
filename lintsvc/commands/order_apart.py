"""The rules of orders, and the packet, in a process of their own: solids are cut and meshed there, which may crash."""

from __future__ import annotations

import json
import pickle
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, BinaryIO

from lintsvc.child_process import Answer, in_a_copy
from lintsvc.model.finding import NotChecked
from lintsvc.model.report import OrderReport, Seconds
from lintsvc.rulebook.adjust import Adjustments
from lintsvc.rulebook.rule import Rule

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder


def check_apart(order: CheckedOrder, rules: Iterable[Rule], adjustments: Adjustments) -> OrderReport:
    """Return the order's entry of the report; where its process ended early, one in which nothing was checked."""
    from lintsvc.order.check import check_order
    from lintsvc.reports.json_report import order_to_dict

    rules = [x for x in rules if "order" in x.kinds]
    answer = in_a_copy(
        lambda out: out.write(json.dumps(order_to_dict(check_order(order, rules, adjustments=adjustments))).encode())
    )
    if answer is None:
        return check_order(order, rules, adjustments=adjustments)
    found = entry_of(answer.data) if answer.status == 0 else None
    return _lost(order, rules, answer) if found is None else found


def packet_apart(make: Callable[[], Mapping[str, bytes]]) -> Mapping[str, bytes]:
    """Return the files that `make` makes. Raises PacketError: its own, and where its process ended early."""
    from lintsvc.packet.write import PacketError

    def work(out: BinaryIO) -> None:
        try:
            pickle.dump(dict(make()), out)
        except PacketError as error:
            pickle.dump(str(error), out)

    answer = in_a_copy(work)
    if answer is None:
        return make()
    if answer.status != 0:
        said = f" ({answer.data.decode('utf-8', 'replace')})" if answer.status > 0 else ""
        raise PacketError(f"the process that made the packet ended {answer.how}{said}: no packet was made")
    found = pickle.loads(answer.data)  # noqa: S301 - from the copy of this process that it started
    if isinstance(found, str):
        raise PacketError(found)
    files: Mapping[str, bytes] = found
    return files


def entry_of(data: bytes) -> OrderReport | None:
    """Return an order's entry from its JSON; None for what is none."""
    from lintsvc.reports.json_report import from_dict

    try:
        return from_dict({"schema": "1", "made_by": "", "parts": [], "order": json.loads(data)}).order
    except ValueError:
        return None


def _lost(order: CheckedOrder, rules: list[Rule], answer: Answer) -> OrderReport:
    said = f" ({answer.data.decode('utf-8', 'replace')})" if answer.status > 0 else ""
    why = f"the process that put the order together ended {answer.how}{said}: its parts are checked by themselves only"
    return OrderReport(
        file=order.name,
        sha256=order.sha256,
        process=None,
        material=None,
        thickness=None,
        part=None,
        findings=(),
        not_checked=tuple(NotChecked(x.id, why, failed=True) for x in rules),
        seconds=Seconds(),
        format="order",
        name=order.order.order.name,
    )
