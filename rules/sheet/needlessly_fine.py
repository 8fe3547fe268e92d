"""A contour drawn with far more points than it needs."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import COMMON_PRACTICE, Checked, Hit, Limit, rule


@rule(
    id="sheet/needlessly-fine",
    process="sheet",
    kind="sheet",
    level="warning",
    since="0.1",
    message="A contour is drawn with {drawn} points; {needed} would keep it within 0.01 mm, {measured} times fewer.",
    remedy="Export curves as arcs or splines, or with a tolerance of about 0.01 mm.",
    limits=(Limit("any", 10.0, "ratio", COMMON_PRACTICE),),
    worse="above",
    cost="cosmetic",
)
def needlessly_fine(part: Checked, limit: float) -> Iterator[Hit]:
    """Contour of too many tiny pieces.

    The head slows down at every point. Thousands of tiny lines make it crawl: the edge burns and turns rough,
    and the cut takes longer and costs more. Such contours come from traced pictures or meshes.

    Measured: points drawn against points needed to keep the contour within 0.01 mm (a tenth of the thinnest
    kerf), for contours of a thousand points or more. Splines and ellipses are not counted.
    Ignore when: the shop's program fits arcs to the points.
    """
    fine = [x for x in part.flat.fine_contours if x.drawn > limit * x.needed]
    for group in part.flat.alike(fine, lambda x: x.drawn / x.needed, worst_high=True):
        worst = max(group.members, key=lambda x: x.drawn / x.needed)
        words = {"drawn": f"{worst.drawn:,}", "needed": f"{worst.needed:,}", "contours": group.of("contour")}
        message = None
        if group.count > 1:
            message = "{contours} are drawn with up to {drawn} points, {measured} times more than needed."
        yield Hit(group.value, group.where, words=words, message=message)
