"""Everything measured on a flat, made on first use and kept."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property
from typing import Literal, TypeVar

import numpy as np

from lintsvc.measure import flat_defects as defects
from lintsvc.measure.flat_bends import bends_of
from lintsvc.measure.flat_contours import Contour
from lintsvc.measure.flat_corners import Corner, FineContour, Tip, corners_and_tips, too_fine
from lintsvc.measure.flat_curves import ARC
from lintsvc.measure.flat_drawing import Drawing, draw
from lintsvc.measure.flat_hinges import hinge_slits
from lintsvc.measure.flat_holes import RoundHole, Slot, round_hole, slots_among
from lintsvc.measure.flat_narrow import Narrow, NarrowPlaces, narrow_places
from lintsvc.measure.flat_open import OpenChain, around_something
from lintsvc.measure.flat_rings import box_of_curves
from lintsvc.measure.flat_texts import FlatText, texts_of, where_of
from lintsvc.measure.flat_where import Group, alike, together
from lintsvc.model.choices import Choices
from lintsvc.model.finding import Where
from lintsvc.model.material import Material
from lintsvc.model.sheet import Bend, Entity, Sheet

T = TypeVar("T")

#: A value that misses its limit by less is at the limit: rounding of coordinates in a file.
EXACT_MM = 1e-4
#: Narrow places are searched at least this wide, whatever the limit, so that the places found
#: do not depend on the limit.
_REACH_MM = 3.0


def _reach_mm(thickness_mm: float) -> float:
    """How far narrow places are looked for in a sheet of this thickness: as far as the limits of its rules reach."""
    return max(_REACH_MM, 1.5 * thickness_mm)


class FlatMeasurements:
    """Measurements of one flat. Rules read them; two rules that need the same cause one measurement.

    Only lines that are cut make contours. Where a file has none, lines whose role is unclear are taken
    as cut, and `unclear_taken` says so. Entity numbers are those of the sheet. Lengths are mm.
    """

    def __init__(self, sheet: Sheet, choices: Choices, material: Material | None) -> None:
        self.sheet = sheet
        self.choices = choices
        self.material = material
        self._narrow: tuple[float, NarrowPlaces | None] = (0.0, None)

    # ------------------------------------------------------------------ lines and contours

    @cached_property
    def unclear(self) -> tuple[Entity, ...]:
        """Drawn entities whose role is unclear."""
        return tuple(x for x in self.sheet.entities if x.role == "unclear" and x.shapes)

    @cached_property
    def unclear_taken(self) -> bool:
        """True when unclear lines are taken as cut, because the file has no other."""
        return bool(self.unclear) and not any(x.role == "cut" and x.shapes for x in self.sheet.entities)

    @cached_property
    def drawing(self) -> Drawing:
        """Contours and what keeps lines from being one."""
        role = "unclear" if self.unclear_taken else "cut"
        return draw([x for x in self.sheet.entities if x.role == role])

    @property
    def trouble(self) -> str:
        """Why contours could not be worked out; empty when they could."""
        return self.drawing.trouble

    @cached_property
    def unsure(self) -> str:
        """Why it is not sure what is part and what is cut out of it; empty when it is."""
        if self.trouble:
            return self.trouble
        if not self.contours:
            return "the flat has no closed contour"
        if around_something(self.open_chains, self.outers):
            return "an outline is open, so that what it bounds is not known"
        return ""

    @property
    def contours(self) -> tuple[Contour, ...]:
        """All closed contours, largest first."""
        return self.drawing.contours

    @cached_property
    def outers(self) -> tuple[Contour, ...]:
        """Outer contours: one for each part in the file, largest first."""
        return tuple(x for x in self.contours if x.role == "outer")

    @property
    def outer(self) -> Contour | None:
        """The largest outer contour."""
        return self.outers[0] if self.outers else None

    @cached_property
    def cutouts(self) -> tuple[Contour, ...]:
        """Contours of cutouts."""
        return tuple(x for x in self.contours if x.role == "cutout")

    @cached_property
    def islands(self) -> tuple[Contour, ...]:
        """Contours inside cutouts: their material drops out, with what is cut from it."""
        return tuple(x for x in self.contours if x.role == "island")

    @property
    def open_chains(self) -> tuple[OpenChain, ...]:
        """Lines that do not close, longest first, with their gaps."""
        return self.drawing.open_chains

    @cached_property
    def gaps(self) -> tuple[defects.JoinedGap, ...]:
        """Gaps in contours that were joined."""
        return tuple(defects.gaps_of(self.drawing))

    @cached_property
    def duplicates(self) -> tuple[defects.Duplicate, ...]:
        """Lines drawn more than once, wholly or along a part."""
        return tuple(defects.duplicates_of(self.drawing))

    @cached_property
    def self_crossings(self) -> tuple[defects.Crossing, ...]:
        """Contours that cross or touch themselves; lines that branch."""
        return tuple(defects.crossings_of(self.drawing))

    @cached_property
    def overlaps(self) -> tuple[defects.Overlap, ...]:
        """Pairs of contours that cross each other."""
        return tuple(defects.overlaps_of(self.drawing))

    @cached_property
    def strays(self) -> tuple[defects.Stray, ...]:
        """Things that can be no contour."""
        return tuple(defects.strays_of(self.drawing, self.sheet.entities))

    # ------------------------------------------------------------------ sizes

    @cached_property
    def area_mm2(self) -> float:
        """Area of the parts: outer contours less their cutouts. What drops out of cutouts does not count."""
        if self.overlaps:
            return self._area_of_overlapping()
        total = sum(x.area_mm2 for x in self.outers)
        return total - sum(x.area_mm2 for x in self.cutouts if x.depth == 1)

    def _area_of_overlapping(self) -> float:
        import shapely

        cutouts = shapely.union_all([shapely.make_valid(x.polygon) for x in self.cutouts if x.depth == 1])
        outers = shapely.union_all([shapely.make_valid(x.polygon) for x in self.outers])
        return float(shapely.difference(outers, cutouts).area)

    @cached_property
    def flat_box(self) -> tuple[float, float, float, float] | None:
        """Left, bottom, right, top of what `flat_mm` is the size of."""
        curves = self.drawing.curves
        # With its outline open, holes can be the only contours.
        which = [] if self.unsure else [x.curves for x in self.outers]
        return box_of_curves(curves, np.unique(np.concatenate(which)) if which else np.arange(len(curves)))

    @cached_property
    def flat_mm(self) -> tuple[float, float]:
        """Size along x and y of what is cut: the outer contours, else all cut lines; arcs by their true reach."""
        box = self.flat_box
        return (0.0, 0.0) if box is None else (box[2] - box[0], box[3] - box[1])

    @cached_property
    def centre_mm(self) -> tuple[float, float]:
        """Middle of the outer contours by area, else of the cut lines' points: moves and turns with the part."""
        if self.outers:
            middles = np.array([x.polygon.centroid.coords[0] for x in self.outers])
            areas = np.array([x.area_mm2 for x in self.outers])
            x, y = (areas @ middles / areas.sum()).tolist()
            return x, y
        points = self.drawing.curves.points
        x, y = points.mean(axis=0).tolist() if len(points) else (0.0, 0.0)
        return x, y

    @cached_property
    def sizes(self) -> tuple[tuple[Contour, float, float], ...]:
        """Each outer contour with length and width of the smallest rectangle around it, however turned."""
        import shapely

        found = []
        for contour in self.outers:
            corners = shapely.get_coordinates(shapely.oriented_envelope(contour.polygon))
            sides = sorted(np.hypot(*np.diff(corners[:3], axis=0).T).tolist()) if len(corners) == 5 else [0.0, 0.0]
            if contour.circle is not None:
                sides = [2 * contour.circle[2]] * 2
            found.append((contour, float(sides[1]), float(sides[0])))
        return tuple(found)

    # ------------------------------------------------------------------ features

    @cached_property
    def holes(self) -> tuple[RoundHole, ...]:
        """Round holes, drawn as circles, arcs or polygons."""
        curves = self.drawing.curves
        return tuple(x for c in self.cutouts if (x := round_hole(curves, c)) is not None)

    @cached_property
    def slots(self) -> tuple[Slot, ...]:
        """Slots with round or square ends."""
        round_ones = {x.contour for x in self.holes}
        rest = [x for x in self.cutouts if x.number not in round_ones and x.circle is None]
        return tuple(slots_among(self.drawing.curves, rest))

    @cached_property
    def bends(self) -> tuple[Bend, ...]:
        """Bends, with what the file and the user say of each."""
        return bends_of(self.sheet, self.choices)

    @cached_property
    def _corners(self) -> tuple[list[Corner], list[Tip]]:
        smooth = {x.contour for x in self.holes} | {x.contour for x in self.slots if x.round_ends}
        return corners_and_tips(self.drawing.curves, [x for x in self.contours if x.number not in smooth])

    @property
    def inside_corners(self) -> list[Corner]:
        """Inside corners of the material's edge, sharp or rounded by an arc."""
        return self._corners[0]

    @property
    def tips(self) -> list[Tip]:
        """Sharp points of the material or of the void."""
        return self._corners[1]

    @cached_property
    def fine_contours(self) -> tuple[FineContour, ...]:
        """Contours of very many points, with how many they need."""
        kinds = {x.number: x.kind for x in self.sheet.entities}
        curves = self.drawing.curves
        return tuple(x for c in self.contours if (x := too_fine(curves, c, kinds)) is not None)

    # ------------------------------------------------------------------ narrow places

    def narrow(self, limit_mm: float) -> list[Narrow]:
        """Return all places narrower than a limit, narrowest first. Raises TooTangled."""
        thickness = self.sheet.thickness_mm or self.choices.thickness_mm or 0.0
        places = self._narrow_within(max(_reach_mm(thickness), limit_mm))
        return places.below(limit_mm - EXACT_MM, self.contours)

    def search_for_thickness(self, thickness_mm: float) -> None:
        """Search narrow places once for every thickness up to this: copies made later have it. Raises TooTangled."""
        self._narrow_within(_reach_mm(thickness_mm))

    def _narrow_within(self, reach_mm: float) -> NarrowPlaces:
        searched, places = self._narrow
        if places is None or searched < reach_mm:
            places = narrow_places(self.drawing.curves, self.contours, reach_mm)
            self._narrow = (reach_mm, places)
        return places

    def webs(self, limit_mm: float) -> list[Narrow]:
        """Return webs thinner than a limit: material between two cutouts, or a cutout and the edge.

        Where they touch, or lie over each other by a hair, the web has no width.
        """
        webs = [x for x in self.narrow(limit_mm) if x.side == "material" and not x.within_one]
        return [*self._webs_of_touches(webs), *webs]

    def _webs_of_touches(self, webs: Sequence[Narrow]) -> Iterator[Narrow]:
        found = {frozenset(x.contours) for x in webs if x.width_mm <= defects.TOUCH_MM}
        for touch in defects.touches_of(self.drawing, self.overlaps):
            roles = {self.contours[c].role for c in touch.contours}
            if "cutout" in roles and "island" not in roles and frozenset(touch.contours) not in found:
                yield Narrow("material", 0.0, touch.at, touch.at, touch.contours, math.inf, False, touch.entities)

    def necks(self, limit_mm: float) -> list[Narrow]:
        """Return necks and tongues thinner than a limit: material within one contour, longer than wide."""
        return [x for x in self.narrow(limit_mm) if x.side == "material" and x.within_one and not x.is_detail]

    def narrow_slots(self, limit_mm: float) -> list[Narrow]:
        """Return slots narrower than a limit: void within one contour, deeper than wide, or a narrow cutout.

        Round holes are left out, and the mouths of round reliefs that are no narrower than the limit themselves.
        A cutout that is narrow as a whole is given once.
        """
        round_ones = {x.contour for x in self.holes}
        narrow = (x for x in self.narrow(limit_mm) if x.side == "void" and x.within_one and not x.is_detail)
        return [x for x in narrow if x.contours[0] not in round_ones and not self._is_mouth(x, limit_mm)]

    def _is_mouth(self, place: Narrow, wide_mm: float) -> bool:
        """True where a place lies between the two ends of one arc of more than half a circle, at least so wide."""
        curves = self.drawing.curves
        arcs = (curves.kind == ARC) & (curves.sweep > math.pi) & (2.0 * curves.radius >= wide_mm - EXACT_MM)
        for c in np.flatnonzero(arcs & np.isin(curves.entity, place.entities)).tolist():
            ends = curves.points_of(c)[[0, -1]]
            for one, other in (ends, ends[::-1]):
                if math.dist(one, place.start) < curves.same_mm and math.dist(other, place.end) < curves.same_mm:
                    return True
        return False

    def details(self, limit_mm: float) -> list[Narrow]:
        """Return notches and bumps narrower than a limit and at most as deep as wide."""
        round_ones = {x.contour for x in self.holes}
        return [x for x in self.narrow(limit_mm) if x.is_detail and x.contours[0] not in round_ones]

    # ------------------------------------------------------------------ for rules

    @property
    def exact_mm(self) -> float:
        """What misses a limit by less is at the limit."""
        return EXACT_MM

    @cached_property
    def texts(self) -> list[FlatText]:
        """Texts that are not outlines, but those read as data of a bend."""
        return texts_of(self.sheet, self.outers)

    @cached_property
    def doubtful_cuts(self) -> tuple[Entity, ...]:
        """Lines taken as cuts although something, too weak to decide, speaks for another purpose."""
        return tuple(x for x in self.sheet.entities if x.role == "cut" and x.shapes and "too weak" in x.role_why)

    @cached_property
    def _hinge_slits(self) -> frozenset[int]:
        return hinge_slits(self.cutouts)

    def between(self, place: Narrow) -> str:
        """Return in words what a web stands between."""
        if set(place.contours) <= self._hinge_slits:
            return "two slits of a living hinge"
        both = all(self.contours[k].role == "cutout" for k in place.contours)
        return "two cutouts" if both else "a cutout and the edge"

    def kind_of_overlap(self, overlap: defects.Overlap) -> Literal["parts", "cutouts", "edge"]:
        """Return what crosses: two parts, two cutouts, or a cutout and the edge of the part."""
        roles = [self.contours[k].role == "cutout" for k in overlap.contours]
        return "cutouts" if all(roles) else "edge" if any(roles) else "parts"

    def is_ring(self, island: Contour) -> bool:
        """True for a circle about the middle of a circle: a ring is left between them."""
        if island.parent is None or island.circle is None:
            return False
        around = self.contours[island.parent].circle
        return around is not None and math.dist(around[:2], island.circle[:2]) <= 0.1 * around[2]

    @property
    def where_of_all(self) -> Where:
        """The place of the part as a whole."""
        if self.outers:
            return self.together(self.outers, lambda x: x.area_mm2, worst_high=True).where
        return where_of(self.sheet.entities, self.centre_mm)

    def where_of_entity(self, entity: Entity) -> Where:
        """Return the place of an entity."""
        return where_of([entity], self.centre_mm)

    def where_of_entities(self, numbers: Iterable[int]) -> Where:
        """Return the place around entities by number."""
        return where_of((self.sheet.entities[x] for x in numbers), self.centre_mm)

    def alike(
        self,
        things: Iterable[T],
        value: Callable[[T], float],
        *,
        place: Callable[[T], Where] | None = None,
        kind: Callable[[T], object] = lambda x: None,
        worst_high: bool = False,
    ) -> list[Group[T]]:
        """Put things of one kind and nearly one value together: one finding for forty equal holes."""
        chosen = place if place is not None else _where
        return alike(things, value, chosen, self.centre_mm, kind=kind, worst_high=worst_high)

    def together(self, things: Sequence[T], value: Callable[[T], float], *, worst_high: bool = False) -> Group[T]:
        """Put all things together, whatever their value; the smallest, or the largest, stands for them."""
        return together(things, value, _where, self.centre_mm, worst_high=worst_high)


def _where(thing: object) -> Where:
    found = getattr(thing, "where", None)
    assert isinstance(found, Where)
    return found
