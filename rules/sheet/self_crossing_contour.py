"""A contour that crosses or touches itself, or branches."""

from __future__ import annotations

from collections.abc import Iterator

from lintsvc.rulebook import GEOMETRY, Checked, Hit, rule

#: Length around the thinnest kerf (0.1 mm): a loop shorter than this vanishes in the cut.
SMALL_LOOP_MM = 0.3


@rule(
    id="sheet/self-crossing-contour",
    process="sheet",
    kind="sheet",
    level="error",
    since="0.1",
    message="A contour {does} itself at {places}.",
    remedy="Draw the contour so that it runs around the part once, without crossing or touching itself.",
    sources=(GEOMETRY,),
    worse="present",
    impossible=True,
)
def self_crossing_contour(part: Checked) -> Iterator[Hit]:
    """Contour that crosses itself.

    Where a contour crosses itself, inside and outside change places: a piece falls off, or is left standing.
    Where three or more lines meet in a point there are several ways around, and programs choose differently.

    Measured: places where lines of one contour cross or touch other than end to end, and points where more
    than two ends meet. A touch, a branch, and loops of less than 0.3 mm around are warned of: the part can be
    cut, but maybe not as it was meant.
    Ignore when: parts share a cut line on purpose, and the shop reads such files.
    """
    if part.flat.trouble:
        yield Hit(limit=None, message=part.flat.trouble, remedy="Send the cut lines of the part alone.")
        return
    for found in part.flat.self_crossings:
        places = "1 place" if found.places == 1 else f"{found.places:,} places"
        if found.branch:
            yield Hit(
                found.places,
                found.where,
                None,
                "count",
                words={"places": places},
                message="Lines branch at {places}: more than two ends meet there.",
                remedy="Draw each contour as one closed line; put lines that are not cut on a layer of their own.",
                level="warning",
            )
        else:
            does = "crosses" if found.crosses else "touches"
            message = None
            level = None if found.crosses else "warning"
            if found.crosses and found.loop_mm < SMALL_LOOP_MM:
                message = "A contour {does} itself at {places}, in loops shorter than a kerf is round."
                level = "warning"
            words = {"does": does, "places": places}
            yield Hit(found.places, found.where, None, "count", words=words, message=message, level=level)
