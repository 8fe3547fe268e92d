"""Too little material between cutouts, or between a cutout and the edge."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule

#: Cut with a router or by water jet rather than by laser.
ROUTED = ("polycarbonate", "abs", "pvc", "fluoropolymer", "composite")
METALS = ("aluminium", "steel", "stainless", "copper", "brass")
LIMITS = (
    *(Limit(x, 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=0.5) for x in METALS),
    *(Limit(x, 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=1.0) for x in ("acrylic", "pom", "wood")),
    *(Limit(x, 1.0, "x thickness", COMMON_PRACTICE, at_least_mm=1.5) for x in ROUTED),
    Limit("soft", 0.75, "x thickness", COMMON_PRACTICE, at_least_mm=1.5),
)
HINGE = "two slits of a living hinge"


@rule(
    id="sheet/web-too-thin",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{webs} between {what} {be} {measured} thin; thinner than {limit} it burns, bends or breaks.",
    remedy="Leave {limit} of material, or join the two cutouts into one. Where the web carries load, leave twice that.",
    limits=LIMITS,
    needs=("material", "thickness"),
)
def web_too_thin(part: Checked, limit: float) -> Iterator[Hit]:
    """Web too thin.

    A strip of material thinner than the sheet is thick takes the heat of the cuts on both its sides: it melts,
    warps, chars, or breaks off when the part is handled.

    Cork, rubber, felt and cardboard are cut by knife or die, which drags a thin web along and tears it. The webs
    between the slits of a living hinge are meant to twist: they are told in one note.

    Measured: shortest way through the material from one contour to another, square to both, each place by
    itself; exact on circles, arcs and straight lines. Slits drawn as open lines are not counted.
    Ignore when: the web is a tab that holds the part in the sheet, or is meant to be broken out.
    """
    flat = part.outlined
    for group in flat.alike(flat.webs(limit), lambda x: x.width_mm, kind=flat.between):
        webs, be = ("The web", "is") if group.count == 1 else (f"{group.count:,} webs", "are")
        what = flat.between(group.members[0])
        hinge = what == HINGE
        yield Hit(
            group.value,
            group.where,
            words={"webs": webs, "be": be, "what": what},
            level="note" if hinge else None,
            remedy="Try the hinge on a scrap of the same sheet: how far it bends before it breaks no table says."
            if hinge
            else None,
        )
