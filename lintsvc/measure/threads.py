"""Holes for screws in a flat: which are to be tapped or countersunk, and what lies around them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np

from lintsvc.handbook.countersinks import Countersink, countersink
from lintsvc.handbook.threads import Thread, thread
from lintsvc.measure.flat_weld import Floats
from lintsvc.measure.flat_where import where
from lintsvc.model.choices import Choices
from lintsvc.model.finding import Where
from lintsvc.model.line_choice import first_fit
from lintsvc.model.sheet import Entity, Point2

if TYPE_CHECKING:
    import shapely

    from lintsvc.measure.flat_holes import RoundHole
    from lintsvc.measure.meant_sheet import MeantSheet

Row = TypeVar("Row", Thread, Countersink)

#: A stated centre this far outside a hole still means that hole.
_BESIDE_MM = 1.0

_TAP_WORDS = r"tap|tapped|taps|thread|threads|threaded|gewinde|taraud\w*|rosca\w*"
_SINK_WORDS = r"csk|csink|countersink|countersunk|senk\w*|frais\w*"
_SIZES = r"m\d+(?:\.\d+)?(?:x\d+(?:\.\d+)?)?|#\d+(?:-\d+)?|\d+/\d+(?:-\d+)?|\d+-\d+"
_SAYS_TAP = re.compile(rf"(?:^|[^a-z])(?:{_TAP_WORDS})(?:$|[^a-z])")
_SAYS_SINK = re.compile(rf"(?:^|[^a-z])(?:{_SINK_WORDS})(?:$|[^a-z])")
_SIZE = re.compile(rf"(?:^|[^a-z0-9])({_SIZES})(?:$|[^a-z0-9])")


@dataclass(frozen=True, slots=True)
class ScrewHole(Generic[Row]):
    """A hole that is to take a screw: what was said, the handbook's row, and the hole drawn there, if any."""

    said: str
    centre_mm: Point2
    #: None for a name that the handbook does not have; `why_not` then says what it has.
    row: Row | None
    why_not: str
    hole: RoundHole | None

    @property
    def diameter_mm(self) -> float:
        """Of the drawn hole; 0 where there is none."""
        return self.hole.diameter_mm if self.hole else 0.0

    def where(self, span: tuple[Point2, Point2] | None = None) -> Where:
        """Return the place of the hole, or of a measured distance beside it."""
        radius = max(self.diameter_mm / 2, 0.5)
        x, y = self.centre_mm
        around = [(x - radius, y - radius), (x + radius, y + radius)]
        return where(around, self.hole.entities if self.hole else (), at=self.centre_mm, span=span)


class ScrewHoles:
    """Tapped and countersunk holes of one flat, as the choices and the file's layers say."""

    def __init__(self, entities: Sequence[Entity], sheet: MeantSheet, choices: Choices) -> None:
        self.entities = entities
        self.sheet = sheet
        self.choices = choices

    @cached_property
    def tapped(self) -> tuple[ScrewHole[Thread], ...]:
        """Holes to be tapped: chosen ones first, then those on a layer that says so, by the user's word or its name."""
        chosen = [(x.thread, x.centre_mm) for x in self.choices.threads]
        return self._screw_holes(
            chosen, lambda x: self._thread_by_word(x) or _said_by_layer(x.layer, _SAYS_TAP), thread
        )

    def _thread_by_word(self, entity: Entity) -> str | None:
        word = first_fit(self.choices.lines, entity.layer, entity.line_type, entity.rgb, entity.colour)
        return word.thread if word else None

    @cached_property
    def countersunk(self) -> tuple[ScrewHole[Countersink], ...]:
        """Holes to be countersunk: chosen ones first, then those on a layer that says so."""
        chosen = [(x.screw, x.centre_mm) for x in self.choices.countersinks]
        return self._screw_holes(chosen, lambda x: _said_by_layer(x.layer, _SAYS_SINK), countersink)

    @cached_property
    def contours_with_screws(self) -> frozenset[int]:
        """Numbers of contours that are tapped or countersunk holes."""
        every = [x.hole for x in self.tapped] + [x.hole for x in self.countersunk]
        return frozenset(x.contour for x in every if x is not None)

    def _screw_holes(
        self, chosen: Iterable[tuple[str, Point2]], says: Callable[[Entity], str | None], look_up: Callable[[str], Row]
    ) -> tuple[ScrewHole[Row], ...]:
        found = [_look_up(said, centre, self._hole_at(centre), look_up) for said, centre in chosen]
        taken = {x.hole.contour for x in found if x.hole}
        entities = self.entities
        for hole in self.sheet.holes:
            said = says(entities[hole.entities[0]]) if hole.entities else None
            if said is not None and hole.contour not in taken:
                found.append(_look_up(said, hole.centre_mm, hole, look_up))
        return tuple(found)

    @cached_property
    def _centres(self) -> Floats:
        return np.array([x.centre_mm for x in self.sheet.holes], float).reshape(-1, 2)

    def _hole_at(self, centre: Point2) -> RoundHole | None:
        """Return the hole that is meant: the nearest centre, when the point lies in the hole or all but does."""
        if not len(self._centres):
            return None
        gaps = np.hypot(*(self._centres - centre).T)
        nearest = int(gaps.argmin())
        hole = self.sheet.holes[nearest]
        return hole if gaps[nearest] <= hole.diameter_mm / 2 + _BESIDE_MM else None

    @cached_property
    def _edges(self) -> shapely.STRtree:
        import shapely

        return shapely.STRtree([shapely.LinearRing(x) for x in self.sheet.rings])

    @cached_property
    def _round_ones(self) -> dict[int, RoundHole]:
        return {x.contour: x for x in self.sheet.holes}

    def edge_gap(self, centre: Point2, own: int | None, within_mm: float) -> tuple[float, tuple[Point2, Point2]] | None:
        """Return the distance from a point to the nearest edge of the sheet, the hole's own left out, and its span.

        None where no edge lies within the distance given.
        """
        import shapely

        point = shapely.Point(centre)
        gaps = []
        for i in self._edges.query(point, predicate="dwithin", distance=within_mm).tolist():
            # Contours come first among the rings, by their numbers.
            if i == own:
                continue
            hole = self._round_ones.get(i)
            if hole is not None:
                gaps.append(_to_circle(centre, hole.centre_mm, hole.diameter_mm / 2))
                continue
            ring = self._edges.geometries[i]
            foot = ring.interpolate(ring.project(point))
            gaps.append((point.distance(foot), (centre, (foot.x, foot.y))))
        return min(gaps) if gaps else None


def _to_circle(point: Point2, centre: Point2, radius: float) -> tuple[float, tuple[Point2, Point2]]:
    apart = math.dist(point, centre)
    if apart == 0:
        return radius, (point, (centre[0] + radius, centre[1]))
    share = radius / apart
    foot = (centre[0] + (point[0] - centre[0]) * share, centre[1] + (point[1] - centre[1]) * share)
    return abs(apart - radius), (point, foot)


def _look_up(said: str, centre: Point2, hole: RoundHole | None, look_up: Callable[[str], Row]) -> ScrewHole[Row]:
    place = hole.centre_mm if hole else centre
    try:
        return ScrewHole(said, place, look_up(said), "", hole)
    except ValueError as error:
        return ScrewHole(said, place, None, str(error), hole)


def _said_by_layer(layer: str, says: re.Pattern[str]) -> str | None:
    """Return the screw that a layer's name speaks of, when it also says what to do with it.

    >>> _said_by_layer("TAP_M4", _SAYS_TAP), _said_by_layer("M5-CSK", _SAYS_SINK), _said_by_layer("M4", _SAYS_TAP)
    ('M4', 'M5', None)
    """
    plain = layer.lower().replace("_", " ")
    size = _SIZE.search(plain)
    return size[1].upper().replace("X", "x") if size and says.search(plain) else None
