"""A tapped hole too near to an edge."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, Limits, rule


@rule(
    id="thread/near-edge",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The middle of {thread} lies {measured} from an edge; nearer than {limit} the edge bulges or breaks out.",
    remedy="Move the hole {limit} from the edge, middle to edge, or widen the sheet there.",
    limits=(Limit("any", 1.5, "diameters", COMMON_PRACTICE),),
    about="threads",
)
def near_edge(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Tapped hole too near to an edge.

    Tapping and the tightened screw press outwards. A thin rim gives way, and the turns on that side no longer hold.

    Measured: from the middle of the hole to the nearest edge of the sheet or of another cutout, against one
    and a half times the thread's diameter.
    Ignore when: the screw carries next to nothing.
    """
    factor = limits["limit"]
    for tapped in part.screws.tapped:
        if tapped.row is None:
            continue
        limit = factor.value * tapped.row.diameter_mm
        found = part.screws.edge_gap(tapped.centre_mm, tapped.hole.contour if tapped.hole else None, limit)
        if found is not None and found[0] < limit - 0.01:
            yield Hit(
                found[0],
                tapped.where(found[1]),
                limit=limit,
                limit_source=factor.source,
                words={"thread": tapped.row.name},
            )
