from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Source, rule

CLOSED = Source("handbook", "Follows from the geometry: the hollow has no opening.")


@rule(
    id="powder-bed/trapped-powder",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="Closed hollow of {measured}: the powder in it cannot get out.",
    remedy="Give the hollow two holes of 3.5 to 5 mm or more on opposite sides, or make it solid.",
    sources=(CLOSED,),
    worse="present",
    cost="rework",
    caution=(
        "Fine nylon powder irritates and its dust can burn explosively in air: do not open a filled hollow by "
        "sawing or drilling without extraction; follow the shop's safety sheet."
    ),
)
def check(part: Checked) -> Iterator[Hit]:
    """Hollow without an opening.

    A hollow prints full of powder. Without a way out the powder stays: the part is as heavy as
    a solid one, weaker, and spills powder when it is cut or drilled.

    Measured: the volume of each closed shell that faces inward, inside a solid.
    Ignore when: the powder is meant to stay, as in a sealed weight.
    """
    for void in part.body.voids:
        yield Hit(void.volume_mm3, void.where(), limit=None, unit="mm3")
