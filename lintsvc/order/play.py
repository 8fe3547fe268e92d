"""What is left of a screw's play when holes are off by their tolerances: at worst, by root sum square, by simulation.

Radial clearance of a floating fastener is half of each hole's play, of a fixed one half of the clearance hole's
(ASME Y14.5, appendix B: H = F + T, H = F + 2 T). Holes on several panels of a bent part move with every bend
between: each bend's angle swings the panel about the bend's line, each flat's length shifts it.

The worst case takes the screw at its nominal diameter, as the formulas do, and holes at their narrowest. Root sum
square and simulation take both as they arrive: about their means, with a spread of their own.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lintsvc.model.material import Value
from lintsvc.model.source import Source
from lintsvc.order.fasteners import closest_hole, usual_hole
from lintsvc.order.frames import Floats, frame_on, moved, turned
from lintsvc.order.meeting import Meets, Way
from lintsvc.order.screw_sizes import thickness
from lintsvc.order.shape import Ints
from lintsvc.order.tolerances import bend_tolerance, finish_per_face, hole_figure, hole_size, size_tolerance

if TYPE_CHECKING:
    from lintsvc.order.checked import CheckedOrder
    from lintsvc.order.things import Thing

#: Pairs of parts that are simulated; fewer of those with very many holes.
_SAMPLES, _LEAST_SAMPLES, _MOST_HOLES = 5000, 1000, 500_000
#: A chance of failing below this is not simulated.
_SURE = 1e-4


@dataclass(frozen=True, eq=False)
class Play:
    """Radial clearance (n,) of each screw, after finish and usual hole size, the screw nominal; and what is left of it.

    `worst_mm`, `rss_mm`: the least clearance minus position errors; negative where a screw does not pass.
    `zone_mm`: diameters of both position zones. `allowed_mm`: what the fastener formula leaves for both together.
    """

    clearance_mm: Floats
    worst_mm: float
    rss_mm: float
    zone_mm: tuple[float, float]
    allowed_mm: float
    chance: float
    #: Half the width of the chance's 95 % interval; 0 where it follows without simulation.
    chance_within: float
    #: How many bends lie between holes of one pattern.
    bends: int
    #: Clearance that screws have as they arrive, on the mean, and its ± from the sizes of holes and screws; the least.
    mean_mm: float
    size_mm: float


def play_of(order: CheckedOrder, meets: Meets, way: Way) -> Play:
    """Return what is left of the play of a relation's screws, the parts put together in this way."""
    a, b = order.things[meets.relation.a.of], order.things[meets.relation.b.of]
    screw = meets.screw_mm
    fixed = meets.relation.screw.into == "thread"
    usual, worst = _clearance(a, way.a, screw, usual=True), _clearance(a, way.a, screw, usual=False)
    drift = thickness(meets.relation.screw.size)
    # A floating screw has the play of two holes: its own size counts twice.
    turns = 1 if fixed else 2
    sizes = [usual - worst]
    if not fixed:
        other, narrow = _clearance(b, way.b, screw, usual=True), _clearance(b, way.b, screw, usual=False)
        sizes.append(other - narrow)
        usual, worst = usual + other, worst + narrow
    mean = usual + turns * (screw - drift.mean_mm) / 2
    size = np.sqrt(sum(x**2 for x in sizes) + (turns * drift.tolerance_mm / 2) ** 2)
    frame = frame_on(a.shape.holes.normal[way.a[0]])[:, :2]
    centres = a.shape.holes.point[way.a] @ frame
    span = float(np.linalg.norm(centres - centres.mean(axis=0), axis=1).max()) * 2
    zones = (size_tolerance(a, span).value, size_tolerance(b, span).value)
    modes_a = bend_modes(a, way.a)
    modes_b = [turned(way.place, x) for x in bend_modes(b, way.b)]
    # The parts are moved against each other, so what a bend moves all holes by costs nothing.
    modes = [(x - x.mean(axis=0)) @ frame for x in (*modes_a, *modes_b)]
    off = (moved(way.place, b.shape.holes.point[way.b]) - a.shape.holes.point[way.a]) @ frame
    swung = [np.linalg.norm(x, axis=1) for x in modes]
    summed = sum(swung, np.zeros(len(centres)))
    squared = sum((x**2 for x in swung), np.full(len(centres), (zones[0] / 2) ** 2 + (zones[1] / 2) ** 2))
    distance = np.linalg.norm(off, axis=1)
    left_worst = float((worst - distance - zones[0] / 2 - zones[1] / 2 - summed).min())
    spread = np.sqrt(squared + size**2)
    left_rss = float((mean - distance - spread).min())
    chance, within = _chance(order, centres, mean, size, off, zones, modes, left_worst, spread)
    allowed = 2 * float(usual.min())
    tightest = int(mean.argmin())
    return Play(
        usual,
        left_worst,
        left_rss,
        zones,
        allowed,
        chance,
        within,
        len(modes) // 2,
        float(mean[tightest]),
        float(size[tightest]),
    )


@dataclass(frozen=True, slots=True)
class NarrowHole:
    """Clearance holes of one part that are narrower than a screw's fine series; the narrowest of `count`.

    `diameter_mm`: what was judged, `drawn_mm`: as drawn. `at`: its opening in the part's frame. `shop`: what the shop's
    own record says of such holes, where it was reckoned with.
    """

    part: str
    diameter_mm: float
    drawn_mm: float
    count: int
    least: Value
    usual_mm: float
    at: tuple[float, float, float]
    shop: Source | None = None


def narrow_holes(order: CheckedOrder, meets: Meets, way: Way, *, finished: bool) -> list[NarrowHole]:
    """Return the sides whose clearance holes are narrower than the fine series: bare, or only once finished.

    Bare is as drawn, and as it comes out where the shop's own record says how holes do.
    """
    least = closest_hole(meets.relation.screw.size)
    if least is None:
        return []
    sides = [(meets.pair[0], way.a)]
    if meets.relation.screw.into == "nut":
        sides.append((meets.pair[1], way.b))
    found = []
    for id, openings in sides:
        thing = order.things[id]
        drawn = thing.shape.holes.diameter_mm[openings]
        bare = _arriving(thing, openings)
        judged = bare - (2 * finish_per_face(thing).value if finished else 0.0)
        # Circles of meshes have corners: a thousandth is their rounding.
        narrow = judged < least.value - 1e-3
        if finished:
            narrow &= bare >= least.value - 1e-3
        if narrow.any():
            worst = int(np.where(narrow, judged, np.inf).argmin())
            x, y, z = thing.shape.holes.point[openings[worst]].tolist()
            usual = usual_hole(meets.relation.screw.size).value
            shown = hole_figure(thing)
            found.append(
                NarrowHole(
                    id,
                    float(judged[worst]),
                    float(drawn[worst]),
                    int(narrow.sum()),
                    least,
                    usual,
                    (x, y, z),
                    None if shown is None else shown.source,
                )
            )
    return found


def drawn_clearance(order: CheckedOrder, meets: Meets, way: Way) -> float:
    """Return how far middles may be apart for the tightest screw of a relation to pass (mm).

    By the holes as drawn, or as the shop's own record says that they come out.
    """
    screw = meets.screw_mm
    room = (_arriving(order.things[meets.pair[0]], way.a) - screw) / 2
    if meets.relation.screw.into == "nut":
        room = room + (_arriving(order.things[meets.pair[1]], way.b) - screw) / 2
    return max(0.0, float(room.min()))


def _arriving(thing: Thing, openings: Ints) -> Floats:
    """Return diameters as drawn, moved by what the shop's own record says of holes."""
    shown = hole_figure(thing)
    return np.asarray(thing.shape.holes.diameter_mm[openings] + (0.0 if shown is None else shown.offset))


def hole_mm(thing: Thing, diameters: Floats, *, usual: bool) -> Floats:
    """Return how wide holes are when they arrive: less what the process and, twice, what the finish take."""
    size, coat = hole_size(thing), finish_per_face(thing).value
    return np.asarray(diameters - (size.usual_mm if usual else size.worst_mm) - 2 * coat)


def _clearance(thing: Thing, openings: Ints, screw_mm: float, *, usual: bool) -> Floats:
    return np.asarray((hole_mm(thing, thing.shape.holes.diameter_mm[openings], usual=usual) - screw_mm) / 2)


def bend_modes(thing: Thing, openings: Ints) -> list[Floats]:
    """Return how openings (n, 3) move when a bend between them is off by its whole tolerance: two moves a bend.

    The panel with most of the holes stands still.
    """
    from lintsvc.order.things import OrderedPart

    shape = thing.shape
    panels = shape.holes.panel[openings]
    known = panels[panels >= 0]
    if not isinstance(thing, OrderedPart) or len(set(known.tolist())) < 2:
        return []
    still = set(shape.panel_bends[int(np.bincount(known).argmax())])
    points, normals = shape.holes.point[openings], shape.holes.normal[openings]
    ways = [set(shape.panel_bends[x]) ^ still if x >= 0 else set[int]() for x in panels.tolist()]
    found = []
    for bend in sorted(set().union(*ways)):
        moves = np.array([bend in x for x in ways])[:, None]
        found += [x * moves for x in bend_move(thing, bend, points, normals)]
    return found


def bend_move(thing: Thing, bend: int, points: Floats, normals: Floats) -> tuple[Floats, Floats]:
    """Return how points (n, 3) beyond a bend move by its whole tolerance: by its angle, and by the flat beside it.

    `normals`: out of the panels that the points are on, (n, 3) or (1, 3). In the thing's frame.
    """
    from lintsvc.order.things import OrderedPart

    assert isinstance(thing, OrderedPart)  # only parts have bends
    degrees, flat_mm, _ = bend_tolerance(thing)
    along = thing.shape.bend_along[bend]
    across = np.cross(along, normals)
    across = across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9)
    swing = math.radians(degrees) * np.cross(along, points - thing.shape.bend_point[bend])
    return swing, np.broadcast_to(flat_mm * across, points.shape)


def _chance(
    order: CheckedOrder,
    centres: Floats,
    clearance: Floats,
    size: Floats,
    off: Floats,
    zones: tuple[float, float],
    modes: list[Floats],
    left_worst: float,
    spread: Floats,
) -> tuple[float, float]:
    """Return the chance that all screws pass, each error normal with three sigma at its tolerance; and its margin.

    `clearance`: on the mean, `size`: its ± from the sizes of holes and screws.
    """
    if left_worst >= 0:
        return 1.0, 0.0
    if (clearance + size <= 0).any():
        return 0.0, 0.0
    # Without any help from moving the parts against each other, each hole fails no more often than this.
    room = np.maximum(clearance - np.linalg.norm(off, axis=1), 0.0)
    sigma = np.maximum(spread / 3, 1e-9)
    if float(np.exp(-(room**2) / (2 * sigma**2)).sum()) < _SURE:
        return 1.0, 0.0
    from lintsvc.order.stack_up import chance_to_assemble

    key = _key(centres, clearance, size, off, np.array(zones), *modes)
    known = order.kept.find(key)
    if known is None:
        found = chance_to_assemble(
            centres,
            clearance,
            zones[0],
            zones[1],
            offset_mm=off,
            together_mm=modes,
            size_mm=size,
            samples=min(_SAMPLES, max(_LEAST_SAMPLES, _MOST_HOLES // len(centres))),
        )
        known = f"{found.share!r} {found.within!r}".encode()
        order.kept.keep(key, known)
    share, within = known.decode().split()
    return float(share), float(within)


def _key(*arrays: Floats) -> str:
    digest = hashlib.sha256(b"play 2")
    for each in arrays:
        digest.update(np.round(each, 6).tobytes())
    return digest.hexdigest()
