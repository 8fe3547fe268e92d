"""The rank of a finding, 0 to 100: the one place of the formula.

    rank = (level + past + cost) * (0.75 + 0.25 * sure)

    level  error 65, warning 40, note 10
    past   20 * how far past the limit, as a share of the limit, at most 1;
           10 where there is no limit to be past
    cost   scrap 15, rework 8, cosmetic 0
    sure   how sure the measurement is, 0 to 1

A doubtful error can rank below a sure one, never below a note. Weights are the project's own
judgement; `tests/rulebook/test_rank.py` holds the order that they are meant to give.
"""

from __future__ import annotations

from lintsvc.model.finding import Cost, Level

LEVEL_POINTS: dict[Level, float] = {"error": 65.0, "warning": 40.0, "note": 10.0}
COST_POINTS: dict[Cost, float] = {"scrap": 15.0, "rework": 8.0, "cosmetic": 0.0}


def how_far_past(measured: float | None, limit: float | None, worse: str) -> float:
    """Return how far a value is past its limit as a share of the limit, 0 to 1; 0.5 without a limit."""
    if measured is None or limit is None or worse == "present":
        return 0.5
    distance = limit - measured if worse == "below" else measured - limit
    if distance <= 0:
        return 0.0
    if limit == 0:
        return 1.0
    return min(1.0, distance / abs(limit))


def rank(level: Level, measured: float | None, limit: float | None, worse: str, cost: Cost, sure: float) -> float:
    """Return the rank, rounded to one decimal."""
    points = LEVEL_POINTS[level] + 20.0 * how_far_past(measured, limit, worse) + COST_POINTS[cost]
    return round(points * (0.75 + 0.25 * min(1.0, max(0.0, sure))), 1)
