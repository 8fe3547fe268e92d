"""DXF, R12 to 2018, text and binary: a flat part."""

from __future__ import annotations

import gc
import math
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import chain
from pathlib import Path

from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.model.units import Units
from lintsvc.readers.content import bytes_of, plain_head
from lintsvc.readers.doubtful_units import by_the_users_word, guess_units
from lintsvc.readers.dxf_binary import SENTINEL, binary_records
from lintsvc.readers.dxf_drawing import Drawing, model_space
from lintsvc.readers.dxf_entities import EntityReader
from lintsvc.readers.dxf_frame import unit_frame
from lintsvc.readers.dxf_tags import Record, ascii_records, text_of
from lintsvc.readers.flat_curves import Flattening
from lintsvc.readers.flat_roles import built_in_rules
from lintsvc.readers.flat_sheet import SheetBuilder
from lintsvc.readers.format import Format, ReadOptions

#: 500,000 lines as wordy programs write them; about 5 s.
MAX_BYTES = 40 * 2**20
#: A flat longer than this fits no machine and is named at once (mm).
_IMPOSSIBLE_MM = 100_000.0

#: $INSUNITS (DXF reference; the list is in ezdxf.units too). Survey feet and the like differ by 2e-6.
_UNITS = {
    1: "in", 2: "ft", 3: "mile", 4: "mm", 5: "cm", 6: "m", 7: "km", 9: "mil", 10: "yd", 13: "micron", 14: "dm",
    21: "ft", 22: "in", 23: "yd", 24: "mile",
}  # fmt: skip
_OTHER_UNITS = {
    8: "microinches", 11: "ångströms", 12: "nanometres", 15: "decametres", 16: "hectometres", 17: "gigametres",
    18: "astronomical units", 19: "light years", 20: "parsecs",
}  # fmt: skip


def claims(head: bytes, size: int) -> bool:
    """True for the binary sentinel, and for text that begins with a DXF section or a DXF comment."""
    if head.startswith(SENTINEL[:18]):
        return True
    text = plain_head(head)
    return re.match(rb"\s*(0+\s*[\r\n]+\s*(SECTION|EOF)\b|999[ \t]*[\r\n])", text) is not None


def read(path: Path, options: ReadOptions) -> Part:
    """Read a DXF file. Raises Unreadable."""
    data = bytes_of(path, MAX_BYTES, "DXF")
    with _no_collection():
        return _read_bytes(data, options)


def _read_bytes(data: bytes, options: ReadOptions) -> Part:
    if data.startswith(SENTINEL[:18]):
        if not data.startswith(SENTINEL) or len(data) < 32:
            raise Unreadable("The binary DXF file breaks off.", f"byte {len(data)}", "Export it again.")
        return _read(lambda: binary_records(data), "", options)
    text, note = text_of(data)
    return _read(lambda: ascii_records(text), note, options)


FORMAT = Format("DXF", (".dxf",), claims, read)


def _read(records: Callable[[], Iterator[Record]], note: str, options: ReadOptions) -> Part:
    drawing, builder, units = _collect(records(), options, None)
    if units is None:
        units = _assumed(drawing, builder)
        # The curves were flattened in mm; in another unit they are made anew, to the right tolerance.
        if units.value != "mm":
            drawing, builder, _ = _collect(records(), options, units)
    if note:
        builder.note("recovered", note)
    if not drawing.ends:
        builder.note("recovered", "The file lacks its closing EOF; all its sections are complete.")
    part = builder.finish(options, "DXF", units)
    return replace(part, notes=part.notes + tuple(_about_units(drawing, part)))


@contextmanager
def _no_collection() -> Iterator[None]:
    """Keep Python's collector still: hundreds of thousands of small objects, none of them in a cycle."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _collect(
    records: Iterator[Record], options: ReadOptions, assumed: Units | None
) -> tuple[Drawing, SheetBuilder, Units | None]:
    """Read all entities, in the unit that the user or the header states, else as assumed, else as mm."""
    drawing = Drawing()
    entities = model_space(records, drawing)
    # The header is complete when the first entity comes.
    first = next(entities, None)
    units = _stated(drawing.header, options)
    scale = (units or assumed or Units("mm", False, "")).mm_per_unit
    builder = SheetBuilder(built_in_rules(), Flattening(), scale, options.lines)
    reader = EntityReader(drawing, builder, unit_frame(scale))
    if first is not None:
        for drawn in chain((first,), entities):
            reader.add(drawn)
    reader.finish()
    return drawing, builder, units


def _stated(header: dict[str, str], options: ReadOptions) -> Units | None:
    if options.units is not None:
        return by_the_users_word(options.units)
    code = _code(header, "$INSUNITS")
    if code not in _UNITS:
        return None
    return Units(_UNITS[code], True, f"The DXF header states it ($INSUNITS {code}).")


def _assumed(drawing: Drawing, builder: SheetBuilder) -> Units:
    box = builder.box()
    size = (box[2] - box[0], box[3] - box[1])
    if not all(map(math.isfinite, size)):
        size = (0.0, 0.0)
    code = _code(drawing.header, "$INSUNITS")
    units = guess_units(size, "sheet", "The DXF file")
    if code is not None and code != 0:
        what = _OTHER_UNITS.get(code, "no unit that DXF defines")
        return replace(units, why=f"$INSUNITS {code} means {what}, which no part is drawn in. {units.why}")
    return units


def _about_units(drawing: Drawing, part: Part) -> Iterator[ReadNote]:
    units, longest = part.units, max(part.size_mm)
    if longest > _IMPOSSIBLE_MM:
        text = f"In {units.value} the drawing is {longest / 1000:,.0f} m long, which no part is: see its unit."
        yield ReadNote("info", text)
    measurement = _code(drawing.header, "$MEASUREMENT")
    if not units.stated and measurement in (0, 1) and (units.value == "in") != (measurement == 0):
        system = "inches" if measurement == 0 else "millimetres"
        yield ReadNote("info", f"The header's $MEASUREMENT {measurement} speaks for {system}.")


def _code(header: dict[str, str], name: str) -> int | None:
    """Return a header variable as a whole number; None where it is absent or something else."""
    try:
        return int(header[name])
    except (KeyError, ValueError):
        return None
