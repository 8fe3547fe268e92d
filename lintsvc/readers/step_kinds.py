"""Do the references of a STEP file lead to the right kind of thing (ISO 10303-42)?

The kernel believes that they do and crashes where they don't, so the geometry and topology that make
up a solid are looked at first. Only what a solid is built of stands in the table; other definitions pass.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lintsvc.model.part import Unreadable

_INSTANCE = re.compile(rb"#(\d+)\s*=\s*([^;]*);")
_SIMPLE = re.compile(rb"([A-Za-z_]\w*)\s*\(")
_REFERENCE = re.compile(rb"#(\d+)")
_NUMBERS = re.compile(rb"\s*\(\s*(?:''|\$)\s*,\s*\(([^)]*)\)")

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
_RELATION = b"REPRESENTATION_RELATIONSHIP"
#: The curve of an edge in the parameters of a face; its last reference is the context.
_FLAT_CURVE = b"DEFINITIONAL_REPRESENTATION"
_CHECKED = frozenset((*_TABLE, *_FACES, _RELATION, _FLAT_CURVE))
_SIZED = frozenset((b"CARTESIAN_POINT", b"DIRECTION"))


class Kinds:
    """The names of all definitions, and a check of what they refer to."""

    def __init__(self, data: bytes) -> None:
        """`data`: the DATA section without texts and comments. Raises Unreadable at the first wrong reference."""
        self._names: dict[int, tuple[bytes, ...]] = {}
        statements: list[tuple[int, bytes, bytes]] = []
        self._sizes: dict[int, int] = {}
        for match in _INSTANCE.finditer(data):
            number, body = int(match[1]), match[2].lstrip()
            if body.startswith(b"("):
                parts = _parts(body)
                names = tuple(name for name, _ in parts)
                statements.extend((number, name, part) for name, part in parts if name in _CHECKED)
            else:
                head = _SIMPLE.match(body)
                name = head[1].upper() if head else b""
                names = (name,)
                if name in _SIZED:
                    values = _NUMBERS.match(body, len(name))
                    self._sizes[number] = values[1].count(b",") + 1 if values else 0
                elif name in _CHECKED:
                    statements.append((number, name, body))
            self._names[number] = names
        for number, name, body in statements:
            self._check(number, name, body)

    def _check(self, number: int, name: bytes, body: bytes) -> None:
        references = [int(x) for x in _REFERENCE.findall(body)]
        if name in _FACES:
            fine = len(references) >= 1 and self._all(references[-1:], _surface) and self._all(references[:-1], _BOUND)
        elif name == _FLAT_CURVE:
            fine = len(references) >= 2 and self._all(references[:-1], _curve)
        elif name == _RELATION:
            fine = self._all(references, _representation)
        else:
            first, rest = _TABLE[name]
            fine = all(self._all([x], check) for x, check in zip(references, first, strict=False))
            # A placement may leave its directions out; everything else needs what stands in the table.
            needed = 1 if name.startswith(b"AXIS") else len(first)
            fine = fine and len(references) >= needed
            if rest is not None:
                fine = fine and self._all(references[len(first) :], rest)
            if fine and name in _IN_SPACE:
                fine = all(self._sizes.get(x, 3) == 3 for x in references)
            elif fine and name in (b"LINE", b"AXIS2_PLACEMENT_2D"):
                fine = self._same_size(references)
        if not fine:
            raise Unreadable(
                f"A definition of the STEP file ({name.decode('latin-1')}) refers to the wrong kind of thing.",
                f"#{number}",
                "Export or download it again.",
            )

    def _all(self, references: list[int], check: _Check) -> bool:
        for x in references:
            names = self._names.get(x, ())
            # Nearly all definitions have one name: the quick way first.
            if not (names and check(names[0])) and not any(check(name) for name in names[1:]):
                return False
        return True

    def _same_size(self, references: list[int]) -> bool:
        """Point and direction of a line lie in the same space."""
        return len({self._sizes[x] for x in references if x in self._sizes}) <= 1


def _parts(body: bytes) -> list[tuple[bytes, bytes]]:
    """The named parts of a definition that is several things at once."""
    found: list[tuple[bytes, bytes]] = []
    starts = list(_SIMPLE.finditer(body))
    for i, match in enumerate(starts):
        end = starts[i + 1].start() if i + 1 < len(starts) else len(body)
        found.append((match[1].upper(), body[match.end() - 1 : end]))
    return found
