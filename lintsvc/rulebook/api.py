"""The rule API's version, and what it promises: every name and argument that a rule file may rely on.

Within a version names and arguments are only added, at the end and with a default. A pack says in `pack.toml` which
version it is written for (`api = 1`, which is also what none means); one for a version that is not in
`packs.API_VERSIONS` is refused with that reason, and never half loaded. `tests/rulebook/rule_api_1.txt` is version 1
as it was first given out.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from importlib import import_module
from typing import Any

#: Of what `part.body` and `part.flat` measure, what is promised. The rest may change with any release.
BODY = (
    "triangles", "body_count", "watertight", "volume_mm3", "area_mm2", "centre_mm", "thin_places", "narrow_places",
    "thick_places", "bores", "voids", "everywhere",
)  # fmt: skip
FLAT = (
    "flat_mm", "area_mm2", "centre_mm", "contours", "holes", "slots", "bends", "inside_corners", "webs", "necks",
    "narrow_slots", "alike", "together", "where_of_all",
)  # fmt: skip
PART = ("part", "choices", "material", "thickness_mm", "body", "flat", "has")
#: What measurements give: a name for it, where its class is, and what is promised of it.
ITEMS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "thin or narrow place": ("lintsvc.measure.place:Place", ("width_mm", "length_mm", "breadth_mm", "round", "where")),
    "bore": ("lintsvc.measure.bores:Bore", ("diameter_mm", "depth_mm", "where")),
    "thick place": ("lintsvc.measure.bulk:Bulk", ("where",)),
    "void": ("lintsvc.measure.voids:Void", ("volume_mm3", "where")),
    "contour": ("lintsvc.measure.flat_contours:Contour", ("role", "area_mm2")),
    "hole": ("lintsvc.measure.flat_holes:RoundHole", ("diameter_mm", "centre_mm", "where")),
    "slot": ("lintsvc.measure.flat_holes:Slot", ("width_mm", "length_mm", "where")),
    "web, neck or narrow slot": ("lintsvc.measure.flat_narrow:Narrow", ("width_mm", "where")),
    "inside corner": ("lintsvc.measure.flat_corners:Corner", ("radius_mm", "turn_deg", "where")),
    "group": ("lintsvc.measure.flat_where:Group", ("value", "count", "members", "where")),
}


@dataclass(frozen=True, slots=True)
class Promise:
    """One promised name: how it is written, with its arguments, and the first line of what is said of it."""

    name: str
    arguments: tuple[str, ...]
    what: str
    #: Names of a value's fields; empty for anything else.
    fields: tuple[str, ...] = ()

    def line(self) -> str:
        """Return name, arguments and fields on one line, as they are recorded."""
        return f"{self.name}({', '.join(self.arguments)})" + (f" {{{', '.join(self.fields)}}}" if self.fields else "")


def surface() -> Iterator[Promise]:
    """Yield everything that is promised, as it is now. Raises AttributeError for what is no longer there."""
    from lintsvc import rulebook
    from lintsvc.measure.bodies import BodyMeasurements
    from lintsvc.measure.flats import FlatMeasurements
    from lintsvc.rulebook.checked import Checked

    for name in rulebook.__all__:
        yield _promise(name, getattr(rulebook, name))
    yield from _of("part.", Checked, PART)
    yield from _of("part.body.", BodyMeasurements, BODY)
    yield from _of("part.flat.", FlatMeasurements, FLAT)
    for item, (where, names) in ITEMS.items():
        module, name = where.split(":")
        yield from _of(f"{item}: ", getattr(import_module(module), name), names)


def _of(prefix: str, of: type, names: Iterable[str]) -> Iterator[Promise]:
    return (_promise(prefix + name, _there(of, name)) for name in names)


def _there(of: type, name: str) -> Any:
    """Return what a class has under a name; None for what its instances have. Raises AttributeError for neither."""
    if name in getattr(of, "__dataclass_fields__", ()) or name in inspect.signature(of).parameters:
        return None
    return inspect.getattr_static(of, name)


def _promise(name: str, thing: Any) -> Promise:
    thing = getattr(thing, "func", None) or getattr(thing, "fget", None) or thing
    what = (inspect.getdoc(thing) or "").partition("\n")[0] if callable(thing) else ""
    if is_dataclass(thing) and not isinstance(thing, type):
        return Promise(name, (), "")  # a constant
    if is_dataclass(thing):
        return Promise(name, (), what, tuple(x.name for x in fields(thing)))
    if not inspect.isfunction(thing):
        return Promise(name, (), what)
    arguments = (x for x in inspect.signature(thing).parameters if x != "self")
    return Promise(name, tuple(arguments), what)
