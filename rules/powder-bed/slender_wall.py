from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, rule


@rule(
    id="powder-bed/slender-wall",
    process="powder-bed",
    kind="body",
    level="note",
    since="0.1",
    message="Wall {thickness} mm thick stands {reach} mm from where it is held, {measured} times its thickness; "
    "over {limit} it leans or breaks.",
    remedy="Thicken the wall, add ribs or gussets, or tie its free rim to another wall. Ask how it lies in the build: "
    "lying down it leans less.",
    limits=(
        Limit("any", 25.0, "ratio", FROM_MEMORY),
        Limit("any", 3.0, "mm", FROM_MEMORY, name="thickness"),
    ),
    worse="above",
    cost="rework",
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Free-standing wall that is high for its thickness.

    A high thin wall bends while it cools and when the part is dug out and blasted. What it stands depends on how it
    lies in the build, which is not known here.

    Measured: for flat walls up to 3 mm thick with a free rim, the distance of the farthest point from other
    material that holds the wall, over its thickness. What stands out from the wall by no more than its thickness,
    or along less than a quarter of its lesser side, holds nothing.
    Ignore when: the wall is meant to bend, as a snap arm or a flap.
    """
    for panel in part.body.panels(limits["thickness"].value):
        ratio = panel.reach_mm / panel.thickness_mm
        if panel.free and ratio > limits["limit"].value * 1.005:
            words = {"reach": round(panel.reach_mm, 1), "thickness": round(panel.thickness_mm, 2)}
            yield Hit(round(ratio, 1), panel.where(), words=words)
