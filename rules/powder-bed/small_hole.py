from collections.abc import Iterator

from lintsvc.rulebook import FROM_MEMORY, Checked, Hit, Limit, Limits, Source, patterns, rule, where_of_all

PA12 = Source(
    "common-practice",
    "Common practice, no standard states it: least diameter 1.0 mm through up to 3 mm, 1.5 mm through up to 6 mm, "
    "2.0 mm and more through thicker material; holes print 0.1 to 0.3 mm undersize.",
)

ALIKE = "{count} like holes {measured} across and {depth} mm deep; at this depth below {limit} they close up."


@rule(
    id="powder-bed/small-hole",
    process="powder-bed",
    kind="body",
    level="warning",
    since="0.1",
    message="Hole {measured} across and {depth} mm deep; at this depth below {limit} it closes up.",
    remedy="Open the hole to {limit} or more, or mark its place with a shallow dimple and drill it.",
    limits=tuple(
        Limit(material, value + more, "mm", source, name=name)
        for name, value in (("up to 3 mm deep", 1.0), ("up to 6 mm deep", 1.5), ("over 6 mm deep", 2.0))
        for material, more, source in (
            ("pa12", 0.0, PA12),
            ("pa11", 0.0, FROM_MEMORY),
            ("pa12-glass", 0.0, FROM_MEMORY),
            ("tpu", 0.5, FROM_MEMORY),
        )
    ),
    needs=("material",),
)
def check(part: Checked, limits: Limits) -> Iterator[Hit]:
    """Hole so small that it closes up.

    Heat from the walls sinters the powder in a small hole, the more the deeper it is. Even
    where a hole stays open it prints a little undersize, and by how much depends on how it lies in the build, which
    is not known here.

    Measured: the diameter of the circle through the corners of a round hole's facets, and its depth; for other
    holes in a flat face up to twice as long as wide the largest circle in their outline; for the rest the largest
    ball that passes. Three or more that are alike, of one body, are told once.
    Ignore when: the hole is only a mark, or is drilled after printing.
    """
    bores, openings = part.body.bores, part.body.openings
    solid = part.body.solids.of_face
    for holes in (bores, [x for x in openings if not x.long]):
        small = [x for x in holes if x.diameter_mm < limits[_by_depth(x.depth_mm)].value * 0.995]
        for same in patterns(
            small, lambda x: (x.diameter_mm, x.depth_mm), lambda x: (_by_depth(x.depth_mm), solid[x.faces[0]])
        ):
            where = where_of_all([x.where() for x in same])
            words = {"depth": same[0].depth_mm, "count": len(same)}
            message = ALIKE if len(same) > 1 else None
            yield Hit(same[0].diameter_mm, where, limit=_by_depth(same[0].depth_mm), words=words, message=message)
    known = [*bores, *openings]
    least = _by_depth(0.0)
    for place in part.body.narrow_places(limits[least].value):
        where = place.where()
        other = not place.slender or place.between_bodies or place.in_void or any(x.holds(where.point) for x in known)
        if not other and not place.slight(limits[least].value):
            yield Hit(place.width_mm, where, limit=least, words={"depth": place.length_mm}, sure=place.sure())


def _by_depth(depth_mm: float) -> str:
    """Name of the limit for a hole so deep."""
    return "up to 3 mm deep" if depth_mm <= 3.005 else "up to 6 mm deep" if depth_mm <= 6.005 else "over 6 mm deep"
