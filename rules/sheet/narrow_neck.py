"""A neck or tongue of material too thin to survive."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule

#: Cut with a router or by water jet rather than by laser.
ROUTED = ("polycarbonate", "abs", "pvc", "fluoropolymer", "composite")
METALS = ("aluminium", "steel", "stainless", "copper", "brass")
#: As for webs between contours.
LIMITS = (
    *(Limit(x, 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=0.5) for x in METALS),
    *(Limit(x, 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=1.0) for x in ("acrylic", "pom", "wood")),
    *(Limit(x, 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=1.5) for x in ROUTED),
    Limit("soft", 0.75, "x thickness", COMMON_PRACTICE, at_least_mm=1.5),
)


@rule(
    id="sheet/narrow-neck",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{necks} {measured} wide; narrower than {limit} it burns, bends or breaks.",
    remedy="Widen it to {limit}; where it carries load, to twice that, with rounded inside corners.",
    limits=LIMITS,
    needs=("material", "thickness"),
)
def narrow_neck(part: Checked, limit: float) -> Iterator[Hit]:
    """Neck too narrow.

    A neck or tongue narrower than the sheet is thick is heated from both sides and has little strength left.

    Measured: shortest way through the material between two stretches of one contour, square to both, where it
    is longer than wide. Shallow bumps are left to the rule on the kerf.
    Ignore when: the neck is a tab to be broken off, or a spring that is meant to be that thin.
    """
    flat = part.outlined
    for group in flat.alike(flat.necks(limit), lambda x: x.width_mm):
        necks = "A neck of the part is" if group.count == 1 else f"{group.of('neck')} of the part are"
        yield Hit(group.value, group.where, words={"necks": necks})
