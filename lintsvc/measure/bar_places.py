"""Places that are bars: what bar a place is on, and each bar told once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lintsvc.measure.bars import Bar, axes_about, bar_about, ring_of
from lintsvc.measure.mesh import Floats, Mesh
from lintsvc.measure.place import Place
from lintsvc.measure.sections import round_width
from lintsvc.measure.widths import SPACING_MM, Widths

#: A pin and a wall on the same faces are one bar where their widths are this near, and the wall reaches no farther than
#: so many times as far as the pin.
_SAME = 0.02
_SPAN = 1.2
#: Places whose boxes come this near may be on one bar.
_BESIDE_MM = 2.0 * SPACING_MM
#: A place thinner than its bar by more than this share is a neck of it, or a notch, and no bar's width.
_NECK = 0.1
#: The middle lines of one bar, told twice, are this near, in its widths.
_ONE_LINE = 0.25


def bar_at(mesh: Mesh, least: Widths, points: Widths, along: Floats | None) -> Bar | None:
    """The bar that a place is on, looked for at its least width, and where its sides are most nearly parallel: the
    least may be by a rounded tip. None where it is no bar. `along`: how it seems to go, where something tells that."""
    usual = points.take([int(np.lexsort((points.width, points.opposed.round(3)))[0])])
    for start in (least, usual):
        width, centre, across = float(start.raw[0]), start.centres()[0], start.normal[0]
        axes = axes_about(mesh, centre, across)
        axes = axes if along is None else [along, *axes]
        bars = [bar_about(mesh, centre, x, across, width) for x in axes]
        # A short one may be looked at along its breadth, too.
        whole = [x for x in bars if x is not None and float(least.width[0]) > (1 - _NECK) * x.width]
        if whole:
            return min(whole, key=lambda x: x.across / x.length)
    return None


def width_of(mesh: Mesh, bar: Bar, least: Widths) -> float:
    """How thick a bar is: its inscribed circle, or that which its facets stand for."""
    if not bar.curved:
        return bar.width
    # A section of facets is a little thinner than the curve.
    curve = bar.width * max(1.0, float(least.width[0]) / float(least.raw[0]))
    return round_width(mesh, ring_of(mesh, bar), bar.middle, bar.axis, curve)


def told_once(places: list[Place]) -> list[Place]:
    """Leave out what was told of a bar twice."""
    return _one_of_two(_one_of_many(places))


def _one_of_many(places: list[Place]) -> list[Place]:
    """Join places on one bar."""
    kept: list[Place] = []
    for place in places:
        for i, other in enumerate(kept):
            if _on_one_bar(place, other):
                first, second = (other, place) if other.width_mm <= place.width_mm else (place, other)
                box = (np.minimum(first.box[0], second.box[0]), np.maximum(first.box[1], second.box[1]))
                faces = np.union1d(first.faces, second.faces).astype(np.int32)
                area = first.area_mm2 + second.area_mm2
                kept[i] = replace(first, faces=faces, box=box, area_mm2=area)
                break
        else:
            kept.append(place)
    return kept


def _on_one_bar(one: Place, other: Place) -> bool:
    """Whether two places are on one bar."""
    if one.bar is None or other.bar is None or one.round != other.round:
        return False
    a, b = one.bar, other.bar
    apart = b.middle - a.middle
    along = float(apart @ a.axis)
    off = float(np.linalg.norm(apart - along * a.axis))
    return off < _ONE_LINE * a.width and a.low < along < a.high and abs(a.length - b.length) < _SAME * a.length


def _one_of_two(places: list[Place]) -> list[Place]:
    """Leave out what was told of a bar twice: about twice as wide as thick, it is a pin in its middle, and a wall by
    its corners."""
    gone: set[int] = set()
    walls = [x for x in places if not x.round]
    if not walls:
        return places
    # Where there are hundreds of both, only those side by side are compared face by face.
    width = np.array([x.width_mm for x in walls])
    low, high = (np.stack([x.box[k] for x in walls]) for k in (0, 1))
    reach = _BESIDE_MM
    for pin in (x for x in places if x.round):
        near = (low < pin.box[1] + reach).all(axis=1) & (high > pin.box[0] - reach).all(axis=1)
        for wall in (walls[i] for i in np.flatnonzero(near & (width < (1 + _SAME) * pin.width_mm))):
            # Both are sorted: many times as fast as to ask NumPy which are in both.
            at = np.minimum(np.searchsorted(wall.faces, pin.faces), len(wall.faces) - 1)
            mine = wall.faces[at] == pin.faces
            if not mine.any():
                continue
            far, wide = max(pin.long_mm, pin.length_mm, pin.across_mm), max(wall.length_mm, wall.breadth_mm)
            if wall.width_mm < (1 - _SAME) * pin.width_mm:
                # With a draft it is narrower farther up, where it is a wall's all along.
                if mine.all() and far < _SPAN * wide:
                    gone.add(id(pin))
            elif not (pin.slender or pin.stub):
                # Its length is not known: the wall tells it.
                gone.add(id(pin))
            elif wide < _SPAN * far:
                gone.add(id(wall))
    return [x for x in places if id(x) not in gone]
