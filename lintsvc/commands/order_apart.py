"""The rules of orders in a process of their own: solids are cut and meshed there, and a kernel may crash.

A copy of this process does it, so that nothing has to be sent there. Where no copies can be made it is done here.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import traceback
from collections.abc import Iterable
from typing import TYPE_CHECKING

from lintsvc.model.finding import NotChecked
from lintsvc.model.report import OrderReport, Seconds
from lintsvc.rulebook.adjust import Adjustments
from lintsvc.rulebook.rule import Rule

if TYPE_CHECKING:
    from lintsvc.order.check import CheckedOrder


def check_apart(order: CheckedOrder, rules: Iterable[Rule], adjustments: Adjustments) -> OrderReport:
    """Return the order's entry of the report; where its process ended early, one in which nothing was checked."""
    from lintsvc.order.check import check_order
    from lintsvc.reports.json_report import order_to_dict

    rules = [x for x in rules if "order" in x.kinds]
    # A copy of a process with the system's own libraries loaded is not safe on a Mac.
    if not hasattr(os, "fork") or sys.platform == "darwin":
        return check_order(order, rules, adjustments=adjustments)
    read, write = os.pipe()
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            os.close(read)
            data = json.dumps(order_to_dict(check_order(order, rules, adjustments=adjustments))).encode()
            with os.fdopen(write, "wb") as out:
                out.write(data)
            status = 0
        except BaseException:  # noqa: BLE001 - nothing of this copy may go on beyond here
            traceback.print_exc()
            sys.stderr.flush()
        finally:
            os._exit(status)
    os.close(write)
    try:
        with os.fdopen(read, "rb") as back:
            data = back.read()
    except BaseException:
        os.kill(child, signal.SIGKILL)
        raise
    finally:
        status = os.waitpid(child, 0)[1]
    found = entry_of(data) if status == 0 else None
    return _lost(order, rules, status) if found is None else found


def entry_of(data: bytes) -> OrderReport | None:
    """Return an order's entry from its JSON; None for what is none."""
    from lintsvc.reports.json_report import from_dict

    try:
        return from_dict({"schema": "1", "made_by": "", "parts": [], "order": json.loads(data)}).order
    except ValueError:
        return None


def _lost(order: CheckedOrder, rules: list[Rule], status: int) -> OrderReport:
    code = os.waitstatus_to_exitcode(status)
    how = f"by signal {signal.Signals(-code).name}" if code < 0 else f"with status {code}"
    why = f"the process that put the order together ended {how}: its parts are checked by themselves only"
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
