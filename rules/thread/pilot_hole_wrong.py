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
    message="The hole for {thread} is drawn {measured} across; its tap drill is {limit}.",
    remedy="Draw the hole {limit} across ({drill}).",
    limits=(Limit("any", 0.05, "mm", GEOMETRY, name="same"),),
    worse="present",
    about="threads",
)
def pilot_hole_wrong(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Pilot hole of the wrong size.

    A hole at the nominal size of the thread leaves nothing to tap; one that is too wide leaves thin threads
    that strip; one that is too narrow breaks the tap. What is drawn is what is cut.

    Measured: diameter of the drawn hole against the handbook's tap drill. A hole within the standard's limits
    of the minor diameter is only noted; one that leaves half a thread or more is warned of.
    Ignore when: the thread is formed, not cut, or the shop has stated another pilot hole.
    """
    same = limits["same"].value
    for tapped in part.screws.tapped:
        thread = tapped.row
        if thread is None:
            continue
        if tapped.hole is None:
            yield Hit(
                where=tapped.where(),
                limit=None,
                message=f"There is no round hole where {tapped.said} is to be tapped.",
                remedy=f"Draw a hole of {thread.tap_drill.value:g} mm there, or correct the place of the thread.",
            )
            continue
        drill = thread.tap_drill
        off = tapped.diameter_mm - drill.value
        if abs(off) <= same:
            continue
        most = thread.minor_most
        within = most is not None and thread.minor_least.value <= tapped.diameter_mm <= most.value
        left = thread.percent_of_thread(tapped.diameter_mm)
        drawn = "The hole for {thread} is drawn {measured} across"
        if abs(tapped.diameter_mm - thread.diameter_mm) <= max(same, 0.02 * thread.diameter_mm):
            drawn += ", the thread's own size"
        elif off > 0 and not within:
            drawn += ", which leaves {left} of a full thread"
        yield Hit(
            tapped.diameter_mm,
            tapped.where(),
            limit=drill.value,
            limit_source=drill.source,
            words={"thread": thread.name, "drill": thread.tap_drill_name, "left": f"{max(0.0, left):.0f} %"},
            # Less than half of the turns' depth holds nothing; a narrow hole can still be drilled out.
            level="note" if within else None if left < HALF else "warning",
            message=drawn + "; its tap drill is {limit}.",
        )
