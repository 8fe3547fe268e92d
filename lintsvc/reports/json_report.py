"""The JSON report, its schema, and the way back. Lengths in mm; a value that is not known is null or left out."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from lintsvc.model.finding import Finding, LimitShown, NotChecked, Point3, Quantity, Where
from lintsvc.model.finite import finite_quantity, finite_where
from lintsvc.model.report import (
    BendShown,
    HoleShown,
    OrderReport,
    PartReport,
    PartShown,
    Report,
    SolidShown,
    UnitsShown,
)

if TYPE_CHECKING:
    from pydantic import TypeAdapter

Json = dict[str, Any]

#: Keys that are written only where they say something; every other key of the model is always written.
LEFT_OUT_WHEN_EMPTY: dict[str, frozenset[str]] = {
    "PartReport": frozenset({"unreadable", "solids"}),
    "SolidShown": frozenset({"not_a_sheet_because"}),
    "PartShown": frozenset(
        {"triangles", "bodies", "watertight", "thickness_mm", "flat_mm", "contours", "holes", "bends", "folded_mm"}
    ),
    "UnitsShown": frozenset({"other", "other_size_mm"}),
    "Report": frozenset({"order"}),
    "OrderReport": frozenset({"unreadable", "process", "material", "thickness", "part", "solids"}),
    "Finding": frozenset({"caution", "fix", "settles", "set_aside", "parts"}),
    "Where": frozenset({"faces", "entities", "lines", "span"}),
    "Source": frozenset({"checked"}),
    "NotChecked": frozenset({"failed"}),
}
_BODY_KEYS = ("triangles", "bodies", "watertight")
_SHEET_KEYS = ("thickness_mm", "flat_mm", "contours", "holes", "bends")


def to_dict(report: Report) -> Json:
    """Return the report as JSON types. Numbers that are not finite become null, never NaN."""
    return {
        "schema": report.schema,
        "made_by": report.made_by,
        "parts": [part_to_dict(x) for x in report.parts],
        **({} if report.order is None else {"order": order_to_dict(report.order)}),
    }


def dumps(report: Report, *, indent: int | None = 2) -> str:
    """Return the report as JSON text, ASCII only."""
    return json.dumps(to_dict(report), indent=indent, allow_nan=False)


def from_dict(data: Json) -> Report:
    """Return the report that `to_dict` wrote. Raises ValueError for what is none."""
    if isinstance(data.get("order"), dict):
        unsaid = dict.fromkeys(("process", "material", "thickness", "part"))
        data = {**data, "order": {**unsaid, **data["order"]}}
    return _adapter().validate_python(data)


def part_to_dict(part: PartReport) -> Json:
    """Return one file's entry."""
    data: Json = {
        "file": _text(part.file),
        "sha256": part.sha256,
        "format": part.format,
        "process": part.process,
        "material": part.material,
        "thickness": _quantity(part.thickness),
        "part": None if part.part is None else _part(part.part),
        "findings": [finding_to_dict(x) for x in part.findings],
        "not_checked": [_not_checked(x) for x in part.not_checked],
        "checked": list(part.checked),
        "assumed": [{"what": x.what, "value": _text(x.value), "why": _text(x.why)} for x in part.assumed],
        "notes": [_text(x) for x in part.notes],
        "seconds": {"read": part.seconds.read, "measure": part.seconds.measure, "rules": part.seconds.rules},
    }
    if part.solids:
        data["solids"] = [_solid(x) for x in part.solids]
    if part.unreadable is not None:
        why = part.unreadable
        data["unreadable"] = {"why": _text(why.why), "where": _text(why.where), "remedy": _text(why.remedy)}
    return data


def order_to_dict(order: OrderReport) -> Json:
    """Return an order's own entry."""
    data = part_to_dict(order)
    data |= {
        "name": _text(order.name),
        "mass_g": _number(order.mass_g),
        "centre_mm": None if order.centre_mm is None else _numbers(order.centre_mm),
        "tip_deg": _number(order.tip_deg),
        "placed": [
            {
                "id": x.id,
                "file": _text(x.file),
                "quantity": x.quantity,
                "mass_g": _number(x.mass_g),
                "place": None if x.place is None else [_numbers(row) for row in x.place],
                "why": _text(x.why),
            }
            for x in order.placed
        ],
        "relations": [
            {
                "kind": x.kind,
                "of": list(x.of),
                "text": _text(x.text),
                "values": [[name, float(value)] for name, value in x.values if math.isfinite(value)],
            }
            for x in order.relations
        ],
        "stiffness": [asdict(x) for x in order.stiffness],
        "costs": [asdict(x) | {"source": _text(x.source)} for x in order.costs],
    }
    return {key: data[key] for key in data if key not in LEFT_OUT_WHEN_EMPTY["OrderReport"]}


def finding_to_dict(finding: Finding) -> Json:
    """Return one finding: what the events of a running check carry, too."""
    data: Json = {
        "fingerprint": finding.fingerprint,
        "rule": finding.rule,
        "level": finding.level,
        "rank": finding.rank,
        "message": _text(finding.message),
        "measured": _quantity(finding.measured),
        "limit": _limit(finding.limit),
        "where": _where(finding.where),
        "remedy": _text(finding.remedy),
        "sure": finding.sure,
    }
    if finding.caution:
        data["caution"] = finding.caution
    if finding.fix:
        data["fix"] = finding.fix
    if finding.settles:
        data["settles"] = finding.settles
    if finding.set_aside:
        data["set_aside"] = _text(finding.set_aside)
    if finding.parts:
        data["parts"] = list(finding.parts)
    return data


def _part(part: PartShown) -> Json:
    data: Json = {
        "kind": part.kind,
        "units": _units(part.units),
        "size_mm": _numbers(part.size_mm),
        "volume_mm3": _number(part.volume_mm3),
        "area_mm2": _number(part.area_mm2),
        "mass_g": _number(part.mass_g),
    }
    if part.kind == "body":
        data |= {key: getattr(part, key) for key in _BODY_KEYS}
    else:
        data |= {
            "thickness_mm": _number(part.thickness_mm),
            "flat_mm": None if part.flat_mm is None else _numbers(part.flat_mm),
            "contours": part.contours,
            "holes": [_hole(x) for x in part.holes],
            "bends": [_bend(x) for x in part.bends],
        }
        if part.folded_mm is not None:
            data["folded_mm"] = _numbers(part.folded_mm)
    return data


def _solid(solid: SolidShown) -> Json:
    data: Json = {"name": _text(solid.name), "count": solid.count, "process": solid.process, "part": _part(solid.part)}
    if solid.not_a_sheet_because:
        data["not_a_sheet_because"] = _text(solid.not_a_sheet_because)
    return data


def _units(units: UnitsShown) -> Json:
    data: Json = {"value": units.value, "stated": units.stated, "why": _text(units.why)}
    if units.other is not None:
        data["other"] = units.other
    if units.other_size_mm is not None:
        data["other_size_mm"] = _numbers(units.other_size_mm)
    return data


def _hole(hole: HoleShown) -> Json:
    return {"diameter_mm": _number(hole.diameter_mm), "centre_mm": _numbers(hole.centre_mm)}


def _bend(bend: BendShown) -> Json:
    return {
        "angle_deg": _number(bend.angle_deg),
        "direction": bend.direction,
        "radius_mm": _number(bend.radius_mm),
        "k_factor": _number(bend.k_factor),
    }


def _quantity(quantity: Quantity | None) -> Json | None:
    quantity = finite_quantity(quantity)
    if quantity is None:
        return None
    return {"value": float(quantity.value), "unit": quantity.unit}


def _limit(limit: LimitShown | None) -> Json | None:
    if limit is None or not math.isfinite(limit.value):
        return None
    source: Json = {"kind": limit.source.kind, "text": limit.source.text}
    if limit.source.checked is not None:
        source["checked"] = limit.source.checked
    return {"value": float(limit.value), "unit": limit.unit, "source": source}


def _where(where: Where | None) -> Json | None:
    where = finite_where(where)
    if where is None:
        return None
    data: Json = {"point": _point(where.point), "box": [_point(x) for x in where.box]}
    # int(): rules may hand over numpy's integers, which json refuses.
    if where.faces:
        data["faces"] = [int(x) for x in where.faces]
    if where.entities:
        data["entities"] = [int(x) for x in where.entities]
    if where.lines:
        data["lines"] = [[_point(a), _point(b)] for a, b in where.lines]
    if where.span is not None:
        data["span"] = [_point(x) for x in where.span]
    return data


def _not_checked(entry: NotChecked) -> Json:
    data: Json = {"rule": entry.rule, "why": _text(entry.why)}
    if entry.failed:
        data["failed"] = True
    return data


def _point(point: Point3) -> list[float]:
    return [float(x) for x in point]


def _numbers(values: Sequence[float]) -> list[float | None]:
    return [_number(x) for x in values]


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _text(text: str) -> str:
    """Return `text` without lone surrogates, which are no valid JSON text."""
    return text if text.isascii() else text.encode("utf-8", "backslashreplace").decode("utf-8")


@lru_cache(maxsize=1)
def _adapter() -> TypeAdapter[Report]:
    # Imported here: pydantic takes longer to load than most checks take to run.
    from pydantic import TypeAdapter

    return TypeAdapter(Report)


def schema() -> Json:
    """Return the JSON Schema (2020-12) of the report, derived from the model's types."""
    from pydantic.json_schema import GenerateJsonSchema

    found = _adapter().json_schema()
    report = {key: found.pop(key) for key in ("properties", "required", "type")}
    definitions = found.pop("$defs")
    for name, definition in {"Report": report, **definitions}.items():
        properties = definition["properties"]
        definition["required"] = sorted(set(properties) - LEFT_OUT_WHEN_EMPTY.get(name, frozenset()))
        for entry in properties.values():
            # Titles made from the key say nothing more than the key; defaults are Python's, not JSON's.
            entry.pop("title", None)
            entry.pop("default", None)
    for key, highest in (("rank", 100), ("sure", 1)):
        definitions["Finding"]["properties"][key] |= {"minimum": 0, "maximum": highest}
    definitions["PartShown"]["allOf"] = [
        {"if": {"properties": {"kind": {"const": kind}}}, "then": {"required": list(keys)}}
        for kind, keys in (("body", _BODY_KEYS), ("sheet", _SHEET_KEYS))
    ]
    return {
        "$schema": GenerateJsonSchema.schema_dialect,
        "$id": "urn:lintsvc:report:1",
        "title": "lintsvc report",
        "description": "One entry a file. Lengths in mm, areas in mm2, volumes in mm3, masses in g.",
        **report,
        "$defs": definitions,
    }
