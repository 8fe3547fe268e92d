"""A countersink too near to an edge."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="countersink/near-edge",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The rim of the countersink for {screw} lies {measured} from an edge; {limit} is the least.",
    remedy="Move the hole so that {limit} of sheet stays beside the head, or take a smaller screw.",
    limits=(Limit("any", 1.0, "x thickness", COMMON_PRACTICE),),
    needs=("thickness",),
    about="countersinks",
)
def near_edge(part: Checked, limit: float) -> Iterator[Hit]:
    """Countersink too near to an edge.

    The cone leaves a wedge of sheet towards the edge. A narrow one bulges when the screw is tightened, and is sharp.

    Measured: from the head's theoretical sharp rim to the nearest edge of the sheet or of another cutout
    (0 where the rim runs over the edge).
    Ignore when: the rim may break out at the edge.
    """
    for sunk in part.screws.countersunk:
        if sunk.row is None:
            continue
        own = sunk.hole.contour if sunk.hole else None
        found = part.screws.edge_gap(sunk.centre_mm, own, sunk.row.head_mm / 2 + limit)
        if found is None:
            continue
        gap = found[0] - sunk.row.head_mm / 2
        if gap < limit - 0.01:
            yield Hit(max(0.0, gap), sunk.where(found[1]), words={"screw": sunk.row.screw})
