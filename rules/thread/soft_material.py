"""A thread cut into a material that does not hold one."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, rule


@rule(
    id="thread/soft-material",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{thread} is to be cut into {material}: {why}.",
    remedy="{instead}",
    sources=(COMMON_PRACTICE,),
    worse="present",
    needs=("material",),
    about="threads",
)
def soft_material(part: Checked) -> Iterator[Hit]:
    """Thread in a material that does not hold it.

    Cork, rubber, felt and cardboard have no turns to speak of; plywood and MDF crumble; acrylic cracks at the
    thread's root; layers of glass or carbon plate part. Soft copper strips when the screw is tightened twice.

    Measured: the family of the sheet's material.
    Ignore when: the screw is only a locating pin, or an insert is set afterwards.
    """
    if part.material is None:
        return
    nut = "Put a nut and washers on the other side, or press in an insert made for this material."
    through = "Draw a clearance hole and use a nut, or a threaded insert glued or heated in."
    held = {
        "soft": ("it has no turns to hold", nut),
        "wood": ("the turns crumble", "Use a wood screw, a T-nut or a screwed-in insert."),
        "acrylic": ("it cracks at the root of the thread", through),
        "composite": ("its layers part and the turns break out", through),
        "copper": ("soft turns strip after a few uses", "Use a press-in nut, or a nut behind the sheet."),
    }.get(part.material.family)
    if held is None:
        return
    for group in part.flat.alike(part.screws.tapped, lambda x: 0.0, place=lambda x: x.where(), kind=lambda x: x.said):
        first = group.members[0]
        yield Hit(
            where=group.where,
            words={
                "thread": first.row.name if first.row else first.said,
                "material": part.material.name,
                "why": held[0],
                "instead": held[1],
            },
        )
