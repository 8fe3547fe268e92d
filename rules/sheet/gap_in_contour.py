"""A gap in a contour, small enough to be joined."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, rule

#: Programs that read cut files join ends nearer than 0.01 to 0.1 mm (common practice): a gap below this is noted only.
ALWAYS_JOINED_MM = 0.01


@rule(
    id="sheet/gap-in-contour",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{gaps} up to {measured} wide {be} joined to close {contours}; ends are joined up to {limit} here.",
    remedy="Move the ends onto each other, so that every program sees a closed contour.",
    sources=(COMMON_PRACTICE,),
    worse="present",
    cost="rework",
)
def gap_in_contour(part: Checked) -> Iterator[Hit]:
    """Gap that was joined.

    Lines of the contour do not quite meet. Here the gap was closed; another program may join less, see an open
    line, and leave it out.

    Measured: distance between ends of following lines of a contour, above 0.0001 mm. Gaps up to 0.01 mm, which
    about every program joins, are noted together.
    Ignore when: the shop's program is known to join gaps of this width.
    """
    flat = part.flat
    limit = flat.drawing.curves.join_mm
    for hair in (False, True):
        some = [x for x in flat.gaps if (x.width_mm <= ALWAYS_JOINED_MM) is hair]
        groups = [flat.together(some, lambda x: x.width_mm, worst_high=True)] if hair and some else []
        if not hair:
            groups = flat.alike(some, lambda x: x.width_mm, kind=lambda x: x.contour, worst_high=True)
        for group in groups:
            contours = len({x.contour for x in group.members})
            yield Hit(
                group.value,
                group.where,
                limit,
                limit_source=COMMON_PRACTICE,
                words={
                    "gaps": group.of("gap"),
                    "be": "was" if group.count == 1 else "were",
                    "contours": "a contour" if contours == 1 else f"{contours:,} contours",
                },
                level="note" if hair else None,
            )
