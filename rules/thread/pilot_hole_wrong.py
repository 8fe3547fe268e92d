"""A hole to be tapped that is not drawn at the tap drill's size."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, Limit, Limits, rule

#: Percent of a full thread below which a thread is as good as none (common practice: 50 to 75 are cut).
HALF = 50.0


@rule(
    id="thread/pilot-hole-wrong",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="{holes} for {thread} {drawn} {measured} across{which}; the tap drill is {limit}.",
    remedy="Draw {limit} across{drill}.",
    limits=(Limit("any", 0.05, "mm", GEOMETRY, name="same"),),
    worse="present",
    about="threads",
)
def pilot_hole_wrong(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Pilot hole of the wrong size.

    A hole at the nominal size of the thread leaves nothing to tap; one that is too wide leaves thin threads
    that strip; one that is too narrow breaks the tap. What is drawn is what is cut.

    Measured: diameter of the drawn hole against the handbook's tap drill; where the shop's file says what holes came
    out at, the diameter that comes out. A hole within the standard's limits of the minor diameter is only noted; one
    that leaves half a thread or more is warned of.
    Ignore when: the thread is formed, not cut, or the shop has stated another pilot hole.
    """
    same = limits["same"].value
    came = part.came_out("hole")
    off = 0.0 if came is None else came.offset
    wrong = []
    for tapped in part.screws.tapped:
        if tapped.row is None:
            continue
        if tapped.hole is None:
            yield Hit(
                where=tapped.where(),
                limit=None,
                message=f"There is no round hole where {tapped.said} is to be tapped.",
                remedy=f"Draw a hole of {tapped.row.tap_drill.value:g} mm there, or correct the place of the thread.",
            )
        elif abs(tapped.diameter_mm + off - tapped.row.tap_drill.value) > same:
            wrong.append((tapped, tapped.row))
    for group in part.flat.alike(
        wrong, lambda x: x[0].diameter_mm, place=lambda x: x[0].where(), kind=lambda x: x[1].name
    ):
        thread, drill = group.members[0][1], group.members[0][1].tap_drill
        most = thread.minor_most
        made = group.value + off
        within = most is not None and thread.minor_least.value <= made <= most.value
        left = thread.percent_of_thread(made)
        which = ""
        if abs(group.value - thread.diameter_mm) <= max(same, 0.02 * thread.diameter_mm):
            which = ", the thread's own size"
        elif made > drill.value and not within:
            which = f", which leaves {max(0.0, left):.0f} % of a full thread"
        if came is not None:
            which += f", and {'comes' if group.count == 1 else 'come'} out {made:.3g} mm"
        yield Hit(
            group.value,
            group.where,
            limit=drill.value,
            limit_source=drill.source,
            remedy=None if came is None else "Draw {right} mm across{drill}. {shown}",
            words={
                "thread": thread.name,
                "drill": "" if thread.metric else f" (drill {thread.tap_drill_name})",
                "holes": "The hole" if group.count == 1 else group.of("hole"),
                "drawn": "is drawn" if group.count == 1 else "are drawn",
                "which": which,
                "right": f"{drill.value - off:.3g}",
                "shown": "" if came is None else came.source.text,
            },
            # Less than half of the turns' depth holds nothing; a narrow hole can still be drilled out.
            level="note" if within else None if left < HALF else "warning",
        )
