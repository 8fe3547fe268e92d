"""An edge of the outline so near to a bend that the bend pulls it out of shape."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="bend/edge-near-bend",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="The outline comes within {measured} of a bend; nearer than {limit} its edge bulges.",
    remedy="Move the edge to {limit} from where the bend ends ({from_line} mm from the bend line), "
    "or cut it past the bend so that the bend stops there.",
    limits=(Limit("any", 2.0, "x thickness", COMMON_PRACTICE),),
    cost="rework",
    needs=("thickness",),
    about="bends",
)
def edge_near_bend(part: Checked, limit: float) -> Iterator[Hit]:
    """Edge of the outline too near to a bend.

    A notch or a slanting edge that comes near to a bend has no sheet left to rest on the die there; the
    edge curls and the angle opens. A flange that is too short all along is another matter.

    Measured: from the outline to the end of the bend zone, where that is less than the limit along less than
    half of the bend; sides that slant away from an end of the bend at 27° or more do not count.
    Ignore when: the edge may bulge, and the angle there does not matter.
    """
    for zone, near in part.bending.edges_near(limit - 0.01):
        yield Hit(
            near.gap_mm,
            part.bending.where(zone, span=near.span),
            words={"from_line": zone.half_mm + limit},
            sure=zone.sure,
        )
