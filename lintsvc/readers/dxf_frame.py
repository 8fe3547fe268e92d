"""Where a DXF entity's own plane lies in the drawing: extrusion directions and inserted blocks."""

from __future__ import annotations

import math
from typing import NamedTuple

from lintsvc.readers.flat_affine import Affine

Vector = tuple[float, float, float]


class Frame(NamedTuple):
    """Three axes and an origin: the affine map from a plane or a block into the drawing, in mm."""

    x: Vector
    y: Vector
    z: Vector
    origin: Vector

    def at(self, x: float, y: float, z: float) -> Vector:
        """Return where a point of the inner space lies."""
        ax, ay, az, o = self.x, self.y, self.z, self.origin
        return (
            ax[0] * x + ay[0] * y + az[0] * z + o[0],
            ax[1] * x + ay[1] * y + az[1] * z + o[1],
            ax[2] * x + ay[2] * y + az[2] * z + o[2],
        )

    def turned(self, x: float, y: float, z: float) -> Vector:
        """Return a direction of the inner space, the origin left out."""
        px, py, pz = self.at(x, y, z)
        o = self.origin
        return px - o[0], py - o[1], pz - o[2]

    def of(self, inner: Frame) -> Frame:
        """Return the map that applies `inner` first and this one after it."""
        return Frame(self.turned(*inner.x), self.turned(*inner.y), self.turned(*inner.z), self.at(*inner.origin))

    def plane(self, elevation: float) -> Affine:
        """Return the map of the inner plane z = elevation, seen along the drawing's z."""
        o = self.at(0.0, 0.0, elevation)
        return Affine(self.x[0], self.x[1], self.y[0], self.y[1], o[0], o[1])

    @property
    def tilted(self) -> bool:
        """True when the inner plane z = 0 is not parallel to the drawing's."""
        size = max(map(abs, (*self.x, *self.y)))
        return max(abs(self.x[2]), abs(self.y[2])) > 1e-9 * size


def unit_frame(mm_per_unit: float) -> Frame:
    """Return the drawing's own frame, scaled to mm."""
    s = mm_per_unit
    return Frame((s, 0.0, 0.0), (0.0, s, 0.0), (0.0, 0.0, s), (0.0, 0.0, 0.0))


def extruded(normal: Vector) -> Frame | None:
    """Return the plane of an extrusion direction; None where it is the drawing's own, or no direction at all.

    The arbitrary axis algorithm of the DXF reference (object coordinate systems).
    """
    nx, ny, nz = normal
    length = math.hypot(nx, ny, nz)
    if not 0 < length < math.inf or (nx == 0 and ny == 0 and nz > 0):
        return None
    nx, ny, nz = nx / length, ny / length, nz / length
    # Axis x: world y × n near the world's z axis, world z × n elsewhere.
    ax: Vector = (nz, 0.0, -nx) if abs(nx) < 1 / 64 and abs(ny) < 1 / 64 else (-ny, nx, 0.0)
    size = math.hypot(*ax)
    ax = (ax[0] / size, ax[1] / size, ax[2] / size)
    n = (nx, ny, nz)
    return Frame(ax, cross(n, ax), n, (0.0, 0.0, 0.0))


def cross(a: Vector, b: Vector) -> Vector:
    """Return the cross product."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]
