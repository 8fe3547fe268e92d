"""Round faces that a STEP file names, notes, or puts on a layer: where a designer writes what a hole is for.

Read from the text, because the names of single faces do not survive the kernel's reading. Of AP242's product
manufacturing information the notes at dimensions and the names of features are read, where they lead to a face;
values and tolerances are not, and the reader says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from lintsvc.readers.content import clean_name

Point3 = tuple[float, float, float]

_TEXT = rb"'((?:[^']|'')*)'"
_NUMBER = rb"([-+]?\d+\.?\d*(?:[Ee][-+]?\d+)?)"
_FACE = re.compile(
    rb"#(\d+)\s*=\s*(?:ADVANCED_FACE|FACE_SURFACE)\s*\(\s*" + _TEXT + rb"\s*,[^;]*?#(\d+)\s*,\s*\.[TF]\.\s*\)"
)
_ANY_NAMED = re.compile(rb"(?:ADVANCED_FACE|FACE_SURFACE)\s*\(\s*'[^']")
_LAYER = re.compile(rb"PRESENTATION_LAYER_ASSIGNMENT\s*\(\s*" + _TEXT + rb"\s*,\s*" + _TEXT + rb"\s*,\s*\(([^)]*)\)")
_REFERENCE = re.compile(rb"#(\d+)")
_CYLINDER = re.compile(
    rb"#(\d+)\s*=\s*CYLINDRICAL_SURFACE\s*\(\s*" + _TEXT + rb"\s*,\s*#(\d+)\s*,\s*" + _NUMBER + rb"\s*\)"
)
_PLACE = re.compile(rb"#(\d+)\s*=\s*AXIS2_PLACEMENT_3D\s*\(\s*" + _TEXT + rb"\s*,\s*#(\d+)\s*,\s*#(\d+)")
_TRIPLE = re.compile(
    rb"#(\d+)\s*=\s*(?:CARTESIAN_POINT|DIRECTION)\s*\(\s*"
    + _TEXT
    + rb"\s*,\s*\(\s*"
    + rb"\s*,\s*".join([_NUMBER] * 3)
    + rb"\s*\)"
)
#: What a note says of a face goes over: text -> dimension's values -> dimension -> feature -> face.
_NOTE = re.compile(rb"#(\d+)\s*=\s*DESCRIPTIVE_REPRESENTATION_ITEM\s*\(\s*" + _TEXT + rb"\s*,\s*" + _TEXT)
_VALUES = re.compile(rb"#(\d+)\s*=\s*SHAPE_DIMENSION_REPRESENTATION\s*\(\s*" + _TEXT + rb"\s*,\s*\(([^)]*)\)")
_VALUED = re.compile(rb"DIMENSIONAL_CHARACTERISTIC_REPRESENTATION\s*\(\s*#(\d+)\s*,\s*#(\d+)")
_SIZE = re.compile(rb"#(\d+)\s*=\s*DIMENSIONAL_SIZE\s*\(\s*#(\d+)")
_FEATURE = re.compile(rb"#(\d+)\s*=\s*SHAPE_ASPECT\s*\(\s*" + _TEXT)
_IS_FACE = re.compile(
    rb"(?:GEOMETRIC_ITEM_SPECIFIC_USAGE|ITEM_IDENTIFIED_REPRESENTATION_USAGE)\s*\(\s*"
    + _TEXT
    + rb"\s*,\s*(?:"
    + _TEXT
    + rb"|\$)\s*,\s*#(\d+)\s*,\s*#\d+\s*,([^;]*)\)\s*;"
)
#: A thread with its pitch (M4x0.7), class (6H, 2B) or series (UNC) speaks of a tapped hole (ISO 965, ASME B1.1).
_THREAD = re.compile(rb"\bM\d+(?:\.\d+)?\s*x\s*\d|\b\d[GHB]\b|\bUN[CF]\b", re.IGNORECASE)
_TAPPED = re.compile(rb"\b(?:tap|thread)", re.IGNORECASE)
#: Entities of product manufacturing information (AP242), of which only notes are read.
PMI = (b"DIMENSIONAL_SIZE", b"GEOMETRIC_TOLERANCE", b"DRAUGHTING_CALLOUT")


@dataclass(frozen=True, slots=True)
class NamedCylinder:
    """A cylindrical face with a name: a point of its axis, the axis' direction, and its radius.

    In the axes of the solid that it belongs to, mm.
    """

    name: str
    point: Point3
    direction: Point3
    radius_mm: float


def named_cylinders(text: bytes, mm_per_unit: float) -> tuple[NamedCylinder, ...]:
    """Return the cylindrical faces of a STEP text that have a name of their own, or lie on a named layer."""
    layers = {x: layer[1] for layer in _LAYER.finditer(text) for x in _REFERENCE.findall(layer[3])}
    layers.update(_noted(text))
    if not layers and not _ANY_NAMED.search(text):
        return ()
    named = [(face[2] or layers.get(face[1], b""), face[3]) for face in _FACE.finditer(text)]
    # A name without a number speaks of no size.
    named = [(name, surface) for name, surface in named if any(48 <= x < 58 for x in name)]
    if not named:
        return ()
    cylinders = {x[1]: (x[3], float(x[4])) for x in _CYLINDER.finditer(text)}
    places = {x[1]: (x[3], x[4]) for x in _PLACE.finditer(text)}
    triples = {x[1]: (float(x[3]), float(x[4]), float(x[5])) for x in _TRIPLE.finditer(text)}
    found = []
    for name, surface in named:
        place, radius = cylinders.get(surface, (b"", 0.0))
        point, direction = (triples.get(x) for x in places.get(place, (b"", b"")))
        if point is not None and direction is not None:
            x, y, z = (v * mm_per_unit for v in point)
            words = clean_name(name.replace(b"''", b"'").decode("latin-1"))
            found.append(NamedCylinder(words, (x, y, z), direction, radius * mm_per_unit))
    return tuple(found)


def _noted(text: bytes) -> dict[bytes, bytes]:
    """What features and their dimensions say of threads, by the number of the face."""
    if b"SHAPE_ASPECT" not in text:
        return {}
    notes = {x[1]: x[3] for x in _NOTE.finditer(text)}
    values = {x[1]: b" ".join(notes[r] for r in _REFERENCE.findall(x[3]) if r in notes) for x in _VALUES.finditer(text)}
    sizes = {x[1]: x[2] for x in _SIZE.finditer(text)}
    said = {x[1]: x[2] for x in _FEATURE.finditer(text)}
    for size, value in _VALUED.findall(text):
        if size in sizes and values.get(value):
            said[sizes[size]] = said.get(sizes[size], b"") + b" " + values[value]
    found = {}
    for link in _IS_FACE.finditer(text):
        words = said.get(link[3], b"").strip()
        if _THREAD.search(words) or _TAPPED.search(words):
            words += b"" if _TAPPED.search(words) else b" tapped"
            found.update(dict.fromkeys(_REFERENCE.findall(link[4]), words))
    return found
