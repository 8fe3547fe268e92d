"""A round hole too small to be cut cleanly."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule

#: Cut with a router or by water jet rather than by laser; small holes are drilled.
ROUTED = ("polycarbonate", "abs", "pvc", "fluoropolymer", "composite")
METALS = ("aluminium", "steel", "stainless", "copper", "brass")
#: Where the trade gives a range (aluminium, copper and brass 1.0 to 1.5 times), its lower end is taken.
LIMITS = (
    *(Limit(x, 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=0.5) for x in METALS),
    Limit("stainless", 1.2, "x thickness", COMMON_PRACTICE, thickness_mm=(6.001, 1000.0)),
    *(Limit(x, 0.5, "x thickness", COMMON_PRACTICE, at_least_mm=0.5) for x in ("acrylic", "pom")),
    Limit("wood", 0.5, "x thickness", COMMON_PRACTICE, at_least_mm=1.0),
    *(Limit(x, 0.5, "x thickness", COMMON_PRACTICE, at_least_mm=1.0) for x in ROUTED),
    Limit("soft", 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=1.5),
)


@rule(
    id="sheet/hole-too-small",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{holes} {measured} across; smaller than {limit} it is hard to cut in this sheet.",
    remedy="Make it {limit} or larger, or have it drilled after cutting.",
    limits=LIMITS,
    cost="rework",
    needs=("material", "thickness"),
)
def hole_too_small(part: Checked, limit: float) -> Iterator[Hit]:
    """Round hole too small for the sheet.

    Piercing melts a spot about as wide as the sheet is thick. A smaller hole comes out as that spot: tapered,
    with dross, out of round. Holes in plastic and wood melt and char shut.

    Measured: diameter of round holes, by the true circle or arcs; for a circle drawn as a polygon, of the
    circle through its corners. In mild steel below 6 mm some shops go down to half the thickness.
    Ignore when: the hole is a mark for drilling, or the shop says that it cuts it.
    """
    flat = part.flat
    small = [x for x in part.meant.holes if x.diameter_mm < limit - flat.exact_mm]
    for group in flat.alike(small, lambda x: x.diameter_mm):
        holes = "A hole is" if group.count == 1 else f"{group.of('hole')} are"
        exact = all(x.exact for x in group.members)
        yield Hit(group.value, group.where, words={"holes": holes}, sure=1.0 if exact else 0.9)
