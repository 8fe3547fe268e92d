from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, FROM_MEMORY, Checked, Hit, Limit, Limits, rule


@rule(
    id="powder-bed/knife-edge",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="The edge runs out sharp at {angle}°: within {measured} of it the wall is under {wall} mm.",
    remedy="Cut the edge back to a blunt one of {wall} mm, or round it.",
    limits=(
        Limit("any", 1.5, "mm", FROM_MEMORY),
        Limit("pa12", 0.8, "mm", COMMON_PRACTICE, name="wall"),
        Limit("pa11", 0.8, "mm", FROM_MEMORY, name="wall"),
        Limit("pa12-glass", 1.0, "mm", FROM_MEMORY, name="wall"),
        Limit("tpu", 1.0, "mm", FROM_MEMORY, name="wall"),
    ),
    needs=("material",),
    worse="above",
    cost="cosmetic",
    caution="A sharp edge that does print can cut: break it, or cover it.",
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Edge that thins out to nothing.

    Near the edge the wall is thinner than the material prints, so the edge comes out ragged,
    short and rounded by about as much as the wall is too thin.

    Measured: how far from a sharp edge the wall is still thinner than the least wall.
    Ignore when: it does not matter where exactly the edge ends.
    """
    wall = limits["wall"].value
    for knife in part.body.knife_edges(wall):
        if knife.reach_mm > limits["limit"].value * 1.005 and knife.length_mm > knife.reach_mm:
            words = {"angle": round(knife.angle_deg), "wall": wall}
            yield Hit(knife.reach_mm, knife.where(), words=words)
