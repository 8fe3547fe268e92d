"""An order as its rules see it.

`CheckedOrder` holds what the order says and what the parts are; what they have to do with each other is worked out on
first use, each thing once, by the modules beside this one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from lintsvc.model.material import Material, Value
from lintsvc.model.source import Source
from lintsvc.order.balance import ON_A_LINE
from lintsvc.order.file import OrderFile
from lintsvc.order.kept import NOTHING_KEPT, Kept
from lintsvc.order.relations import Apart, Holds
from lintsvc.order.shape import Floats
from lintsvc.order.things import BoughtThing, OrderedPart, Thing
from lintsvc.rulebook.rule import About, CannotCheck
from lintsvc.rulebook.shop import NO_SHOP, Shop

if TYPE_CHECKING:
    from lintsvc.order.balance import Balance
    from lintsvc.order.clash import Apartness, Clash
    from lintsvc.order.loops import Loop
    from lintsvc.order.meeting import Meets, Way
    from lintsvc.order.placing import Placing
    from lintsvc.order.play import NarrowHole, Play
    from lintsvc.order.pocket import Held
    from lintsvc.order.schedule import Schedule
    from lintsvc.order.screw_mass import Screws
    from lintsvc.order.screws import Driven, Room
    from lintsvc.order.solids import Standing
    from lintsvc.order.spares import Spares
    from lintsvc.order.stiffness import Loaded


@dataclass(frozen=True, eq=False)
class CheckedOrder:
    """An order under check. `things` has parts and bought-in things by id, in the file's order."""

    path: Path
    name: str
    sha256: str
    order: OrderFile
    parts: tuple[OrderedPart, ...]
    bought: tuple[BoughtThing, ...]
    today: date
    shop: Shop = NO_SHOP
    kept: Kept = NOTHING_KEPT

    #: What `balance` says of feet that span no area.
    ON_A_LINE: ClassVar[str] = ON_A_LINE

    #: An order as a whole has no material and no thickness: limits of its rules are for any.
    material: Material | None = None
    thickness_mm: float | None = None

    def has(self, what: About) -> bool:
        """Always true: rules of orders look for themselves."""
        return True

    @cached_property
    def things(self) -> Mapping[str, Thing]:
        """Parts and bought-in things by id."""
        every: tuple[Thing, ...] = (*self.parts, *self.bought)
        return {x.id: x for x in every}

    @cached_property
    def _solids(self) -> dict[str, Any]:
        return {}

    def solid(self, id: str) -> Any | None:
        """Return a thing as a solid in its own frame; None where it has no closed mesh."""
        if id not in self._solids:
            from lintsvc.order.solids import solid_of

            try:
                self._solids[id] = solid_of(self.things[id].shape)
            except CannotCheck:
                self._solids[id] = None
        return self._solids[id]

    def why_no_solid(self, id: str) -> str:
        """Return why a thing is no solid; empty where it is one."""
        if self.solid(id) is not None:
            return ""
        try:
            _ = self.things[id].shape
        except CannotCheck as why:
            return str(why)
        return f"{id}: its mesh is not closed"

    @cached_property
    def standing(self) -> tuple[tuple[Floats, Standing], ...]:
        """Everything placed that is a solid, with its place, in the frame of the assembly."""
        from lintsvc.order.solids import Standing

        solids = ((x, self.solid(x.id)) for x in self.placing.placed)
        return tuple((x.place, Standing.at(x.id, solid, x.place)) for x, solid in solids if solid is not None)

    def part(self, id: str) -> OrderedPart:
        """Return a part by its id."""
        found = self.things[id]
        assert isinstance(found, OrderedPart)  # the reader of the file looked
        return found

    @cached_property
    def meetings(self) -> tuple[Meets, ...]:
        """What came of each `holes-meet` relation, in the file's order, then of what its screws go through between."""
        from lintsvc.order.meeting import all_meets

        return all_meets(self)

    @cached_property
    def held(self) -> tuple[Held, ...]:
        """What came of each `holds` relation, in the file's order."""
        from lintsvc.order.pocket import held

        return tuple(held(self, i, x) for i, x in enumerate(self.order.relation) if isinstance(x, Holds))

    @cached_property
    def apart(self) -> tuple[Apartness, ...]:
        """What came of each slides, presses and stays-clear relation, in the file's order."""
        from lintsvc.order.clash import apartness

        return tuple(apartness(self, i, x) for i, x in enumerate(self.order.relation) if isinstance(x, Apart))

    def play(self, meets: Meets) -> Play:
        """Return what is left of the play of a relation's screws, put together as placed."""
        if meets.number not in self._plays:
            from lintsvc.order.play import play_of

            self._plays[meets.number] = play_of(self, meets, self.way(meets))
        return self._plays[meets.number]

    def way(self, meets: Meets) -> Way:
        """Return the way in which a relation came together: as placed, else the best."""
        return self.placing.ways.get(meets.number, meets.ways[0])

    def drawn_clearance_mm(self, meets: Meets) -> float:
        """Return how far the middles of a relation's holes may be apart as drawn for the tightest screw to pass."""
        from lintsvc.order.play import drawn_clearance

        return drawn_clearance(self, meets, self.way(meets))

    def hole_source(self, meets: Meets) -> Source | None:
        """Return the shop's own record of holes that a relation's clearance is by; None where it is as drawn."""
        from lintsvc.order.tolerances import hole_figure

        sides = meets.pair if meets.relation.screw.into == "nut" else meets.pair[:1]
        shown = [x for x in (hole_figure(self.things[id]) for id in sides) if x is not None]
        return shown[0].source if shown else None

    def narrow_holes(self, meets: Meets, *, finished: bool = False) -> list[NarrowHole]:
        """Return clearance holes narrower than the fine series: as drawn, or only once `finished`."""
        from lintsvc.order.play import narrow_holes

        return narrow_holes(self, meets, self.way(meets), finished=finished)

    def all_narrow_holes(self, *, finished: bool = False) -> list[tuple[Meets, NarrowHole, dict[str, str]]]:
        """Return such holes of every relation whose holes meet, those of one part and screw once; with their words."""
        found: dict[tuple[str, float], tuple[Meets, NarrowHole, dict[str, str]]] = {}
        for meets in self.meetings:
            for hole in self.narrow_holes(meets, finished=finished) if meets.ways else ():
                words = {
                    "part": hole.part,
                    "drawn": f"{hole.drawn_mm:g}",
                    "shop": "" if hole.shop is None else hole.shop.text.rstrip("."),
                    "count": "1 hole" if hole.count == 1 else f"{hole.count} holes",
                    "are": "is" if hole.count == 1 else "are",
                    "screw": meets.relation.screw.size,
                    "table": hole.least.source.text.partition(" (")[0],
                }
                found.setdefault((hole.part, meets.screw_mm), (meets, hole, words))
        return list(found.values())

    def gives_way(self, ids: Iterable[str]) -> bool:
        """Return whether one of these is of a soft material: rubber stretches by more than its tolerance."""
        materials = [getattr(self.things[x], "material", None) for x in ids]
        return any(x is not None and x.family in ("soft", "tpu") for x in materials)

    def finishes(self, ids: Iterable[str]) -> str:
        """Return in words what some things are finished with."""
        entries = [x.entry for x in (self.things[id] for id in ids) if isinstance(x, OrderedPart)]
        return (
            " and ".join(dict.fromkeys(x.finish.replace("-", " ") for x in entries if x.finish != "none")) or "finish"
        )

    def material_name(self, id: str) -> str:
        """Return what a thing is made of, in words."""
        found = getattr(self.things[id], "material", None)
        return "its material" if found is None else found.name

    def driven(self, meets: Meets) -> list[Driven]:
        """Return the screws of a relation as they sit. Raises CannotCheck where their length is not known."""
        from lintsvc.order.screws import driven

        if meets.number not in self._driven:
            self._driven[meets.number] = driven(self, meets)
        return self._driven[meets.number]

    def all_driven(self) -> tuple[list[tuple[Meets, list[Driven]]], list[str]]:
        """Return the screws of every relation whose holes meet, and why those of others are not known, each once."""
        found, unknown = [], []
        for meets in self.meetings:
            if meets.of is not None or not meets.ways:
                continue
            try:
                found.append((meets, self.driven(meets)))
            except CannotCheck as why:
                unknown.append(str(why))
        return found, list(dict.fromkeys(unknown))

    def rooms(self, meets: Meets) -> list[Room]:
        """Return the room about each screw's head."""
        from lintsvc.order.screws import rooms

        if meets.number not in self._rooms:
            self._rooms[meets.number] = rooms(self, meets)
        return self._rooms[meets.number]

    def nut_rooms(self, meets: Meets) -> list[Room]:
        """Return the room about each screw's nut."""
        from lintsvc.order.screws import nut_rooms

        if meets.number not in self._nut_rooms:
            self._nut_rooms[meets.number] = nut_rooms(self, meets)
        return self._nut_rooms[meets.number]

    def out_of_reach(self, meets: Meets) -> tuple[list[Room], list[Room]]:
        """Return the heads and the nuts of a relation that no tool comes to."""
        from lintsvc.order.screws import out_of_reach

        return out_of_reach(self.rooms(meets), self.nut_rooms(meets))

    @cached_property
    def _driven(self) -> dict[int, list[Driven]]:
        return {}

    @cached_property
    def _rooms(self) -> dict[int, list[Room]]:
        return {}

    @cached_property
    def _nut_rooms(self) -> dict[int, list[Room]]:
        return {}

    @cached_property
    def _plays(self) -> dict[int, Play]:
        return {}

    @cached_property
    def placing(self) -> Placing:
        """Where parts and things stand in the assembly."""
        from lintsvc.order.placing import place_all

        return place_all(self)

    @cached_property
    def loops(self) -> Mapping[int, Loop]:
        """Loops that relations by screws close, by the relation's number."""
        from lintsvc.order.loops import all_loops

        return all_loops(self)

    @cached_property
    def clashes(self) -> tuple[Clash, ...]:
        """Placed things that run into each other."""
        from lintsvc.order.clash import clashes

        return clashes(self)

    @cached_property
    def balance(self) -> Balance | str:
        """How the assembly stands on its feet; a reason where that is not known."""
        from lintsvc.order.standing import standing

        return standing(self)

    @cached_property
    def loaded(self) -> tuple[Loaded, ...]:
        """First estimates of the parts that the order loads."""
        from lintsvc.order.stiffness import loaded

        return loaded(self)

    @property
    def own_word(self) -> Source:
        """The source of limits that the order itself states."""
        return Source("shop", "As the order says it.")

    @property
    def floor_mm(self) -> float:
        """Height of the feet in the assembly's frame."""
        from lintsvc.order.standing import feet_of

        return float(feet_of(self)[:, 2].min())

    def tangent(self, degrees: float) -> float:
        """Return the tangent of an angle: rules import no geometry."""
        return math.tan(math.radians(degrees))

    def strength(self, id: str) -> Value | None:
        """Return the yield stress of a part's material, else its breaking stress, with its source."""
        material = self.part(id).material
        return None if material is None else material.yield_mpa or material.ultimate_mpa

    def compared(self, loaded: Loaded) -> str:
        """Return in words what other materials and thicknesses come to."""
        from lintsvc.order.stiffness import in_words

        return in_words(loaded)

    @cached_property
    def schedule(self) -> Schedule:
        """Who delivers when. Raises ValueError for a calendar that hardly ever works."""
        from lintsvc.order.schedule import schedule

        return schedule(self.order, self.today)

    def spares(self, id: str) -> Spares | None:
        """Return what is known of a part's spares; None where nobody says how often such a part is bad."""
        from lintsvc.order.spares import spares_of

        return spares_of(self.order, self.part(id).entry, self.shop)

    def chance_with(self, spares: Spares) -> float:
        """Return the chance that the advised spares are enough."""
        from lintsvc.order.spares import enough

        return enough(spares.needed, spares.advised, spares.bad.value)

    @cached_property
    def screws(self) -> tuple[Screws, ...]:
        """The screws and nuts of relations, with what they are estimated to weigh."""
        from lintsvc.order.screw_mass import screws_of

        return screws_of(self)

    @cached_property
    def mass(self) -> tuple[float, tuple[str, ...]]:
        """Mass of one of everything placed or, where nothing is, of every id once (g); ids of unknown mass."""
        from lintsvc.order.standing import mass_of

        return mass_of(self)
