"""STEP (AP203, AP214, AP242): solids with names and instances, triangulated, each triangle with its face."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.model.units import Units
from lintsvc.readers.content import bytes_of, plain_head, plain_text
from lintsvc.readers.doubtful_units import by_the_users_word, guess_units
from lintsvc.readers.format import Format, ReadOptions
from lintsvc.readers.step_text import StepText

#: The kernel takes one to two seconds for a thousand faces with their edges.
MAX_BYTES = 24 * 2**20
MAX_FACES = 6_000
_MAX_SIZE_MM = 1e6
_MIN_SIZE_MM = 1e-3


def _claims(head: bytes, size: int) -> bool:
    # Comments may stand before the first word.
    return bool(re.match(rb"(\s|/\*.*?\*/)*ISO-10303-21\s*;", plain_head(head), re.DOTALL))


def read(path: Path, options: ReadOptions) -> Part:
    """Read a STEP file. Raises Unreadable, also for solids or faces that are lost on the way."""
    text = StepText(plain_text(bytes_of(path, MAX_BYTES, "STEP")))
    if text.solids == 0 and text.faces == 0:
        raise _nothing(text)
    if text.faces > MAX_FACES:
        raise Unreadable(
            f"The STEP file has {text.faces:,} faces; the limit is {MAX_FACES:,}.", remedy="Export fewer bodies."
        )
    from lintsvc.readers.step_apart import built_apart

    return built_apart(lambda: _build(text, options))


def _build(text: StepText, options: ReadOptions) -> Part:
    from lintsvc.readers.step_names import PMI, named_cylinders
    from lintsvc.readers.step_shapes import load
    from lintsvc.readers.step_triangles import triangulated

    notes: list[ReadNote] = []
    if not text.closed:
        notes.append(ReadNote("recovered", "The STEP file lacks its closing line; perhaps its end is lost."))
    placed = load(text.plain if text.closed else text.plain + b"\nEND-ISO-10303-21;\n", text, notes)
    rough = placed.rough_size_mm()
    units, scale = _units(text, rough, options)
    size = max(rough) * scale
    if size > _MAX_SIZE_MM:
        raise Unreadable(f"The part would be {size:.3g} mm long, which is impossible.", remedy="Look at the unit.")
    if size < _MIN_SIZE_MM:
        raise Unreadable(f"The part has no size: it is {size:.3g} mm long.", remedy="Look at the unit.")
    if scale != 1.0:
        placed = placed.scaled(scale)
    body, size_mm = triangulated(placed, notes)
    known = [x for x in text.length_units() if x != "?"]
    mm_per_unit = (Units(known[0], True, "").mm_per_unit if known else 1.0) * scale
    body = replace(body, exact=replace(body.exact, named=named_cylinders(text.plain, mm_per_unit)))
    if any(word in text.plain for word in PMI):
        why = (
            "Of the dimensions and tolerances that the STEP file carries (PMI) only notes on threads are read;"
            " names and layers of faces are too."
        )
        notes.append(ReadNote("ignored", why))
    return Part(options.name, options.sha256, "STEP", "body", units, size_mm, body=body, notes=tuple(notes))


def _units(text: StepText, size_mm: tuple[float, float, float], options: ReadOptions) -> tuple[Units, float]:
    """Return the unit, and what to multiply the kernel's shapes by: it takes a missing unit for mm."""
    found = text.length_units()
    known = [unit for unit in found if unit != "?"]
    if options.units is not None:
        units = by_the_users_word(options.units)
        was = Units(known[0], True, "").mm_per_unit if known else 1.0
        return units, units.mm_per_unit / was
    if not found:
        units = guess_units(size_mm, "body", "The STEP file")
        return units, units.mm_per_unit
    if not known:
        return Units("mm", True, "the STEP file states a unit of its own, which was converted to mm"), 1.0
    why = f"the STEP file states {known[0]}"
    if len(found) > 1:
        why += f" for most of its shapes, and also {', '.join(x for x in found if x != known[0])}"
    return Units(known[0], True, why), 1.0


def _nothing(text: StepText) -> Unreadable:
    if text.names_other_files:
        return Unreadable(
            "The STEP file holds no shapes: it only names the files of its parts, which are not opened.",
            remedy="Export the assembly as one STEP file, or send the parts.",
        )
    if any(name.startswith(("TESSELLATED_", "TRIANGULATED_", "COMPLEX_TRIANGULATED_")) for name in text.counts):
        return Unreadable(
            "The STEP file holds triangles in place of exact solids.", remedy="Export exact solids, or 3MF or STL."
        )
    if any("CURVE" in name or name == "POLYLINE" for name in text.counts):
        return Unreadable("The STEP file holds only curves and no solid.", remedy="Export the solid body.")
    return Unreadable("The STEP file holds no solid.", remedy="Export the solid body.")


FORMAT = Format("STEP", (".step", ".stp"), _claims, read)
