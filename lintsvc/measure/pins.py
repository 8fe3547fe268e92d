"""What is known of a pin or a hole from its axis: how thick it is across, and how long of one section."""

from __future__ import annotations

import numpy as np

from lintsvc.measure.around import look_around
from lintsvc.measure.mesh import Floats, Mesh, frame_of
from lintsvc.measure.nearest import nearest
from lintsvc.measure.rays import first_hits
from lintsvc.measure.widths import Widths

#: Steps across in search of the middle, in widths; each is taken as long as it leads farther from the surface.
_STEPS = (0.2, 0.1, 0.05, 0.025, 0.0125, 0.006, 0.003)
_DIRECTIONS = 8
_MOST_TRIES = 12
#: The foot of a pin is looked for so far beside it, in its widths.
_BESIDE = 0.25
#: The section is looked at in so many places, no nearer to the ends than a ball there is; the proportion of its sides
#: may vary by this factor.
_SECTIONS = 5
_PROPORTION = 1.3


def middle_of(mesh: Mesh, least: Widths, axis: Floats) -> tuple[Floats, float]:
    """Middle of the section at a pin's least width, and the diameter of the largest circle in it.

    A ball that touches an oval beside its middle is smaller than the oval is wide.
    """
    return _widest(mesh, least.centres()[0], axis, float(least.raw[0]))


def _widest(mesh: Mesh, centre: Floats, axis: Floats, width: float) -> tuple[Floats, float]:
    """Walk across the axis to where a ball is largest: that place, and the ball's diameter."""
    frame = frame_of(axis)
    turns = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    ways: Floats = np.stack([np.cos(turns), np.sin(turns)], axis=1) @ frame.T
    best = _clear(mesh, centre[None], width)[0]
    for step in _STEPS:
        for _ in range(_MOST_TRIES):
            tried = centre + step * width * ways
            # How near exactly does not matter where it is nearer than before.
            clear = _clear(mesh, tried, 2 * width, best * (1 - 1e-12))
            i = int(clear.argmax())
            if clear[i] <= best:
                break
            centre, best = tried[i], clear[i]
    return centre, 2 * float(best)


def length_of(mesh: Mesh, least: Widths, axis: Floats, centre: Floats, diameter: float) -> tuple[float, float]:
    """How long a pin stands out along its axis, or a hole goes in, and how wide it is across the measured width there.

    Zeros when its section is not the same all along.
    """
    beside = least.point[0] - least.side * least.normal[0] * _BESIDE * least.raw[0]
    ways = np.stack([axis, -axis])
    inner, _ = first_hits(mesh.bvh, np.stack([centre, centre]), ways)
    near = int(inner.argmin())
    if inner[near] < diameter / 2 < inner[1 - near]:
        # A pin with a draft is thinnest at its very end, where the end cuts every ball: its middle shows farther in.
        inward = -ways[near] * min(diameter / 2, float(inner.sum()) / 2)
        centre, _ = _widest(mesh, centre + inward, axis, diameter)
        beside = beside + inward
        inner, _ = first_hits(mesh.bvh, np.stack([centre, centre]), ways)
    outer, _ = first_hits(mesh.bvh, np.stack([beside, beside]), ways)
    ahead, back = np.minimum(inner, outer).tolist()
    length = ahead + back
    if not np.isfinite(length) or length < diameter:
        return 0.0, 0.0
    along = np.linspace(-0.45, 0.45, _SECTIONS) * (length - diameter) + (ahead - back) / 2
    places = centre + along[:, None] * axis
    clear = _clear(mesh, places, diameter)
    if clear.min() <= 0:
        return 0.0, 0.0
    normals = np.broadcast_to(least.normal[0], places.shape).copy()
    around = look_around(mesh.bvh, places, normals, clear, least.side)
    proportion = around.across / clear
    if proportion.max() >= _PROPORTION * proportion.min():
        return 0.0, 0.0
    return length, float(np.median(around.across))


def _clear(mesh: Mesh, points: Floats, reach: float, enough: float = 0.0) -> Floats:
    """Distance (n,) from the surface, `reach` at most; what is as near as `enough` will do."""
    count = len(points)
    near = nearest(mesh.bvh, np.ascontiguousarray(points), np.full(count, reach), np.full(count, enough))
    distance: Floats = near.distance
    return distance
