"""A thread in sheet that is too thin for it."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, Limits, rule


@rule(
    id="thread/engagement-too-short",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{thread}{times} in {measured} of sheet has {turns} turns; {limit} of sheet is the least.",
    remedy="Take a finer or smaller thread, thicker sheet, a press-in or rivet nut, or a loose nut behind the sheet.",
    limits=(
        Limit("any", 3.0, "pitches", COMMON_PRACTICE, name="metal"),
        Limit("any", 2.0, "diameters", COMMON_PRACTICE, name="plastic"),
    ),
    needs=("thickness",),
    about="threads",
    caution="Few turns strip before the screw breaks: such a thread is not for parts that hold a load over people.",
)
def engagement_too_short(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Too little thread engaged.

    A tapped hole in sheet has as many turns as the sheet is thick. Below three the screw tilts and the turns
    strip at a fraction of its strength; plastics need twice the screw's diameter. Full strength takes one
    diameter in steel and one and a half to two in aluminium.

    Measured: the sheet's thickness against three pitches in metal, two diameters in plastic.
    Ignore when: the hole is flanged before tapping, or the screw only keeps a cover in place.
    """
    metals = ("aluminium", "steel", "stainless", "copper", "brass")
    plastic = part.material is not None and part.material.family not in metals
    thickness = part.thickness_mm or 0.0
    held = limits["plastic" if plastic else "metal"]

    short = []
    for tapped in part.screws.tapped:
        if tapped.row is not None:
            needed = held.value * (tapped.row.diameter_mm if plastic else tapped.row.pitch_mm)
            if thickness < needed - 0.01:
                short.append((tapped, tapped.row, needed))
    for group in part.flat.alike(short, lambda x: thickness, place=lambda x: x[0].where(), kind=lambda x: x[1].name):
        _, thread, needed = group.members[0]
        yield Hit(
            thickness,
            group.where,
            limit=needed,
            limit_source=held.source,
            words={
                "thread": thread.name,
                "turns": f"{thickness / thread.pitch_mm:.1f}",
                "times": "" if group.count == 1 else f" ({group.of('hole')})",
            },
        )
