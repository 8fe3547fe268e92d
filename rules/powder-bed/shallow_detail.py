from collections.abc import Iterator

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
    message="{kind} detail {measured} {way}, {length} mm of it; below {limit} it is lost in the grain of the surface.",
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
    a stroke of a few tenths blurs, and blasting or smoothing takes it away.

    Measured: the height of steps between an outside and an inside corner, the same all along; and the width of
    strokes no deeper than wide.
    Ignore when: the step is no mark but a shoulder that only has to be there roughly.
    """
    for detail in part.body.details(limits["depth"].value):
        if detail.height_mm < limits["depth"].value * 0.995 and detail.length_mm > SHORTEST_MM:
            kind, way = ("Raised", "high") if detail.raised else ("Sunk", "deep")
            words = {"kind": kind, "way": way, "length": round(detail.length_mm, 1)}
            yield Hit(detail.height_mm, detail.where(), limit="depth", words=words)
    stroke = limits["stroke"].value
    for kind, places in (("Raised", part.body.thin_places(stroke)), ("Sunk", part.body.narrow_places(stroke))):
        for place in places:
            stroke_like = place.low and place.straight and not place.round and not place.in_void
            if stroke_like and place.width_mm > THINNEST_MM and not place.slight(stroke):
                words = {"kind": kind, "way": "wide", "length": round(place.length_mm, 1)}
                yield Hit(place.width_mm, place.where(), limit="stroke", words=words, sure=place.sure())
