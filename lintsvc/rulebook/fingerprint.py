"""A finding's fingerprint: the same for the same defect after a re-export, a move, a turn, a new triangulation.

Made from the rule's id and what none of these change much: the measured value, in steps of a tenth, and how
far the place lies from the middle of the part, in steps of about two centimetres. Never from face or entity
numbers. Several alike on one part are counted off, so that the set of fingerprints of a part stays the same
whatever order they come in. `tests/rulebook/test_fingerprints.py` holds how many survive on planted faults.
"""

from __future__ import annotations

import hashlib
import math

from lintsvc.model.finding import Point3, Quantity, Where
from lintsvc.rulebook.checked import Checked

#: Values within a tenth of each other mostly have one step. A round value, 1 or 0.8, lies well inside of one.
_VALUE_STEP = math.log(1.1)
#: Designs have round sizes: neither the step nor its start may be round, or many places would lie on an edge.
_PLACE_STEP_MM, _PLACE_START_MM = 17.31, 4.13
_NOTHING = 1e-6


class Fingerprinter:
    """Gives fingerprints for one part."""

    def __init__(self, part: Checked) -> None:
        self._flat = part.part.kind == "sheet" and part.choices.process != "powder-bed"
        self._part = part
        self._middle: Point3 | None = None
        self._seen: dict[str, int] = {}

    def of(self, rule: str, measured: Quantity | None, where: Where | None, parts: tuple[str, ...] = ()) -> str:
        """Return 16 hex digits. `parts` is for orders."""
        key = rule
        if measured is not None:
            key += f"|{_step(measured.value)}{measured.unit}"
        if where is not None:
            distance = math.dist(self._place(where), self._centre())
            key += f"|{math.floor((distance + _PLACE_START_MM) / _PLACE_STEP_MM)}"
        count = self._seen.get(key, 0)
        self._seen[key] = count + 1
        return hashlib.sha256(f"{key}|{count}".encode()).hexdigest()[:16]

    def _place(self, where: Where) -> Point3:
        """The steadiest place of a finding: on a flat its point; on a body the middle of its box, because the
        thinnest point of an even wall is anywhere on it."""
        if self._flat:
            return where.point
        (ax, ay, az), (bx, by, bz) = where.box
        return ((ax + bx) / 2, (ay + by) / 2, (az + bz) / 2)

    def _centre(self) -> Point3:
        if self._middle is None:
            if self._flat:
                x, y = self._part.flat.centre_mm
                self._middle = (x, y, 0.0)
            else:
                self._middle = self._part.body.centre_mm
        return self._middle


class OrderFingerprinter:
    """Gives fingerprints for an order: by the parts that a finding is about, and its value in steps."""

    def __init__(self) -> None:
        self._seen: dict[str, int] = {}

    def of(self, rule: str, measured: Quantity | None, where: Where | None, parts: tuple[str, ...] = ()) -> str:
        """Return 16 hex digits."""
        key = "|".join((rule, *parts))
        if measured is not None:
            key += f"|{_step(measured.value)}{measured.unit}"
        count = self._seen.get(key, 0)
        self._seen[key] = count + 1
        return hashlib.sha256(f"{key}|{count}".encode()).hexdigest()[:16]


def _step(value: float) -> str:
    """Return a value in steps of a tenth, with its sign."""
    if abs(value) < _NOTHING:
        return "0"
    return f"{'-' if value < 0 else ''}{round(math.log(abs(value)) / _VALUE_STEP)}"
