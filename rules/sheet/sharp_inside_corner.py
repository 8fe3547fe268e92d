"""An inside corner sharper than the beam can cut."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, CannotCheck, Checked, Hit, Limit, rule

METALS = ("aluminium", "steel", "stainless", "copper", "brass")
#: Half of the middle of the usual kerf: 0.1 to 0.2 mm in metal to 3 mm, 0.3 to 0.5 mm above 10 mm, 0.15 to 0.30 mm in
#: acrylic, plywood and soft sheet.
LIMITS = (
    *(Limit(x, 0.075, "mm", COMMON_PRACTICE, thickness_mm=(0.0, 3.0)) for x in METALS),
    *(Limit(x, 0.14, "mm", COMMON_PRACTICE, thickness_mm=(3.001, 10.0)) for x in METALS),
    *(Limit(x, 0.2, "mm", COMMON_PRACTICE, thickness_mm=(10.001, 1000.0)) for x in METALS),
    *(Limit(x, 0.11, "mm", COMMON_PRACTICE) for x in ("acrylic", "pom", "wood", "soft")),
)
BRITTLE = frozenset({"acrylic"})


@rule(
    id="sheet/sharp-inside-corner",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{corners} drawn with a radius of {measured}; the beam leaves about {limit}.",
    remedy="Round it by the sheet's thickness where it carries load; where a square corner must fit in, cut a relief.",
    limits=LIMITS,
    worse="present",
    cost="rework",
    needs=("material", "thickness"),
)
def sharp_inside_corner(part: Checked, limit: float) -> Iterator[Hit]:
    """Inside corner sharper than the beam.

    A round beam leaves half of its kerf as a radius in an inside corner, so that a square edge does not seat in
    it. Stress gathers there: acrylic cracks from sharp inside corners, metal fatigues.

    Measured: radius of inside corners of the edge that turn by 40° or more, against half the usual kerf. All
    of a part are one finding: a note, and in brittle sheet (acrylic) a warning. A knife leaves no radius; what a
    router's cutter or a jet of water leaves depends on its size, which only the shop knows.
    Ignore when: nothing square goes into the corner, and it carries no load.
    """
    if part.cut == "knife":
        return
    if part.cut != "laser":
        raise CannotCheck(f"only the beam of a laser is known, not how wide a {part.cut} cuts")
    flat = part.outlined
    sharp = [x for x in flat.inside_corners if x.radius_mm < limit - flat.exact_mm]
    if not sharp:
        return
    group = flat.together(sharp, lambda x: x.radius_mm)
    brittle = part.material is not None and part.material.family in BRITTLE
    corners = "An inside corner is" if group.count == 1 else f"{group.of('inside corner')} are"
    yield Hit(group.value, group.where, words={"corners": corners}, level=None if brittle else "note")
