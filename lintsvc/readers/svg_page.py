"""The size of an SVG's page: from user units to mm, y up, and how sure that is."""

from __future__ import annotations

import re
from dataclasses import dataclass

from lintsvc.model.part import Unreadable
from lintsvc.model.units import MM_PER_UNIT, Units
from lintsvc.readers.doubtful_units import by_the_users_word
from lintsvc.readers.flat_affine import Affine
from lintsvc.readers.svg_values import PHYSICAL, PX, length_of, numbers_of, user_length
from lintsvc.readers.svg_xml import Node

_MM_PER_PX = MM_PER_UNIT["px"]
#: Width and height that fit the viewBox within this are one scale (files round their sizes).
_SAME = 1e-3


@dataclass(frozen=True, slots=True)
class Page:
    """`place`: user units to mm, y up, origin at the page's lower left. `width`, `height`: user units, for per cent."""

    place: Affine
    width: float
    height: float
    units: Units
    remarks: tuple[str, ...]


def page_of(root: Node, users_unit: str | None) -> Page:
    """Return the page of an SVG. Raises Unreadable for a page of no size.

    A width or height in mm, cm, in, pt, pc or Q states the size. In px, in per cent or not at all it
    does not: px are then taken as 96 to the inch (CSS), and the unit is doubtful. The user's word
    replaces the unit of width and height, or that of the user units where there are none.
    """
    box = view_box(root)
    width, height = _side(root, "width"), _side(root, "height")
    unit = next((x[1] for x in (width, height) if x is not None), "")
    if box is None:
        w, h = (x[0] * PX[x[1]] if x else 0.0 for x in (width, height))
        inner = Affine()
        shown = (w or 100.0, h or 100.0)
    else:
        w, h = (x[0] * PX[x[1]] if x else 0.0 for x in (width, height))
        w, h = w or (h * box[2] / box[3] if h else box[2]), h or (w * box[3] / box[2] if w else box[3])
        inner = fitted(box, w, h, root.get("preserveAspectRatio"))
        shown = box[2:]
    mm_per_px = _MM_PER_PX
    if users_unit is not None:
        units = by_the_users_word(users_unit)
        # A size of 50 in "px" that the user calls mm: 50 mm.
        mm_per_px = units.mm_per_unit / PX[unit]
    else:
        units = _units(unit, width is None and height is None)
    # y runs down on the page.
    place = Affine(mm_per_px, 0.0, 0.0, -mm_per_px, 0.0, h * mm_per_px).of(inner)
    remarks = _remarks(inner, box, w, h) if box is not None else ()
    return Page(place, *shown, units, remarks)


def view_box(node: Node) -> tuple[float, float, float, float] | None:
    """Return the four numbers of a viewBox, None where there is none. Raises Unreadable for one of no size."""
    text = node.get("viewBox")
    if not text:
        return None
    values = numbers_of(text)
    if len(values) != 4 or not all(abs(x) < 1e12 for x in values) or values[2] <= 0 or values[3] <= 0:
        raise Unreadable("The SVG's viewBox has no size.", f'viewBox="{text[:60]}"', "Save it again with a page size.")
    return values[0], values[1], values[2], values[3]


def fitted(box: tuple[float, float, float, float], width: float, height: float, aspect: str) -> Affine:
    """Return the map of a viewBox onto an area (SVG 2, section 8.2: preserveAspectRatio)."""
    x, y, w, h = box
    sx, sy = width / w, height / h
    words = aspect.split()
    align = words[0] if words else "xMidYMid"
    if align == "none":
        return Affine(a=sx, d=sy, e=-x * sx, f=-y * sy)
    s = max(sx, sy) if "slice" in words else min(sx, sy)
    left = {"xMin": 0.0, "xMax": 1.0}.get(align[:4], 0.5) * (width - w * s)
    top = {"YMin": 0.0, "YMax": 1.0}.get(align[4:], 0.5) * (height - h * s)
    return Affine(a=s, d=s, e=left - x * s, f=top - y * s)


def viewport_of(node: Node, outer: tuple[float, float], size: tuple[str, str]) -> tuple[Affine, float, float]:
    """Return the map of an inner `svg` or `symbol`, and its size in its own units. `size`: width and height as said."""
    x, y = user_length(node.get("x"), outer[0]), user_length(node.get("y"), outer[1])
    if node.tag == "symbol":
        x = y = 0.0
    width = user_length(size[0], outer[0], outer[0])
    height = user_length(size[1], outer[1], outer[1])
    box = view_box(node)
    if box is None or not (width > 0 and height > 0):
        return Affine(e=x, f=y), width, height
    return Affine(e=x, f=y).of(fitted(box, width, height, node.get("preserveAspectRatio"))), box[2], box[3]


def _side(root: Node, name: str) -> tuple[float, str] | None:
    """Return a side of the page with its unit; None for per cent, `auto`, nothing, and less than nothing."""
    found = length_of(root.get(name))
    return found if found is not None and found[1] != "%" and found[0] > 0 else None


def _units(unit: str, sizeless: bool) -> Units:
    if unit in PHYSICAL:
        value = unit if unit in MM_PER_UNIT else "in" if unit in ("pt", "pc") else "mm"
        return Units(value, True, f"The SVG states its width and height in {unit}.")
    said = "states no width and height" if sizeless else "gives its size in px"
    why = (
        f"The SVG {said}, which is no physical size; 96 px to the inch are assumed (CSS). "
        "Programs also write 72 or 90 to the inch, or mean mm."
    )
    return Units("px", False, why, "mm")


def _remarks(inner: Affine, box: tuple[float, float, float, float], w: float, h: float) -> tuple[str, ...]:
    sx, sy = w / box[2], h / box[3]
    if abs(inner.a - inner.d) > _SAME * abs(inner.a):
        return (f"The page is stretched: {sx:.6g} along x, {sy:.6g} along y. Circles become ellipses.",)
    if abs(sx - sy) > _SAME * max(sx, sy):
        return (
            f"Width and height do not fit the viewBox ({sx:.6g} against {sy:.6g}); "
            f"it is scaled by {inner.a:.6g}, as SVG asks.",
        )
    return ()


def with_other_size(units: Units, size_mm: tuple[float, float, float]) -> Units:
    """Return doubtful units with the size that the part has in the other unit."""
    if units.stated or units.other is None:
        return units
    factor = MM_PER_UNIT[units.other] / units.mm_per_unit
    other = (size_mm[0] * factor, size_mm[1] * factor, size_mm[2] * factor)
    return Units(units.value, False, units.why, units.other, other)


_ID = re.compile(r"#([^\s)]+)")


def local_id(reference: str) -> str | None:
    """Return the id that a reference within the file names; None for one that leads outside."""
    found = _ID.fullmatch(reference.strip())
    return found.group(1) if found else None
