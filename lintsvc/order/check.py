"""The run of the rules of orders."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable

from lintsvc.model.finding import NotChecked
from lintsvc.model.report import OrderReport, Seconds
from lintsvc.order.checked import CheckedOrder
from lintsvc.order.shown import shown
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments, adjust
from lintsvc.rulebook.engine import run_on
from lintsvc.rulebook.fingerprint import OrderFingerprinter
from lintsvc.rulebook.rule import Rule


def check_order(
    checked: CheckedOrder,
    rules: Iterable[Rule],
    *,
    adjustments: Adjustments = NO_ADJUSTMENTS,
    on_rule: Callable[[str], None] | None = None,
) -> OrderReport:
    """Run the rules of orders and return the order's entry of the report. `on_rule` is told each rule's id first."""
    started = time.perf_counter()
    mine = adjust([x for x in rules if "order" in x.kinds], adjustments, None, None)
    outcome = run_on(mine.rules, checked, OrderFingerprinter(), on_rule=on_rule)
    facts = shown(checked)
    return OrderReport(
        file=checked.name,
        sha256=checked.sha256,
        process=None,
        material=None,
        thickness=None,
        part=None,
        findings=outcome.findings,
        not_checked=(
            *outcome.not_checked,
            *(NotChecked(rule, f"switched off: {place}") for rule, place in mine.off.items()),
        ),
        seconds=Seconds(rules=round(time.perf_counter() - started, 4)),
        format="order",
        assumed=facts.assumed,
        notes=facts.notes,
        checked=outcome.checked,
        name=checked.order.order.name,
        mass_g=facts.mass_g,
        centre_mm=facts.centre_mm,
        tip_deg=facts.tip_deg,
        placed=facts.placed,
        relations=facts.relations,
        stiffness=facts.stiffness,
        costs=facts.costs,
    )
