from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, Source, rule

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: printed-in-place clearance 0.5 mm; 0.4 mm between short faces, "
    "0.6 mm between long ones.",
)

#: Faces shorter than the first are short, longer than the second long; from memory.
SHORT_MM = 10.0
LONG_MM = 50.0
#: Nearer than this, bodies touch.
TOUCH_MM = 0.01
TOUCHING = "Two bodies touch over {length} x {breadth} mm: they fuse together; {limit} keeps them apart."


@rule(
    id="powder-bed/narrow-clearance",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="Two bodies are {measured} apart over {length} x {breadth} mm{facets}; below {limit} they fuse together.",
    remedy="Give them {limit} or more all round, or print them apart and fit them with 0.2 to 0.3 mm a side.",
    limits=tuple(
        Limit(material, value + more, "mm", source, name=name)
        for name, value in (("short", 0.4), ("usual", 0.5), ("long", 0.6))
        for material, more, source in (
            ("pa12", 0.0, PA12),
            ("pa11", 0.0, FROM_MEMORY),
            ("pa12-glass", 0.1, FROM_MEMORY),
            ("tpu", 0.1, FROM_MEMORY),
        )
    ),
    needs=("material",),
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Bodies of one file too close to come apart.

    Bodies that are printed in place, such as hinge halves or a captive ball, must move afterwards. Powder
    between faces that are too close sinters and holds them. Bodies that are only laid out beside
    each other fuse just as well. How the part lies in the build is not known here: the limits are for every
    direction.

    Measured: the diameter of the largest ball that touches two separate bodies; the limit by the
    length of the faces: up to 10 mm short, over 50 mm long.
    Ignore when: the bodies are meant to be one: then join them in the model.
    """
    told = set()
    # Bodies that lie on each other are told by soundness/overlapping-bodies; of curved faces a hair's gap is left
    # between the facets of one and the other.
    contacts, solid = part.body.soundness.contacts, part.body.solids.of_face
    touching = set(zip(solid[contacts.first].tolist(), solid[contacts.second].tolist(), strict=True))
    for place in part.body.narrow_places(limits["long"].value):
        # Two bodies are told once, where they are nearest.
        if not place.between_bodies or place.solids in told:
            continue
        if place.width_mm < TOUCH_MM and (place.solids in touching or place.solids[::-1] in touching):
            continue
        name = "short" if place.length_mm < SHORT_MM else "long" if place.length_mm > LONG_MM else "usual"
        limit = limits[name].value
        if place.width_mm < limit * 0.995 and not place.slight(limit):
            told.add(place.solids)
            message = TOUCHING if place.width_mm < TOUCH_MM else None
            yield Hit(
                place.width_mm, place.where(), limit=name, words=place.words(), sure=place.sure(), message=message
            )
