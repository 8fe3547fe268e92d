"""One model part of a 3MF: its unit, objects and build items, as they stand in the XML (3MF Core 1.4)."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.part import Unreadable
from lintsvc.readers.content import clean_name
from lintsvc.readers.triangles import MAX_TRIANGLES, too_many
from lintsvc.readers.xml_events import Events

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
BEAMS = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
SLICES = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
#: Extensions that may be required of a reader: known, or without a say in the shape of the triangles.
_KNOWN = frozenset(
    (
        CORE,
        PRODUCTION,
        BEAMS,
        SLICES,
        "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
        "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07",
        "http://schemas.microsoft.com/3dmanufacturing/beamlattice/balls/2020/07",
    )
)
#: 3MF Core 1.4 section 3.4: these six, millimeter where none is stated.
UNITS = {"micron": "micron", "millimeter": "mm", "centimeter": "cm", "meter": "m", "inch": "in", "foot": "ft"}
TYPES = ("model", "solidsupport", "support", "surface", "other")
_MAX_OBJECTS = 100_000
_MAX_REFERENCES = 200_000

Matrix = NDArray[np.float64]


@dataclass(frozen=True)
class Reference:
    """A build item or a component: which object of which part, and where it is put."""

    object_id: str
    path: str | None
    transform: Matrix | None
    line: int


@dataclass
class Object:
    """An object: a mesh, or components."""

    id: str
    name: str
    kind: str
    line: int
    vertices: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 3)))
    faces: NDArray[np.int64] = field(default_factory=lambda: np.empty((0, 3), np.int64))
    components: list[Reference] = field(default_factory=list)
    beams: int = 0
    #: The mesh stands in for slices that hold the true shape.
    low_resolution: bool = False


class Model:
    """The content of one model part. Raises Unreadable while it is read."""

    def __init__(self, data: bytes, name: str) -> None:
        self.name = name
        self.unit = "mm"
        self.unit_stated = False
        self.objects: dict[str, Object] = {}
        self.items: list[Reference] = []
        self._object: Object | None = None
        self._numbers = array("d")
        self._indices = array("q")
        self._root = False
        self._references = 0
        self._beams = 0
        self.events = Events(f'3MF model "{clean_name(name)}"', self._start, self._end)
        self.events.run(data)
        if not self._root:
            raise Unreadable("The model of the 3MF does not begin with a 3MF model element.", name)
        self.undeclared = sorted(self.events.undeclared)

    def _bad(self, why: str) -> Unreadable:
        return Unreadable(f"{why}.", f"{clean_name(self.name)} line {self.events.line()}", "Export it again.")

    def _start(self, space: str | None, local: str, attributes: dict[str, str]) -> None:
        if space != CORE:
            if space == BEAMS and local == "beam":
                self._beams += 1
            elif not self._root:
                raise self._bad("The model of the 3MF does not begin with a 3MF model element")
            return
        try:
            if local == "vertex":
                self._numbers.extend((float(attributes["x"]), float(attributes["y"]), float(attributes["z"])))
                return
            if local == "triangle":
                self._indices.extend((int(attributes["v1"]), int(attributes["v2"]), int(attributes["v3"])))
                return
        except KeyError as error:
            raise self._bad(f"A {local} of the 3MF has no {error.args[0]}") from None
        except (ValueError, OverflowError):
            raise self._bad(f"A {local} of the 3MF holds something that is no number") from None
        if local == "model":
            self._model(attributes)
        elif local == "object":
            self._new_object(attributes)
        elif local == "component" and self._object is not None:
            self._object.components.append(self._reference(attributes))
        elif local == "item":
            self.items.append(self._reference(attributes))

    def _end(self, space: str | None, local: str) -> None:
        if space != CORE:
            return
        if local == "mesh" and self._object is not None:
            vertices = np.array(self._numbers, np.float64).reshape(-1, 3)
            faces = np.array(self._indices, np.int64).reshape(-1, 3)
            self._numbers, self._indices = array("d"), array("q")
            if len(faces) > MAX_TRIANGLES:
                raise too_many(len(faces))
            out = (faces < 0) | (faces >= len(vertices))
            if out.any():
                first = int(np.argmax(out.any(axis=1)))
                raise Unreadable(
                    f"A triangle names vertex {int(faces[out][0])}, but its 3MF object holds {len(vertices)} vertices.",
                    f"object {clean_name(self._object.id)} triangle {first}",
                    "Export it again.",
                )
            self._object.vertices, self._object.faces = vertices, faces
            self._object.beams, self._beams = self._beams, 0
        elif local == "object":
            self._object = None

    def _model(self, attributes: dict[str, str]) -> None:
        self._root = True
        unit = attributes.get("unit")
        if unit is not None:
            if unit not in UNITS:
                raise Unreadable(
                    f'The 3MF states the unit "{clean_name(unit[:40])}", which the format does not have.',
                    remedy=f"Export it in one of: {', '.join(UNITS)}.",
                )
            self.unit, self.unit_stated = UNITS[unit], True
        for prefix in attributes.get("requiredextensions", "").split():
            space = self.events.namespace(prefix)
            if space not in _KNOWN:
                what = clean_name(space.rstrip("/") if space else f"prefix {prefix}")
                raise Unreadable(
                    f"The 3MF requires an extension that is not read: {what}.",
                    remedy="Export it as plain 3MF, or as STEP or STL.",
                )

    def _new_object(self, attributes: dict[str, str]) -> None:
        object_id = attributes.get("id", "")
        if not object_id or object_id in self.objects:
            raise self._bad(f'Two objects of the 3MF have the id "{clean_name(object_id)}", or one has none')
        kind = attributes.get("type", "model")
        if kind not in TYPES:
            raise self._bad(f'An object of the 3MF has the unknown type "{clean_name(kind)}"')
        if len(self.objects) >= _MAX_OBJECTS:
            raise self._bad(f"The 3MF has more than {_MAX_OBJECTS:,} objects")
        name = clean_name(attributes.get("name", "")) or f"object {clean_name(object_id)}"
        self._object = Object(object_id, name, kind, self.events.line())
        self._object.low_resolution = any(
            value == "lowres" and key.rpartition(":")[2] == "meshresolution" for key, value in attributes.items()
        )
        self.objects[object_id] = self._object

    def _reference(self, attributes: dict[str, str]) -> Reference:
        self._references += 1
        if self._references > _MAX_REFERENCES:
            raise self._bad(f"The 3MF has more than {_MAX_REFERENCES:,} items and components")
        path = None
        for key, value in attributes.items():
            prefix, colon, local = key.partition(":")
            if colon and local == "path" and self.events.namespace(prefix) == PRODUCTION:
                path = value
        transform = attributes.get("transform")
        return Reference(
            attributes.get("objectid", ""),
            path,
            None if transform is None else self._transform(transform),
            self.events.line(),
        )

    def _transform(self, text: str) -> Matrix:
        """The 4 x 3 matrix of the file, row vectors times matrix: `point @ m[:3] + m[3]`."""
        try:
            values = [float(x) for x in text.split()]
        except ValueError:
            values = []
        if len(values) != 12 or not all(abs(x) < 1e30 for x in values):
            raise self._bad("A transform of the 3MF is not twelve numbers")
        made = np.array(values).reshape(4, 3)
        scale = float(np.abs(made[:3]).max())
        if scale < 1e-12 or abs(float(np.linalg.det(made[:3] / scale))) < 1e-12:
            raise self._bad("A transform of the 3MF flattens its object to nothing")
        return made
