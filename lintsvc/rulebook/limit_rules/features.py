"""What a limit rule may speak of: features found many times in a part, and what there is one of.

The tables below are the only place: the reference page, the errors' valid words and `lintsvc new-rule`
are made from them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from lintsvc.rulebook.limit_rules.expression import Function
from lintsvc.rulebook.limit_rules.kinds import ANGLE, AREA, LENGTH, MASS, NUMBER, STRESS, TEXT, TRUTH, VOLUME, Kind

if TYPE_CHECKING:
    from lintsvc.model.finding import Where
    from lintsvc.rulebook.checked import Checked


@dataclass(frozen=True, slots=True)
class Attribute:
    """One value of a feature. `get` returns None where it is not known."""

    kind: Kind
    what: str
    get: Callable[[Any], Any]


@dataclass(frozen=True)
class Feature:
    """Something that a part has many of.

    `find(part, limit)` returns them; those that are only looked for up to a limit (or from one on) say so
    by `within`, and are then asked with the condition's limit in mm.
    """

    name: str
    kind: Literal["body", "sheet"]
    what: str
    attributes: Mapping[str, Attribute]
    find: Callable[[Checked, float], Iterable[Any]]
    where: Callable[[Checked, Any], Where]
    sure: Callable[[Any], float] = lambda item: 1.0
    within: Literal["", "below", "above"] = ""
    needs: tuple[Literal["material", "thickness"], ...] = ()
    about: Literal["bends"] | None = None


def _at(thing: str) -> Callable[[Any], Any]:
    """Return a getter of an attribute."""
    return lambda item: getattr(item, thing)


def _own_place(part: Checked, item: Any) -> Where:
    """Flats keep a place as a value, bodies work it out."""
    found: Any = item.where
    place: Where = found() if callable(found) else found
    return place


_WIDTH = {
    "length": Attribute(LENGTH, "its longest extent", _at("length_mm")),
    "breadth": Attribute(LENGTH, "its next extent", _at("breadth_mm")),
}


def _walls(part: Checked, limit_mm: float) -> list[Any]:
    return [x for x in part.body.thin_places(limit_mm) if not (x.round or x.low or x.slight(limit_mm))]


def _pins(part: Checked, limit_mm: float) -> list[Any]:
    return [x for x in part.body.thin_places(limit_mm) if x.round and x.slender]


def _gaps(part: Checked, limit_mm: float) -> list[Any]:
    return [x for x in part.body.narrow_places(limit_mm) if not (x.round or x.low or x.slight(limit_mm))]


FEATURES: tuple[Feature, ...] = (
    Feature(
        "hole",
        "sheet",
        "a round hole of a flat",
        {
            "diameter": Attribute(LENGTH, "its diameter", _at("diameter_mm")),
            "x": Attribute(LENGTH, "where its centre is along x", lambda item: item.centre_mm[0]),
            "y": Attribute(LENGTH, "where its centre is along y", lambda item: item.centre_mm[1]),
        },
        lambda part, limit_mm: part.meant.holes,
        _own_place,
        sure=lambda item: 1.0 if item.exact else 0.9,
    ),
    Feature(
        "slot",
        "sheet",
        "a slot of a flat, with round or square ends",
        {
            "width": Attribute(LENGTH, "how wide it is", _at("width_mm")),
            "length": Attribute(LENGTH, "how long it is overall", _at("length_mm")),
        },
        lambda part, limit_mm: part.outlined.slots,
        _own_place,
    ),
    Feature(
        "web",
        "sheet",
        "material between two cutouts, or a cutout and the edge",
        {"width": Attribute(LENGTH, "how wide it is at its narrowest", _at("width_mm"))},
        lambda part, limit_mm: part.outlined.webs(limit_mm),
        _own_place,
        within="below",
    ),
    Feature(
        "neck",
        "sheet",
        "a tongue or a neck of a flat, longer than wide",
        {"width": Attribute(LENGTH, "how wide it is at its narrowest", _at("width_mm"))},
        lambda part, limit_mm: part.outlined.necks(limit_mm),
        _own_place,
        within="below",
    ),
    Feature(
        "corner",
        "sheet",
        "an inside corner of a flat's edge",
        {
            "radius": Attribute(LENGTH, "its radius, 0 for a sharp one", _at("radius_mm")),
            "angle": Attribute(ANGLE, "by how much the edge turns", _at("turn_deg")),
        },
        lambda part, limit_mm: part.outlined.inside_corners,
        _own_place,
    ),
    Feature(
        "bend",
        "sheet",
        "a bend of a flat",
        {
            "angle": Attribute(ANGLE, "the angle bent through, 90 for an L", lambda item: item.bend.angle_deg),
            "radius": Attribute(LENGTH, "its inside radius", lambda item: item.bend.radius_mm),
            "length": Attribute(LENGTH, "how long the bend line is", _at("length_mm")),
            "direction": Attribute(TEXT, "up or down", lambda item: item.bend.direction),
        },
        lambda part, limit_mm: part.bending.zones,
        lambda part, item: part.bending.where(item),
        needs=("thickness",),
        about="bends",
    ),
    Feature(
        "flange",
        "sheet",
        "the sheet on one side of a bend, up to its free edge",
        {
            "height": Attribute(LENGTH, "its outside height when bent", lambda item: item[1].outside_mm),
            "flat": Attribute(LENGTH, "from the bend line to the edge in the flat", lambda item: item[1].flat_mm),
            "angle": Attribute(ANGLE, "the bend's angle", lambda item: item[0].bend.angle_deg),
        },
        lambda part, limit_mm: part.bending.flanges,
        lambda part, item: part.bending.where(item[0], span=item[1].span),
        sure=lambda item: float(item[0].sure),
        needs=("thickness",),
        about="bends",
    ),
    Feature(
        "wall",
        "body",
        "a wall of a body, looked for up to the limit",
        {"thickness": Attribute(LENGTH, "its least thickness", _at("width_mm")), **_WIDTH},
        _walls,
        _own_place,
        sure=lambda item: float(item.sure()),
        within="below",
    ),
    Feature(
        "pin",
        "body",
        "a pin or a post of a body, looked for up to the limit",
        {"diameter": Attribute(LENGTH, "its least diameter", _at("width_mm")), "length": _WIDTH["length"]},
        _pins,
        _own_place,
        sure=lambda item: float(item.sure()),
        within="below",
    ),
    Feature(
        "gap",
        "body",
        "a gap between two walls of a body, looked for up to the limit",
        {"width": Attribute(LENGTH, "how wide it is at its narrowest", _at("width_mm")), **_WIDTH},
        _gaps,
        _own_place,
        sure=lambda item: float(item.sure()),
        within="below",
    ),
    Feature(
        "bore",
        "body",
        "a round hole of a body",
        {
            "diameter": Attribute(LENGTH, "its diameter", _at("diameter_mm")),
            "depth": Attribute(LENGTH, "how deep it is", _at("depth_mm")),
            "blind": Attribute(TRUTH, "it has a bottom", _at("blind")),
        },
        lambda part, limit_mm: part.body.bores,
        _own_place,
    ),
    Feature(
        "void",
        "body",
        "a closed hollow inside a body",
        {"volume": Attribute(VOLUME, "how much it holds", _at("volume_mm3"))},
        lambda part, limit_mm: part.body.voids,
        _own_place,
    ),
    Feature(
        "section",
        "body",
        "a place where a body is solid through, looked for from the limit on",
        {"thickness": Attribute(LENGTH, "the largest ball that fits inside", _at("diameter_mm"))},
        lambda part, limit_mm: part.body.thick_places(limit_mm),
        _own_place,
        within="above",
    ),
)


def _material(value: str) -> Callable[[Checked], Any]:
    def get(part: Checked) -> Any:
        found = None if part.material is None else getattr(part.material, value)
        return getattr(found, "value", found)

    return get


def _of_body_or_flat(body: Callable[[Checked], Any], flat: Callable[[Checked], Any]) -> Callable[[Checked], Any]:
    return lambda part: flat(part) if part.part.kind == "sheet" else body(part)


def _volume(part: Checked) -> float | None:
    if part.part.kind == "sheet":
        return None if part.thickness_mm is None else part.flat.area_mm2 * part.thickness_mm
    return part.body.volume_mm3 if part.body.watertight else None


def _mass(part: Checked) -> float | None:
    volume = _volume(part)
    # kg/m3 is 1e-6 g/mm3.
    return None if volume is None or part.material is None else volume * part.material.density_kg_m3.value * 1e-6


def _sides(number: int) -> Callable[[Checked], float]:
    return lambda part: sorted(part.part.size_mm, reverse=True)[number]


@dataclass(frozen=True)
class Single:
    """Something that a part has one of."""

    name: str
    what: str
    attributes: Mapping[str, Attribute] = field(default_factory=dict)


SINGLES: tuple[Single, ...] = (
    Single(
        "part",
        "the part as a whole",
        {
            "length": Attribute(LENGTH, "its longest side", _sides(0)),
            "width": Attribute(LENGTH, "its next side", _sides(1)),
            "height": Attribute(LENGTH, "its shortest side, 0 for a flat", _sides(2)),
            "area": Attribute(
                AREA,
                "surface of a body; of a flat, one side",
                _of_body_or_flat(lambda part: part.body.area_mm2, lambda part: part.flat.area_mm2),
            ),
            "volume": Attribute(VOLUME, "how much material it is", _volume),
            "mass": Attribute(MASS, "what it weighs", _mass),
            "bodies": Attribute(NUMBER, "how many bodies the file holds", lambda part: part.body.body_count),
            "holes": Attribute(NUMBER, "how many round holes a flat has", lambda part: len(part.meant.holes)),
            "bends": Attribute(NUMBER, "how many bends a flat has", lambda part: len(part.flat.bends)),
        },
    ),
    Single(
        "sheet",
        "the sheet that it is cut from",
        {
            "thickness": Attribute(LENGTH, "how thick it is", lambda part: part.thickness_mm),
        },
    ),
    Single(
        "material",
        "the material, by the handbook",
        {
            "id": Attribute(TEXT, "as `lintsvc materials` lists it", _material("id")),
            "family": Attribute(TEXT, "aluminium, steel, stainless, nylon …", _material("family")),
            "yield_strength": Attribute(STRESS, "where it starts to stay bent", _material("yield_mpa")),
            "tensile_strength": Attribute(STRESS, "where it breaks", _material("ultimate_mpa")),
        },
    ),
    Single(
        "choice",
        "what was asked for",
        {
            "process": Attribute(TEXT, "powder-bed or sheet", lambda part: part.choices.process),
            "finish": Attribute(TEXT, "the finish, where one was chosen", lambda part: part.choices.finish),
            "quantity": Attribute(NUMBER, "how many are made", lambda part: float(part.choices.quantity)),
        },
    ),
)


def _tap_drill(name: str) -> float:
    from lintsvc.handbook.threads import thread

    return thread(name).tap_drill.value


def _clearance_hole(screw: str) -> float:
    from lintsvc.handbook.clearance import clearance_hole

    return clearance_hole(screw).value


def _gauge(number: float, metal: str) -> float:
    from lintsvc.handbook.gauges import gauge_thickness

    if number != int(number):
        raise ValueError(f"a gauge is a whole number, not {number:g}")
    return gauge_thickness(int(number), metal).value  # type: ignore[arg-type]


def _least_bend_radius(material: str, thickness_mm: float) -> float:
    from lintsvc.handbook.bending import least_bend_radius

    return least_bend_radius(material, thickness_mm).value


#: What may be looked up in the handbook.
FUNCTIONS: dict[str, Function] = {
    "tap_drill": Function((TEXT,), LENGTH, _tap_drill, 'the usual drill for a thread: tap_drill("M4")'),
    "clearance_hole": Function((TEXT,), LENGTH, _clearance_hole, 'the normal hole for a screw: clearance_hole("M4")'),
    "gauge": Function((NUMBER, TEXT), LENGTH, _gauge, 'the thickness of a gauge: gauge(16, "steel")'),
    "least_bend_radius": Function(
        (TEXT, LENGTH), LENGTH, _least_bend_radius, "least_bend_radius(material.id, sheet.thickness)"
    ),
}


@lru_cache(maxsize=1)
def names() -> Mapping[str, Kind]:
    """Return every name that a condition may use, with its kind."""
    found = {f"{x.name}.{key}": y.kind for x in FEATURES for key, y in x.attributes.items()}
    return found | {f"{x.name}.{key}": y.kind for x in SINGLES for key, y in x.attributes.items()}
