"""Flats with one fault planted at a known place, for every rule of the sheet pack.

A flat is a plate of 2 mm steel with a rounded notch, round holes, a slot and a rounded window; sizes, and the
way it lies on the page, are drawn from a seed. `good(seed)` has no fault; `PLANTS[rule]` adds or changes one
thing in the free middle, or at the edge, and says where the finding must lie and which entity it must name.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise

from parts.flats import loop, mapped, polygon, rectangle, ring, slot

from lintsvc.model.choices import Choices
from lintsvc.model.part import Part
from lintsvc.model.sheet import Arc, Circle, Entity, Line, Point2, Role, Shape, Sheet
from lintsvc.model.units import Units


@dataclass
class Expected:
    """Where the finding must lie (in the flat's own axes), how near, and of which drawn thing it must name."""

    at: Point2
    within_mm: float
    name: str = ""
    measured: float | None = None
    count: int = 1
    #: Rules that the same change breaks by necessity.
    also: tuple[str, ...] = ()
    level: str = ""


@dataclass
class Item:
    """A drawn thing: each shape an entity of its own."""

    shapes: list[Shape]
    role: Role = "cut"
    kind: str = "line"
    why: str = ""
    text: str = ""
    at: Point2 | None = None


@dataclass
class Flat:
    """A flat in its own axes, a corner at the origin."""

    width: float
    height: float
    items: dict[str, Item] = field(default_factory=dict)
    material: str = "steel-mild"
    thickness_mm: float = 2.0
    #: How thick the solid is that the flat comes from; None: it is a drawing.
    solid_mm: float | None = None
    stated: bool = True
    turn_deg: float = 0.0
    shift: Point2 = (0.0, 0.0)

    @property
    def free(self) -> Point2:
        """The middle of what is left free for planting: 20 mm and more to everything."""
        return self.width / 2, self.height / 2 + 3.0

    def placed(self, point: Point2) -> Point2:
        """A point of the flat where it lies on the page."""
        c, s = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        x, y = point
        return c * x - s * y + self.shift[0], s * x + c * y + self.shift[1]

    def part(self) -> tuple[Part, dict[str, tuple[int, ...]]]:
        """The part, and the entities of each item."""
        entities: list[Entity] = []
        numbers: dict[str, tuple[int, ...]] = {}
        for name, item in self.items.items():
            first = len(entities)
            for shape in item.shapes:
                entities.append(self._entity(len(entities), item, (shape,)))
            if not item.shapes:
                entities.append(self._entity(len(entities), item, ()))
            numbers[name] = tuple(range(first, len(entities)))
        units = Units("mm", self.stated, "planted")
        sheet = Sheet(tuple(entities), 0.005, thickness_mm=self.solid_mm)
        part = Part("planted.dxf", "0" * 64, "DXF", "sheet", units, (self.width, self.height, 0.0), sheet=sheet)
        return part, numbers

    def _entity(self, number: int, item: Item, shapes: tuple[Shape, ...]) -> Entity:
        if shapes:
            one = Sheet((Entity(0, "", "", "", shapes),), 0.005)
            shapes = mapped(one, self.placed, turn_deg=self.turn_deg).entities[0].shapes
        at = None if item.at is None else self.placed(item.at)
        return Entity(
            number, f"#{number}", item.kind, "0", shapes, text=item.text, role=item.role, role_why=item.why, at=at
        )

    def choices(self) -> Choices:
        """What the user says of it."""
        return Choices(process="sheet", material=self.material, thickness_mm=self.thickness_mm)

    def plus(self, name: str, item: Item | list[Shape]) -> Flat:
        """The flat with one more thing, or one thing in place of another."""
        made = item if isinstance(item, Item) else Item(item)
        return replace(self, items={**self.items, name: made})


def outline(width: float, height: float, top: list[Point2] | None = None) -> list[Shape]:
    """A plate with a notch of 20 x 15 mm at its upper left corner, rounded inside; `top`: points of the upper side."""
    r, x, y = 3.0, 20.0, height - 15.0
    upper = [(width, height), *(top or []), (x, height)]
    points = [(0.0, y), (0.0, 0.0), (width, 0.0), *upper, (x, y + r)]
    lines: list[Shape] = [Line(a, b) for a, b in pairwise(points)]
    return [*lines, Arc((x - r, y + r), r, 270, 360), Line((x - r, y), (0.0, y))]


def window(x: float, y: float, wide: float, high: float, r: float = 2.0) -> list[Shape]:
    """A window with rounded corners about (x, y)."""
    w, h = wide / 2, high / 2
    sides: list[Shape] = [
        Line((x - w + r, y - h), (x + w - r, y - h)),
        Line((x + w, y - h + r), (x + w, y + h - r)),
        Line((x + w - r, y + h), (x - w + r, y + h)),
        Line((x - w, y + h - r), (x - w, y - h + r)),
    ]
    corners = (((w - r, r - h), 270), ((w - r, h - r), 0), ((r - w, h - r), 90), ((r - w, r - h), 180))
    return sides + [Arc((x + dx, y + dy), r, start, start + 90) for (dx, dy), start in corners]


def good(seed: int) -> Flat:
    """A flat without a fault."""
    pick = random.Random(seed)
    width, height = pick.uniform(130, 190), pick.uniform(115, 150)
    first, second = pick.uniform(2.0, 6.0), pick.uniform(2.0, 6.0)
    items = {
        "outline": Item(outline(width, height)),
        "hole 0": Item([Circle((18.0, 18.0), first)], kind="circle"),
        "hole 1": Item([Arc((width - 18, 18), second, 0, 200), Arc((width - 18, 18), second, 200, 360)], kind="arc"),
        "slot": Item(slot(width - 30, height - 18, pick.uniform(16, 30), pick.uniform(4, 8))),
        "window": Item(window(width / 2, 20, pick.uniform(14, 30), pick.uniform(10, 16))),
    }
    shift = pick.uniform(-500, 500), pick.uniform(-500, 500)
    return Flat(width, height, items, turn_deg=pick.uniform(0, 360), shift=shift)


Plant = Callable[[Flat, random.Random], tuple[Flat, Expected]]
SHARP = "sheet/sharp-inside-corner"


def shortened(f: Flat, gap: float) -> Flat:
    """The plate with its right side ending below the corner."""
    shapes = list(f.items["outline"].shapes)
    shapes[2] = Line((f.width, 0.0), (f.width, f.height - gap))
    return f.plus("outline", shapes)


def open_outline(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    gap = pick.uniform(0.2, 30.0)
    return shortened(f, gap), Expected((f.width, f.height - gap / 2), 0.01, "outline", gap)


def open_hole(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    (x, y), r = f.free, pick.uniform(4, 8)
    gap_deg = pick.uniform(5, 20)
    width = 2 * r * math.sin(math.radians(gap_deg / 2))
    at = x + r * math.cos(math.radians(gap_deg / 2)), y - r * math.sin(math.radians(gap_deg / 2))
    return f.plus("new", [Arc((x, y), r, 0.0, 360 - gap_deg)]), Expected(at, 0.5, "new", width)


def slit(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    x, y = f.free
    return f.plus("new", [Line((x, y - 8), (x, y + 8))]), Expected((x, y), 0.01, "new", 16.0, level="note")


def line_across(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    y = f.free[1]
    line = Line((0, y), (f.width, y))
    return f.plus("new", [line]), Expected((f.width / 2, y), 0.01, "new", f.width, level="warning")


def joined_gap(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    gap = pick.uniform(0.015, 0.095)
    return shortened(f, gap), Expected((f.width, f.height - gap / 2), 0.01, "outline", gap)


def hole_twice(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    again = [replace(x) for x in f.items["hole 0"].shapes if isinstance(x, Circle)]
    r = again[0].radius_mm
    return f.plus("new", list(again)), Expected((18, 18), r + 0.1, "new", math.tau * r)


def side_twice(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    again: list[Shape] = [Line((f.width, 0.0), (0.0, 0.0))]
    return f.plus("new", again), Expected((f.width / 2, 0), 0.01, "new", f.width)


def piece_twice(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    a, b = pick.uniform(5, 20), pick.uniform(40, 60)
    return f.plus("new", [Line((a, 0.0), (b, 0.0))]), Expected(((a + b) / 2, 0), 0.01, "new", b - a)


def bow_tie(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    x, y = f.free
    w, h = pick.uniform(8, 16), pick.uniform(8, 16)
    shape = loop([(x - w, y - h), (x + w, y + h), (x + w, y - h), (x - w, y + h)])
    # Its points may be sharper than a kerf can follow.
    also = (SHARP, "sheet/narrow-neck", "sheet/slot-too-narrow", "sheet/kerf-eats-detail")
    return f.plus("new", [shape]), Expected((x, y), 0.01, "new", 1, also=also, level="error")


def diagonal(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    """A line from a corner into the middle of the window's corner: it branches at the plate's corner only."""
    f = f.plus("new", [Line((0.0, 0.0), (f.width, f.height))])
    also = ("sheet/open-contour", "sheet/overlapping-cutouts")
    return f, Expected((0, 0), f.width * 2, "new", 2, also=also, level="warning")


def leftover(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    long = pick.uniform(3, 20)
    line = Line((-30, 10), (-30, 10 + long))
    return f.plus("new", [line]), Expected((-30, 10 + long / 2), 0.01, "new", long)


def no_length(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    x, y = f.free
    return f.plus("new", [Line((x, y), (x + 0.0005, y))]), Expected((x, y), 0.01, "new", 0.0)


def unitless(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    return replace(f, stated=False), Expected((f.width / 2, f.height / 2), 10.0, "outline")


def small_circle(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    r = pick.uniform(0.3, 0.99)
    return f.plus("new", [Circle(f.free, r)]), Expected(f.free, 0.01, "new", 2 * r)


def small_arcs(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    r, a = pick.uniform(0.3, 0.99), pick.uniform(0, 360)
    return f.plus("new", [Arc(f.free, r, a, a + 150), Arc(f.free, r, a + 150, a)]), Expected(f.free, 0.01, "new", 2 * r)


def small_polygon(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    r = pick.uniform(0.3, 0.99)
    shapes: list[Shape] = list(ring(polygon(*f.free, r, pick.randint(10, 40), pick.uniform(0, 90))))
    return f.plus("new", shapes), Expected(f.free, 0.01, "new", 2 * r)


def web_to_edge(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    web, r = pick.uniform(0.3, 1.95), pick.uniform(3, 8)
    y = f.free[1]
    return f.plus("new", [Circle((web + r, y), r)]), Expected((web / 2, y), 0.01, "new", web)


def web_between(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    web, r, q, a = pick.uniform(0.3, 1.95), pick.uniform(3, 6), pick.uniform(3, 6), pick.uniform(0, math.tau)
    x, y = f.free
    c, s = math.cos(a), math.sin(a)
    far = r + web + q
    new: list[Shape] = [Circle((x, y), r), Circle((x + far * c, y + far * s), q)]
    middle = x + (r + web / 2) * c, y + (r + web / 2) * s
    return f.plus("new", new), Expected(middle, 0.01, "new", web)


def web_of_slots(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    web, (x, y) = pick.uniform(0.3, 1.95), f.free
    new = slot(x - 10 - web / 2, y, 20, 5) + slot(x + 10 + web / 2, y, 20, 5)
    return f.plus("new", new), Expected((x, y), 0.01, "new", web)


def tiny_part(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    long, wide = pick.uniform(5, 9.9), pick.uniform(3, 5)
    small = replace(f, width=long, height=wide, items={"outline": Item(list(ring(rectangle(0, 0, long, wide))))})
    return small, Expected((long / 2, wide / 2), 0.01, "outline", long)


def huge_part(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    long = pick.uniform(3050, 5000)
    big = replace(f, width=long).plus("outline", outline(long, f.height))
    return big, Expected((long / 2, f.height / 2), 5.0, "outline", long)


def chlorinated(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    bad = replace(f, material=pick.choice(["pvc", "neoprene", "ptfe"]))
    also = ("sheet/thickness-not-stocked",)
    return bad, Expected((f.width / 2, f.height / 2), 10.0, "outline", level="error", also=also)


def cutouts_cross(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    r, deep, (x, y) = pick.uniform(5, 9), pick.uniform(0.1, 3.0), f.free
    new: list[Shape] = [Circle((x - r + deep / 2, y), r), Circle((x + r - deep / 2, y), r)]
    return f.plus("new", new), Expected((x, y), 2 * r, "new", level="warning")


def through_edge(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    r, y = pick.uniform(4, 8), f.free[1]
    return f.plus("new", [Circle((f.width - r / 2, y), r)]), Expected((f.width, y), r, "new", level="warning")


def parts_overlap(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    deep = pick.uniform(0.5, 5)
    new: list[Shape] = list(ring(rectangle(f.width - deep, 40, 50, 20)))
    also = ("sheet/several-parts",)
    return f.plus("new", new), Expected((f.width, 50), 100.0, "new", deep * 20, also=also, level="error")


def narrow_slot(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    wide = pick.uniform(0.3, 1.95)
    return f.plus("new", slot(*f.free, 18, wide)), Expected(f.free, 9.1, "new", wide)


def narrow_notch(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    wide, x, h = pick.uniform(0.3, 1.95), f.width / 2, f.height
    top = [(x + wide / 2, h), (x + wide / 2, h - 12), (x - wide / 2, h - 12), (x - wide / 2, h)]
    made = f.plus("outline", outline(f.width, h, top))
    return made, Expected((x, h - 6), 6.1, "outline", wide, also=(SHARP,))


def small_cutout(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    wide, sides = pick.uniform(0.3, 1.95), pick.randint(3, 7)
    # No two sides of a triangle, a pentagon or a heptagon face each other.
    corners = polygon(*f.free, wide / 2 / math.cos(math.pi / sides), sides, pick.uniform(0, 90))
    return f.plus("new", list(ring(corners))), Expected(f.free, 0.01, "new", wide, also=(SHARP,))


def tongue(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    wide, x, h = pick.uniform(0.3, 1.95), f.width / 2, f.height
    top = [(x + wide / 2, h), (x + wide / 2, h + 12), (x - wide / 2, h + 12), (x - wide / 2, h)]
    made = f.plus("outline", outline(f.width, h, top))
    return made, Expected((x, h + 6), 6.1, "outline", wide, also=(SHARP,))


def ring_left(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    r = pick.uniform(3, 5)
    new: list[Shape] = [Circle(f.free, r), Circle(f.free, r * 1.6)]
    return f.plus("new", new), Expected(f.free, 0.1, "new", math.pi * r * r)


def letter_inside(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    new = window(*f.free, 24, 24) + window(*f.free, 10, 10)
    return f.plus("new", new), Expected(f.free, 0.1, "new", 100 - 16 + 4 * math.pi)


def text(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    item = Item([], "note", "text", text="TOP SIDE", at=f.free)
    return f.plus("new", item), Expected(f.free, 0.01, "new", 1, level="warning")


def unclear(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    x, y = f.free
    item = Item([Line((x - 9, y), (x + 9, y))], "unclear", why="it is drawn with a broken line type")
    return f.plus("new", item), Expected(f.free, 0.01, "new", 1)


def odd_thickness(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    t = pick.choice([1.7, 2.2, 2.3])
    return replace(f, thickness_mm=t), Expected((f.width / 2, f.height / 2), 10.0, "outline", t)


def other_solid(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    t = pick.choice([1.0, 1.5, 2.5, 3.0])
    return replace(f, solid_mm=t), Expected((f.width / 2, f.height / 2), 10.0, "outline", abs(2.0 - t))


def fine_circle(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    count = pick.randint(2000, 6000)
    item = Item([loop(polygon(*f.free, 9.0, count))], kind="lwpolyline")
    return f.plus("new", item), Expected(f.free, 0.1, "new")


def second_part(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    new: list[Shape] = list(ring(rectangle(f.width + 20, 0, 40, 30)))
    return f.plus("new", new), Expected((f.width + 40, 15), 0.1, "new", 2)


def sharp_window(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    x, y = f.free
    new: list[Shape] = list(ring(rectangle(x - 8, y - 6, 16, 12)))
    return f.plus("new", new), Expected(f.free, 10.1, "new", 0.0)


def nick(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    wide, x, h = pick.uniform(0.08, 0.145), f.width / 2, f.height
    deep = wide * 0.8
    top = [(x + wide / 2, h), (x + wide / 2, h - deep), (x - wide / 2, h - deep), (x - wide / 2, h)]
    made = f.plus("outline", outline(f.width, h, top))
    return made, Expected((x, h), 0.2, "outline", wide, also=(SHARP,))


def sharp_notch(f: Flat, pick: random.Random) -> tuple[Flat, Expected]:
    angle, x, h = pick.uniform(8, 27), f.width / 2, f.height
    half = 10 * math.tan(math.radians(angle / 2))
    made = f.plus("outline", outline(f.width, h, [(x + half, h), (x, h - 10), (x - half, h)]))
    return made, Expected((x, h - 10), 0.01, "outline", 4 * 0.15 * math.tan(math.radians(angle / 2)), also=(SHARP,))


PLANTS: dict[str, tuple[Plant, ...]] = {
    "sheet/open-contour": (open_outline, open_hole, slit, line_across),
    "sheet/gap-in-contour": (joined_gap,),
    "sheet/duplicate-line": (hole_twice, side_twice, piece_twice),
    "sheet/self-crossing-contour": (bow_tie, diagonal),
    "sheet/stray-entity": (leftover, no_length),
    "sheet/units-missing": (unitless,),
    "sheet/hole-too-small": (small_circle, small_arcs, small_polygon),
    "sheet/web-too-thin": (web_to_edge, web_between, web_of_slots),
    "sheet/part-too-small": (tiny_part,),
    "sheet/part-too-big": (huge_part,),
    "sheet/unsafe-to-laser": (chlorinated,),
    "sheet/overlapping-cutouts": (cutouts_cross, through_edge, parts_overlap),
    "sheet/slot-too-narrow": (narrow_slot, narrow_notch, small_cutout),
    "sheet/narrow-neck": (tongue,),
    "sheet/island-drops-out": (ring_left, letter_inside),
    "sheet/live-text": (text,),
    "sheet/engraving-unclear": (unclear,),
    "sheet/thickness-not-stocked": (odd_thickness,),
    "sheet/thickness-contradicted": (other_solid,),
    "sheet/needlessly-fine": (fine_circle,),
    "sheet/several-parts": (second_part,),
    "sheet/sharp-inside-corner": (sharp_window,),
    "sheet/kerf-eats-detail": (nick, sharp_notch),
}
