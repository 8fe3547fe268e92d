"""A slot or cutout too narrow to be cut cleanly."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule

#: Cut with a router or by water jet rather than by laser; a slot is no narrower than the cutter.
ROUTED = ("polycarbonate", "abs", "pvc", "fluoropolymer", "composite")
METALS = ("aluminium", "steel", "stainless", "copper", "brass")
#: As for round holes: the pierce in it is as wide.
LIMITS = (
    *(Limit(x, 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=0.5) for x in METALS),
    Limit("stainless", 1.2, "x thickness", COMMON_PRACTICE, thickness_mm=(6.001, 1000.0)),
    *(Limit(x, 0.5, "x thickness", COMMON_PRACTICE, at_least_mm=0.5) for x in ("acrylic", "pom")),
    Limit("wood", 0.5, "x thickness", COMMON_PRACTICE, at_least_mm=1.0),
    *(Limit(x, 0.5, "x thickness", COMMON_PRACTICE, at_least_mm=2.0) for x in ROUTED),
    Limit("soft", 0.5, "x thickness", COMMON_PRACTICE, at_least_mm=1.0),
)


@rule(
    id="sheet/slot-too-narrow",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{slots} {measured} wide; narrower than {limit} it is hard to cut in this sheet.",
    remedy="Widen it to {limit}, or draw a single line where a slit as wide as the kerf will do.",
    limits=LIMITS,
    cost="rework",
    needs=("material", "thickness"),
)
def slot_too_narrow(part: Checked, limit: float) -> Iterator[Hit]:
    """Slot too narrow.

    Both edges of a narrow slot are heated at once, and what is cut out has no room to drop: it welds in, the
    edges char or melt, and the pierce is wider than the slot.

    Measured: shortest way across the void between two stretches of one contour, square to both, where it is
    deeper than wide; else the widest circle that fits in a cutout. Round holes and shallow notches have rules of
    their own; the mouth of a round relief is no slot where the relief itself is wide enough.
    Ignore when: the slot is a relief that may be as ragged as it likes.
    """
    flat = part.outlined
    for group in flat.alike(flat.narrow_slots(limit), lambda x: x.width_mm, kind=lambda x: x.whole):
        name = "cutout" if group.members[0].whole else "slot"
        slots = f"A {name} is" if group.count == 1 else f"{group.of(name)} are"
        yield Hit(group.value, group.where, words={"slots": slots})
