"""Panels of the folded part that run into each other."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule


@rule(
    id="bend/folded-collision",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="Folded, two panels run into each other ({measured} of sheet in one place).",
    remedy="Turn one of the bends the other way, shorten a panel, or cut out where they meet.",
    sources=(GEOMETRY,),
    worse="above",
    needs=("thickness",),
    impossible=True,
    about="bends",
)
def folded_collision(part: Checked) -> Iterator[Hit]:
    """Panels that run into each other when the part is folded.

    What lies side by side in the flat may lie in one place once it is folded: flanges that meet in a corner,
    a return that reaches the base. The last bend then stops short, or one panel dents the other.

    Measured: volume that two folded panels share, each shrunk by 0.05 mm all around; panels that share a bend,
    and the bends themselves, are not looked at.
    Ignore when: the panels are meant to spring against each other.
    """
    zones = {zone.number: zone for zone in part.bending.zones}
    for hit in part.panel_collisions:
        bends = [zones[i] for i in part.folded.bends_of(hit.panels)]
        yield Hit(
            hit.overlap_mm3,
            part.bending.where(*bends, at=hit.flat[0]),
            limit=None,
            unit="mm3",
            sure=min((zone.sure for zone in zones.values()), default=1.0),
        )
