"""Do the references of a STEP file lead to the right kind of thing (ISO 10303-42)?

The kernel believes that they do and crashes where they don't, so the geometry and topology that make
up a solid are looked at first. Only what a solid is built of stands in the table; other definitions pass.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lintsvc.model.part import Unreadable
from lintsvc.readers.step_statements import Bools, Ints, Pieces, Statements

_CURVES = frozenset(b"LINE CIRCLE ELLIPSE HYPERBOLA PARABOLA POLYLINE PCURVE CONIC CLOTHOID INTERSECTION_CURVE".split())
_SURFACES = frozenset(b"PLANE SURFACE SURFACE_OF_LINEAR_EXTRUSION SURFACE_OF_REVOLUTION SURFACE_OF_TRANSLATION".split())


def _is(*names: bytes) -> Callable[[bytes], bool]:
    allowed = frozenset(names)
    return lambda name: name in allowed


def _curve(name: bytes) -> bool:
    ends = name.endswith((b"_CURVE", b"_CURVE_WITH_KNOTS", b"CURVE_2D", b"CURVE_3D"))
    return name in _CURVES or (ends and name != b"EDGE_CURVE")


def _surface(name: bytes) -> bool:
    return name in _SURFACES or name.endswith((b"_SURFACE", b"_SURFACE_WITH_KNOTS"))


def _representation(name: bytes) -> bool:
    return name.endswith(b"REPRESENTATION") and not name.endswith(_NO_REPRESENTATION)


_POINT = _is(
    b"CARTESIAN_POINT", b"POINT", b"POINT_ON_CURVE", b"POINT_ON_SURFACE", b"DEGENERATE_PCURVE", b"POINT_REPLICA"
)
_DIRECTION, _VECTOR = _is(b"DIRECTION"), _is(b"VECTOR")
_VERTEX = _is(b"VERTEX_POINT", b"VERTEX")
_EDGE = _is(b"EDGE_CURVE", b"EDGE", b"ORIENTED_EDGE", b"SUBEDGE", b"SEAM_EDGE")
_ORIENTED_EDGE = _is(b"ORIENTED_EDGE", b"EDGE_CURVE", b"SEAM_EDGE")
_LOOP = _is(b"EDGE_LOOP", b"VERTEX_LOOP", b"POLY_LOOP", b"LOOP")
_BOUND = _is(b"FACE_BOUND", b"FACE_OUTER_BOUND")
_FACE = _is(b"ADVANCED_FACE", b"FACE_SURFACE", b"FACE", b"ORIENTED_FACE", b"SUBFACE")
_SHELL = _is(b"CLOSED_SHELL", b"OPEN_SHELL", b"ORIENTED_CLOSED_SHELL", b"ORIENTED_OPEN_SHELL", b"CONNECTED_FACE_SET")
_PLACE = _is(b"AXIS2_PLACEMENT_3D")
_ANY_PLACE = _is(b"AXIS2_PLACEMENT_3D", b"AXIS2_PLACEMENT_2D")
_NO_REPRESENTATION = (b"CONTEXT_DEPENDENT_SHAPE_REPRESENTATION", b"_DEFINITION_REPRESENTATION")

_Check = Callable[[bytes], bool]
#: Name -> the kinds that its references are in their order, and the kind of all further ones.
_TABLE: dict[bytes, tuple[tuple[_Check, ...], _Check | None]] = {
    b"VECTOR": ((_DIRECTION,), None),
    b"LINE": ((_POINT, _VECTOR), None),
    b"CIRCLE": ((_ANY_PLACE,), None),
    b"ELLIPSE": ((_ANY_PLACE,), None),
    b"AXIS1_PLACEMENT": ((_POINT, _DIRECTION), None),
    b"AXIS2_PLACEMENT_2D": ((_POINT, _DIRECTION), None),
    b"AXIS2_PLACEMENT_3D": ((_POINT, _DIRECTION, _DIRECTION), None),
    b"PLANE": ((_PLACE,), None),
    b"CYLINDRICAL_SURFACE": ((_PLACE,), None),
    b"CONICAL_SURFACE": ((_PLACE,), None),
    b"SPHERICAL_SURFACE": ((_PLACE,), None),
    b"TOROIDAL_SURFACE": ((_PLACE,), None),
    b"DEGENERATE_TOROIDAL_SURFACE": ((_PLACE,), None),
    b"SURFACE_OF_LINEAR_EXTRUSION": ((_curve, _VECTOR), None),
    b"SURFACE_OF_REVOLUTION": ((_curve, _is(b"AXIS1_PLACEMENT")), None),
    b"B_SPLINE_CURVE": ((), _POINT),
    b"B_SPLINE_CURVE_WITH_KNOTS": ((), _POINT),
    b"BEZIER_CURVE": ((), _POINT),
    b"QUASI_UNIFORM_CURVE": ((), _POINT),
    b"UNIFORM_CURVE": ((), _POINT),
    b"POLYLINE": ((), _POINT),
    b"B_SPLINE_SURFACE": ((), _POINT),
    b"B_SPLINE_SURFACE_WITH_KNOTS": ((), _POINT),
    b"BEZIER_SURFACE": ((), _POINT),
    b"QUASI_UNIFORM_SURFACE": ((), _POINT),
    b"PCURVE": ((_surface,), None),
    b"SURFACE_CURVE": ((_curve,), None),
    b"SEAM_CURVE": ((_curve,), None),
    b"INTERSECTION_CURVE": ((_curve,), None),
    b"TRIMMED_CURVE": ((_curve,), None),
    b"VERTEX_POINT": ((_POINT,), None),
    b"VERTEX_LOOP": ((_VERTEX,), None),
    b"POLY_LOOP": ((), _POINT),
    b"EDGE_CURVE": ((_VERTEX, _VERTEX, _curve), None),
    b"ORIENTED_EDGE": ((), _EDGE),
    b"EDGE_LOOP": ((), _ORIENTED_EDGE),
    b"FACE_BOUND": ((_LOOP,), None),
    b"FACE_OUTER_BOUND": ((_LOOP,), None),
    b"ORIENTED_FACE": ((), _FACE),
    b"CLOSED_SHELL": ((), _FACE),
    b"OPEN_SHELL": ((), _FACE),
    b"ORIENTED_CLOSED_SHELL": ((), _SHELL),
    b"MANIFOLD_SOLID_BREP": ((), _SHELL),
    b"BREP_WITH_VOIDS": ((), _SHELL),
    b"FACETED_BREP": ((), _SHELL),
    b"SHELL_BASED_SURFACE_MODEL": ((), _SHELL),
}
_FACES = frozenset((b"ADVANCED_FACE", b"FACE_SURFACE"))
#: Points and directions of these have three coordinates.
_IN_SPACE = frozenset((b"VERTEX_POINT", b"AXIS1_PLACEMENT", b"AXIS2_PLACEMENT_3D", b"POLY_LOOP"))
#: Point and direction of these lie in the same space.
_SAME_SPACE = frozenset((b"LINE", b"AXIS2_PLACEMENT_2D"))
_RELATION = b"REPRESENTATION_RELATIONSHIP"
#: The curve of an edge in the parameters of a face; its last reference is the context.
_FLAT_CURVE = b"DEFINITIONAL_REPRESENTATION"
_CHECKED = frozenset((*_TABLE, *_FACES, _RELATION, _FLAT_CURVE))
_SIZED = frozenset((b"CARTESIAN_POINT", b"DIRECTION"))


def check_kinds(statements: Statements) -> None:
    """Raise Unreadable at the first definition that refers to the wrong kind of thing."""
    sizes = _sizes(statements)
    wrong: list[tuple[int, bytes]] = []
    for name in sorted({name for names in statements.kinds for name in names} & _CHECKED):
        pieces = statements.pieces(name)
        if (rows := pieces.owner[_wrong(name, pieces, statements, sizes)]).size:
            wrong.append((int(rows.min()), name))
    if wrong:
        row, name = min(wrong)
        raise Unreadable(
            f"A definition of the STEP file ({name.decode('latin-1')}) refers to the wrong kind of thing.",
            f"#{statements.number[row]}",
            "Export or download it again.",
        )


def _wrong(name: bytes, pieces: Pieces, statements: Statements, sizes: Ints) -> Bools:
    """Which pieces of a name refer to something wrong, or to too little."""
    count = pieces.count
    row = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    to = statements.to[np.repeat(pieces.first, count) + place]
    left = count[row] - 1 - place
    bad = np.zeros(len(count), bool)

    def demand(which: Bools, check: _Check) -> None:
        fits = np.array([any(map(check, names)) for names in statements.kinds], bool)
        bad[row[which & ~fits[statements.kind[to]]]] = True

    if name in _FACES:
        demand(left == 0, _surface)
        demand(left > 0, _BOUND)
        return bad | (count < 1)
    if name == _FLAT_CURVE:
        demand(left > 0, _curve)
        return bad | (count < 2)
    if name == _RELATION:
        demand(left >= 0, _representation)
        return bad
    first, rest = _TABLE[name]
    for i, check in enumerate(first):
        demand(place == i, check)
    if rest is not None:
        demand(place >= len(first), rest)
    # A placement may leave its directions out; everything else needs what stands in the table.
    bad |= count < (1 if name.startswith(b"AXIS") else len(first))
    size = sizes[to]
    if name in _IN_SPACE:
        bad[row[(size >= 0) & (size != 3)]] = True
    elif name in _SAME_SPACE:
        most, least = np.zeros(len(count), np.int64), np.full(len(count), 9, np.int64)
        np.maximum.at(most, row[size >= 0], size[size >= 0])
        np.minimum.at(least, row[size >= 0], size[size >= 0])
        bad |= most > least
    return bad


def _sizes(statements: Statements) -> Ints:
    """Number of coordinates of points and directions, 0 where they are not well written; -1 for all else."""
    points = [len(names) == 1 and names[0] in _SIZED for names in statements.kinds]
    sized = np.array(points, bool)[statements.kind]
    opening, closing, commas = (statements.every(x) for x in (b"(", b")", b","))
    fine = (statements.inside(opening) == 2) & (statements.inside(closing) == 2)
    # NAME ( '' , ( 1. , 2. , 3. ) ): where there are two brackets, the text, one comma, and numbers between the inner.
    rows = np.flatnonzero(sized & fine)
    start = np.searchsorted(opening, statements.begin[rows])
    outer, inner = opening[start], opening[start + 1]
    shut = closing[np.searchsorted(closing, statements.begin[rows])]
    first = np.isin(statements.raw[statements.next_solid(outer + 1)], list(b"'$"))
    before, until, all_of = (np.searchsorted(commas, x) for x in (inner, shut, statements.end[rows]))
    one = before - np.searchsorted(commas, outer) == 1
    last = statements.next_solid(statements.next_solid(shut + 1) + 1) == statements.end[rows]
    good = first & one & (inner < shut) & (until == all_of) & last
    found = np.where(sized, 0, -1)
    found[rows[good]] = (until - before)[good] + 1
    return found
