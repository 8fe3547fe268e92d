from collections.abc import Iterator

from lintsvc.rulebook import Checked, Hit, Limit, Limits, Source, rule

MACHINE = Source(
    "common-practice",
    "Common practice: the usable build space of a usual mid-size machine, about 320 x 320 x 580 mm. "
    "Every shop has its own: ask for it and set it as the shop's limit.",
)


@rule(
    id="powder-bed/too-big",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="The part needs a box of {box} mm; its {side} side, {measured}, is over the {limit} of a usual machine.",
    remedy="Ask for a shop with a larger machine, or split the part at a joint that locates itself.",
    limits=(
        Limit("any", 580.0, "mm", MACHINE, name="longest"),
        Limit("any", 320.0, "mm", MACHINE, name="middle"),
        Limit("any", 320.0, "mm", MACHINE, name="shortest"),
    ),
    worse="above",
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Part larger than the build space.

    A part that does not fit the machine cannot be made in one piece.

    Measured: the sides of the box around the part that fits the build space best, however the part is laid on one
    of its faces and turned on it, across a diagonal of the floor too, but not across the diagonal of the space.
    Ignore when: the shop has a larger machine.
    """
    names = ("longest", "middle", "shortest")
    room = (limits["longest"].value, limits["middle"].value, limits["shortest"].value)
    sides = part.body.sides_of_box(room)
    over = {name: side / limits[name].value for name, side in zip(names, sides, strict=True)}
    worst = max(over, key=lambda name: over[name])
    if over[worst] > 1 + 1e-6:
        box = " x ".join(f"{side:.1f}" for side in sides)
        words = {"box": box, "side": worst}
        yield Hit(sides[names.index(worst)], part.body.everywhere(), limit=worst, words=words)
