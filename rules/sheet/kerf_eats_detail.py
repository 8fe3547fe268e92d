"""A detail finer than the kerf."""

from __future__ import annotations

import math
from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, CannotCheck, Checked, Hit, Limit, rule

METALS = ("aluminium", "steel", "stainless", "copper", "brass")
#: The middle of the usual kerf: 0.1 to 0.2 mm in metal to 3 mm, 0.3 to 0.5 mm above 10 mm, 0.15 to 0.30 mm in acrylic,
#: plywood and soft sheet.
LIMITS = (
    *(Limit(x, 0.15, "mm", COMMON_PRACTICE, thickness_mm=(0.0, 3.0)) for x in METALS),
    *(Limit(x, 0.28, "mm", COMMON_PRACTICE, thickness_mm=(3.001, 10.0)) for x in METALS),
    *(Limit(x, 0.4, "mm", COMMON_PRACTICE, thickness_mm=(10.001, 1000.0)) for x in METALS),
    *(Limit(x, 0.22, "mm", COMMON_PRACTICE) for x in ("acrylic", "pom", "wood", "soft")),
)
#: A point is as wide as the kerf this many kerfs behind its tip, or it counts as too sharp.
BEHIND = 2.0


@rule(
    id="sheet/kerf-eats-detail",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="{what} {measured} wide, less than the kerf of about {limit}: it will not be there in the cut part.",
    remedy="Make it several kerfs wide, or leave it out.",
    limits=LIMITS,
    cost="cosmetic",
    needs=("material", "thickness"),
)
def kerf_eats_detail(part: Checked, limit: float) -> Iterator[Hit]:
    """Detail finer than the kerf.

    The beam is a round tool as wide as its kerf. It can't enter a notch that is narrower, and burns away a bump
    or a point that is thinner.

    Measured: width of notches and bumps that are at most as deep as wide; for sharp points, in the material or
    the void, the width two kerfs behind the tip (narrower than the kerf for points sharper than 28°).
    Ignore when: the detail is only there because of how the file was made.
    """
    if part.cut == "knife":
        return  # a blade takes nothing away
    if part.cut != "laser":
        raise CannotCheck(f"only the kerf of a laser is known, not that of a {part.cut}")
    flat = part.outlined
    # Two kerfs behind a tip it is 4 k tan(a / 2) wide: less than the kerf k, whatever the kerf, below one angle.
    sharpest = 2.0 * math.degrees(math.atan(1.0 / (2.0 * BEHIND)))
    found = [(x.width_mm, x.where, x.side, "notch" if x.side == "void" else "bump") for x in flat.details(limit)]
    for tip in flat.tips:
        if tip.angle_deg < sharpest - 1e-6:
            width = 2.0 * BEHIND * limit * math.tan(math.radians(tip.angle_deg / 2.0))
            found.append((width, tip.where, tip.side, "sharp notch" if tip.side == "void" else "point"))
    for group in flat.alike(found, lambda x: x[0], place=lambda x: x[1], kind=lambda x: x[3]):
        name = group.members[0][3]
        plural = f"{name}es" if name.endswith("ch") else f"{name}s"
        what = f"A {name} is" if group.count == 1 else f"{group.of(name, plural)} are"
        yield Hit(group.value, group.where, words={"what": what})
