"""Rules for tests of reports and of the command, with every kind of metadata."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, GEOMETRY, Checked, Hit, Limit, Rule, Source, rule
from lintsvc.rulebook.rule import rule_of

HANDBOOK = Source("handbook", "Design notes for powder-bed nylon, table of walls", checked="2026-01-15")


@rule(
    id="powder-bed/thin-wall",
    process="powder-bed",
    kind="body",
    level="error",
    since="0.1",
    message="A wall is {measured} thick; {limit} is the least.",
    remedy="Make the wall at least {limit} thick.",
    limits=(Limit("pa12", 0.8, "mm", HANDBOOK), Limit("tpu", 1.5, "mm", HANDBOOK)),
    needs=("material",),
    caution="Fine powder: keep it out of eyes and lungs.",
)
def thin_wall(part: Checked, limit: float) -> Iterator[Hit]:
    """Wall too thin to print.

    A thin wall breaks when the powder is blown off, or <warps> as it cools.

    Measured: the largest ball inside the body that touches both sides.
    Ignore when: the wall is a film meant to be cut away.
    """
    yield from ()


@rule(
    id="sheet/hole-too-small",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The hole is {measured} across.",
    remedy="Open the hole to {limit}, or drill it after cutting.",
    limits=(
        Limit("steel", 1.0, "x thickness", COMMON_PRACTICE, thickness_mm=(0.5, 6.0), at_least_mm=1.0),
        Limit("any", 1.5, "x thickness", COMMON_PRACTICE),
    ),
)
def hole_too_small(part: Checked, limit: float) -> Iterator[Hit]:
    """Hole narrower than the sheet can be cut cleanly.

    Measured: hole diameter against a multiple of the thickness.
    Ignore when: the hole is drilled later.
    """
    yield from ()


@rule(
    id="soundness/open-edge",
    process="any",
    kind="body",
    level="warning",
    since="0.1",
    message="An edge is open over {measured}.",
    remedy="Close the surface there.",
    sources=(GEOMETRY,),
    worse="present",
)
def open_edge(part: Checked) -> Iterator[Hit]:
    """Surface with an open edge.

    Measured: edges that only one face has.
    Ignore when: never.
    """
    yield from ()


def sample_rules() -> tuple[Rule, ...]:
    """The rules of this file."""
    found = tuple(rule_of(x) for x in (thin_wall, hole_too_small, open_edge))
    return tuple(x for x in found if x is not None)
