"""A finding's fingerprint: the same for the same defect after a re-export, a move or a turn.

Made from the rule's id and what moving and turning a part does not change: the measured value and
how far the place lies from the middle of the part. Never from face or entity numbers, which a new
triangulation changes. Several alike on one part are counted off in a fixed order.
"""

from __future__ import annotations

import hashlib
import math

from lintsvc.model.finding import Quantity, Where
from lintsvc.rulebook.checked import Checked


class Fingerprinter:
    """Gives fingerprints for one part."""

    def __init__(self, part: Checked) -> None:
        self._part = part
        self._middle: tuple[float, float, float] | None = None
        self._seen: dict[str, int] = {}

    def of(self, rule: str, measured: Quantity | None, where: Where | None) -> str:
        """Return 16 hex digits."""
        key = rule
        if measured is not None:
            key += f"|{measured.value:.2g}{measured.unit}"
        if where is not None:
            key += f"|{round(math.dist(where.point, self._centre()) * 2) / 2:g}"
        count = self._seen.get(key, 0)
        self._seen[key] = count + 1
        return hashlib.sha256(f"{key}|{count}".encode()).hexdigest()[:16]

    def _centre(self) -> tuple[float, float, float]:
        if self._middle is None:
            if self._part.part.body is not None:
                self._middle = self._part.body.centre_mm
            else:
                x, y = self._part.flat.centre_mm
                self._middle = (x, y, 0.0)
        return self._middle
