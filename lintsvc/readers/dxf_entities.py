"""The entities of a drawing into the sheet builder: what is drawn, what is no outline, and what is noticed."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import NamedTuple

from lintsvc.model.sheet import Line
from lintsvc.readers.content import clean_name
from lintsvc.readers.dxf_blocks import BlockCounts, placements
from lintsvc.readers.dxf_curves import READERS, Curves
from lintsvc.readers.dxf_drawing import Drawing, Drawn, Layer, rgb_of
from lintsvc.readers.dxf_frame import Frame
from lintsvc.readers.dxf_tags import Record, damaged
from lintsvc.readers.flat_sheet import SheetBuilder

#: Heights that differ by less than this lie in one plane.
FLAT_MM = 1e-3
_TEXTS = frozenset({"TEXT", "MTEXT", "ATTRIB"})
_BASIC_COLOURS = {1: "#ff0000", 2: "#ffff00", 3: "#00ff00", 4: "#00ffff", 5: "#0000ff", 6: "#ff00ff", 7: "#000000"}
_LEFT_OUT = {
    "DIMENSION": "dimensions", "ARC_DIMENSION": "dimensions", "LARGE_RADIAL_DIMENSION": "dimensions",
    "LEADER": "leaders", "MULTILEADER": "leaders", "MLEADER": "leaders", "TOLERANCE": "tolerance frames",
    "HATCH": "hatches", "MPOLYGON": "hatches", "SOLID": "filled areas", "TRACE": "filled areas",
    "WIPEOUT": "masks", "IMAGE": "pictures", "OLE2FRAME": "embedded objects", "OLEFRAME": "embedded objects",
    "PDFUNDERLAY": "underlays", "DWFUNDERLAY": "underlays", "DGNUNDERLAY": "underlays",
    "3DFACE": "faces in space", "3DSOLID": "solids", "BODY": "solids", "REGION": "regions", "SURFACE": "surfaces",
    "MESH": "meshes", "XLINE": "endless lines", "RAY": "endless lines", "MLINE": "multilines", "HELIX": "helices",
    "ACAD_TABLE": "tables", "ATTDEF": "attribute templates", "VIEWPORT": "views", "SHAPE": "font shapes",
    "LIGHT": "lights", "SUN": "lights", "ACAD_PROXY_ENTITY": "entities of another program",
}  # fmt: skip
_FORMATTING = re.compile(r"\\[ACcFfHQTWp][^;\\{}]*;|\\S([^;]*);|\\[LlOoKkNX]|[{}]")
_UNICODE = re.compile(r"\\[Uu]\+([0-9A-Fa-f]{4})")


class Look(NamedTuple):
    """How an entity looks once layer and block are resolved."""

    layer: str
    colour: int
    rgb: str
    line_type: str
    hidden: str


@dataclass(frozen=True, slots=True)
class Place:
    """Where a block's entities go, and what they inherit from its insert."""

    frame: Frame
    handle: str = ""
    look: Look | None = None


@dataclass
class _Heights:
    """Entities off the plane, and between which heights they lie (mm)."""

    entities: list[int] = field(default_factory=list)
    low: float = math.inf
    high: float = -math.inf

    def take(self, entity: int, low: float, high: float) -> None:
        self.entities.append(entity)
        self.low, self.high = min(self.low, low), max(self.high, high)

    def __str__(self) -> str:
        same = self.high - self.low <= FLAT_MM
        return f"z = {self.high:.6g} mm" if same else f"z from {self.low:.6g} to {self.high:.6g} mm"


@dataclass
class EntityReader:
    """Puts entities into a builder one by one."""

    drawing: Drawing
    builder: SheetBuilder
    frame: Frame
    _looks: dict[tuple[str, str, str, str, Look | None], Look] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.counts = BlockCounts(self.drawing)
        self.top = Place(self.frame)
        self._raised = _Heights()
        self._tilted = _Heights()

    def add(self, drawn: Drawn) -> None:
        """Take an entity of model space."""
        if drawn.record.kind == "INSERT":
            self.counts.allow(drawn.record)
        self._add(drawn, self.top)

    def finish(self) -> None:
        """Note what concerns the whole drawing: heights, paper space."""
        if self.drawing.paper:
            self.builder.note("ignored", f"{self.drawing.paper:,} entities of paper space are left out.")
        for number in self._tilted.entities:
            text = f"{{n}} entities are not flat ({self._tilted}); they are read as seen from above."
            self.builder.note("not-flat", text, number)
        for number in self._raised.entities:
            self.builder.note("not-flat", f"{{n}} entities lie at {self._raised}, not at 0; read as if at 0.", number)

    def _add(self, drawn: Drawn, place: Place) -> None:
        record = drawn.record
        kind = record.kind
        look = self._look(record, place)
        handle = record.first(5)
        if place.handle:
            handle = f"{place.handle}/{handle}" if handle else place.handle
        read = READERS.get(kind)
        if kind == "INSERT":
            self._insert(drawn, place, look, handle)
        elif read is not None and not (kind == "POLYLINE" and record.whole(70) & 80):
            self._keep(record, read(drawn, place.frame, self.builder.flattening), look, handle)
        else:
            self._mark(record, place, look, handle)

    def _keep(self, record: Record, curves: Curves, look: Look, handle: str) -> None:
        builder, kind = self.builder, record.kind.lower()
        if curves.stray:
            number = builder.add_mark(handle, kind, look.layer, curves.at)
            builder.note("stray", f"{{n}} × {curves.stray}: no contour, left out.", number, curves.at)
            return
        number = builder.add(
            handle, kind, look.layer, curves.shapes,
            colour=look.colour, rgb=look.rgb, line_type=look.line_type, hidden=look.hidden,
        )  # fmt: skip
        if curves.remark:
            builder.note("info", curves.remark, number)
        low, high = curves.z
        if high - low > FLAT_MM or (curves.tilted and not isinstance(curves.shapes[0], Line)):
            self._tilted.take(number, low, high)
        elif high > FLAT_MM or low < -FLAT_MM:
            self._raised.take(number, low, high)

    def _insert(self, drawn: Drawn, place: Place, look: Look, handle: str) -> None:
        record, builder = drawn.record, self.builder
        name = record.first(2)
        block = self.drawing.blocks.get(name.lower())
        if block is None or block.external:
            builder.add_mark(handle, "insert", look.layer, None)
            if block is None:
                what = "which is not in the file; what it draws is missing"
            else:
                what = "which lies in another file; what it draws is missing"
            builder.note("recovered", f"{{n}} inserts of block “{clean_name(name)}”, {what}.")
            return
        drawn_once = False
        for frame in placements(record, block, place.frame):
            drawn_once = True
            inner = Place(frame, handle or f"line {record.line}", look)
            for entity in block.entities:
                self._add(entity, inner)
        if not drawn_once:
            number = builder.add_mark(handle, "insert", look.layer, None)
            builder.note("stray", f"{{n}} inserts of block “{clean_name(name)}” at scale 0 draw nothing.", number)
        for attribute in drawn.parts:
            self._add(Drawn(attribute), place)

    def _mark(self, record: Record, place: Place, look: Look, handle: str) -> None:
        builder, kind = self.builder, record.kind
        x, y, _ = place.frame.at(record.number(10), record.number(20), record.number(30))
        if kind == "POINT":
            number = builder.add_mark(handle, "point", look.layer, (x, y))
            builder.note("stray", "{n} points are no contour, left out.", number, (x, y))
        elif kind in _TEXTS:
            height = record.number(40) * abs(builder.mm_per_unit)
            number = builder.add_mark(handle, "text", look.layer, (x, y), text=_plain(record), height_mm=height)
            builder.note("live-text", "{n} texts are text, not outlines; they are not cut.", number, (x, y))
        else:
            if kind == "HATCH":
                _see_hatch(record)
            name = _LEFT_OUT.get(kind, f"entities of kind {clean_name(kind)}")
            if kind == "POLYLINE":
                name = "meshes"
            number = builder.add_mark(handle, clean_name(kind).lower(), look.layer, (x, y))
            builder.note("ignored", f"{{n}} {name} are left out.", number, (x, y))

    def _look(self, record: Record, place: Place) -> Look:
        codes, values = record.codes, record.values
        layer = values[codes.index(8)] if 8 in codes else "0"
        colour = values[codes.index(62)] if 62 in codes else ""
        line_type = values[codes.index(6)] if 6 in codes else ""
        other = "1" if 60 in codes and record.first(60) == "1" else ""
        if 420 in codes:
            other += rgb_of(record)
        key = (layer, colour, line_type, other, place.look)
        look = self._looks.get(key)
        if look is None:
            look = self._resolve(record, place.look, other.startswith("1"))
            if len(self._looks) < 10_000:
                self._looks[key] = look
        return look

    def _resolve(self, record: Record, insert: Look | None, invisible: bool) -> Look:
        name = clean_name(_unicode(record.first(8, "0")))
        if insert is not None and name == "0":
            # Layer 0 in a block means: the insert's layer.
            layer = Layer(insert.layer, insert.colour, insert.line_type, insert.rgb)
        else:
            layer = self.drawing.layers.get(record.first(8, "0").lower(), Layer(name))
        colour = abs(record.whole(62, 256))
        rgb = rgb_of(record)
        if colour == 256:
            colour = layer.colour
            rgb = rgb or layer.rgb
        elif colour == 0:
            colour, rgb = (insert.colour, insert.rgb) if insert is not None else (7, "")
        line_type = record.first(6).upper() or "BYLAYER"
        if line_type == "BYLAYER":
            line_type = layer.line_type.upper()
        elif line_type == "BYBLOCK":
            line_type = insert.line_type if insert is not None else ""
        hidden = "it is set invisible" if invisible else layer.hidden
        if insert is not None and insert.hidden:
            hidden = insert.hidden
        return Look(name if layer.name == name or insert is None else layer.name, colour,
                    rgb or _BASIC_COLOURS.get(colour, ""), clean_name(line_type), hidden)  # fmt: skip


def _see_hatch(record: Record) -> None:
    """Refuse counts that cannot be true; nothing else of a hatch is used."""
    for code in (91, 93):
        stated = record.whole(code) if code in record.codes else 0
        if stated > len(record.codes):
            what = f"a hatch says it has {stated:,} boundary parts, and {len(record.codes)} values are there"
            raise damaged(record, what)


def _plain(record: Record) -> str:
    """Return a text without its formatting codes."""
    parts = [v for c, v in zip(record.codes, record.values, strict=True) if c == 3] if record.kind == "MTEXT" else []
    text = _unicode(("".join(parts) + record.first(1))[:2000])
    for code, sign in (("%%d", "°"), ("%%D", "°"), ("%%c", "⌀"), ("%%C", "⌀"), ("%%p", "±"), ("%%P", "±")):
        text = text.replace(code, sign)
    if record.kind != "MTEXT":
        return text
    text = text.replace("\\P", " ").replace("\\~", " ")
    return _FORMATTING.sub(lambda m: m.group(1) or "", text)


def _unicode(text: str) -> str:
    return _UNICODE.sub(lambda m: chr(int(m.group(1), 16)), text) if "\\" in text else text
