from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, Source, rule

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: text with strokes of 0.5 mm, 2 to 3 mm high, 0.5 mm deep; "
    "engraved reads better than raised.",
)

#: A step with less of an outline is a corner, no mark.
SHORTEST_MM = 2.0
#: A stroke as thin as this is no mark but a flaw of the file.
THINNEST_MM = 0.05


@rule(
    id="powder-bed/shallow-detail",
    process="powder-bed",
    kind="body",
    level="note",
    since="0.1",
    message="{kind} detail {measured} {way}{places}, {length} mm of it; below {limit} it is lost in the grain of the "
    "surface.",
    remedy="Make the detail {limit} or more, sunk rather than raised.",
    limits=tuple(
        Limit(material, value, "mm", source, name=name)
        for name in ("depth", "stroke")
        for material, value, source in (
            ("pa12", 0.5, PA12),
            ("pa11", 0.5, FROM_MEMORY),
            ("pa12-glass", 0.6, FROM_MEMORY),
            ("tpu", 0.8, FROM_MEMORY),
        )
    ),
    needs=("material",),
    cost="cosmetic",
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Raised or sunk detail too fine to show.

    The grain of a sintered surface is about a tenth of a millimetre and its edges round off: a step or
    a stroke of a few tenths blurs, and blasting or smoothing takes it away. How it shows also depends on how it
    lies in the build, which is not known here: the limits are for every direction.

    Measured: the height of steps between an outside and an inside corner, the same all along, square to the faces
    above and below, which look the same way; and the width of
    strokes no deeper than wide. What is alike is told once, at its lowest or narrowest place.
    Ignore when: the step is no mark but a shoulder that only has to be there roughly.
    """
    groups: dict[tuple[str, int], list[Any]] = {}
    for detail in part.body.details(limits["depth"].value):
        if detail.height_mm < limits["depth"].value * 0.995 and detail.length_mm > SHORTEST_MM:
            kind = "Raised" if detail.raised else "Sunk"
            same = next((x for x in groups if x[0] == kind and _alike(groups[x][0], detail)), (kind, len(groups)))
            groups.setdefault(same, []).append(detail)
    for (kind, _), alike in groups.items():
        words: dict[str, object] = {"kind": kind, "way": "high" if kind == "Raised" else "deep"}
        words |= {"length": round(sum(x.length_mm for x in alike), 1), "places": _places(alike)}
        yield Hit(alike[0].height_mm, _all(alike), limit="depth", words=words)
    stroke = limits["stroke"].value
    for kind, places in (("Raised", part.body.thin_places(stroke)), ("Sunk", part.body.narrow_places(stroke))):
        strokes = [x for x in places if _is_stroke(x, stroke) and not x.slight(stroke)]
        if kind == "Sunk":
            # A hole is no mark, however near its ends are.
            strokes = [x for x in strokes if not any(y.holds(x.where().point) for y in part.body.openings)]
        if strokes:
            words = {"kind": kind, "way": "wide", "places": _places(strokes)}
            words |= {"length": round(sum(x.length_mm for x in strokes), 1)}
            yield Hit(strokes[0].width_mm, _all(strokes), limit="stroke", words=words, sure=strokes[0].sure())


def _is_stroke(place: Any, limit: float) -> bool:
    like_one: bool = place.low and place.straight and not place.round and not place.in_void
    # A wall of the limit that goes round an edge in few facets is narrower there, by no more than these are off it.
    return like_one and THINNEST_MM < place.width_mm < limit - place.chord_mm


def _alike(one: Any, other: Any) -> bool:
    """Details of one height have one cause."""
    return bool(other.height_mm <= one.height_mm * 1.05)


def _places(found: list[Any]) -> str:
    return f" in {len(found)} places" if len(found) > 1 else ""


def _all(found: list[Any]) -> Any:
    """Where the first is, with the faces of all."""
    where = [x.where() for x in found]
    faces = sorted({f for x in where for f in x.faces})
    return replace(where[0], faces=tuple(faces)) if len(found) > 1 else where[0]
