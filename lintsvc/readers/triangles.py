"""The last step of every mesh reader: check the numbers, settle the unit, make the Part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.model.body import Body
from lintsvc.model.part import Part, ReadNote, Unreadable
from lintsvc.model.units import Units
from lintsvc.readers.doubtful_units import by_the_users_word, guess_units
from lintsvc.readers.format import ReadOptions

#: More triangles are refused: the measurements after reading would not fit their time and memory.
MAX_TRIANGLES = 10_000_000
#: A closed surface has at least as many faces as a tetrahedron.
MIN_TRIANGLES = 4
#: Larger along any side is no part (mm).
MAX_SIZE_MM = 1e6
#: Smaller along its longest side has no size at all (mm).
MIN_SIZE_MM = 1e-4
#: Below this share of the longest side squared a triangle has no area.
_NO_AREA = 1e-10
#: Steps between neighbouring float32 numbers above this are worth a note (mm).
_COARSE_STEP_MM = 0.005


@dataclass(frozen=True, eq=False)
class Triangles:
    """What a reader found, in the file's own units, its face order kept.

    `vertices` (n, 3) float; `faces` (m, 3) of any integer type, or None for three vertices a
    face in order; `face_object` (m,) numbers into `object_names`.
    """

    vertices: NDArray[Any]
    faces: NDArray[Any] | None
    face_object: NDArray[np.int32] | None = None
    object_names: tuple[str, ...] = ()
    single_precision: bool = False

    @property
    def count(self) -> int:
        """Number of triangles."""
        return len(self.vertices) // 3 if self.faces is None else len(self.faces)


def too_many(count: int) -> Unreadable:
    """The error for a file with more triangles than are handled."""
    return Unreadable(
        f"The file holds {count:,} triangles; the limit is {MAX_TRIANGLES:,}.",
        remedy="Export it with a coarser tolerance, or as STEP.",
    )


def body_part(
    found: Triangles,
    format_name: str,
    options: ReadOptions,
    *,
    stated: Units | None = None,
    notes: Sequence[ReadNote] = (),
) -> Part:
    """Return the Part of a mesh file. `stated` is the file's own unit, None for a format without one.

    Raises Unreadable for indices out of range, numbers that are no numbers, impossible sizes,
    and for triangles that cannot be a solid.
    """
    count = found.count
    if count > MAX_TRIANGLES:
        raise too_many(count)
    faces = _checked_faces(found, format_name) if count else np.empty((0, 3), np.int32)
    if count < MIN_TRIANGLES:
        what = "no triangles" if count == 0 else "1 triangle" if count == 1 else f"{count} triangles"
        raise Unreadable(
            f"The {format_name} file holds {what}: not a solid, which needs at least {MIN_TRIANGLES}.",
            remedy="Export the whole body.",
        )
    low, high = _bounds(found, faces, format_name)
    size = high - low
    if options.units is not None:
        units = by_the_users_word(options.units)
    else:
        units = stated or guess_units([float(x) for x in size], "body", f"The {format_name} file")
    scale = units.mm_per_unit
    _check_size(float(size.max()) * scale, float(max(-low.min(), high.max())) * scale, found)
    _check_area(found.vertices, faces, float(size.max()))
    every = list(notes)
    step_mm = float(np.spacing(np.float32(max(-low.min(), high.max())))) * scale
    if found.single_precision and step_mm > _COARSE_STEP_MM:
        every.append(
            ReadNote(
                "info",
                f"The part lies so far from the origin that its coordinates are only exact to {step_mm:.2g} mm; "
                "move it to the origin and export it again.",
            )
        )
    keep = found.single_precision and scale == 1.0
    vertices: NDArray[Any] = np.ascontiguousarray(found.vertices, dtype=np.float32 if keep else np.float64)
    if scale != 1.0:
        vertices = vertices * scale
    body = Body(vertices, faces, found.face_object, found.object_names, single_precision=found.single_precision)
    x, y, z = (float(v) * scale for v in size)
    return Part(options.name, options.sha256, format_name, "body", units, (x, y, z), body=body, notes=tuple(every))


def _checked_faces(found: Triangles, format_name: str) -> NDArray[np.int32]:
    if found.faces is None:
        return np.arange(3 * found.count, dtype=np.int32).reshape(-1, 3)
    low, high, have = int(found.faces.min()), int(found.faces.max()), len(found.vertices)
    if low < 0 or high >= have:
        bad = low if low < 0 else high
        first = int(np.argmax(((found.faces < 0) | (found.faces >= have)).any(axis=1)))
        raise Unreadable(
            f"A face names vertex {bad}, but the {format_name} file holds vertices 0 to {have - 1}.",
            f"face {first}",
            "Export it again.",
        )
    return np.ascontiguousarray(found.faces, dtype=np.int32)


def _bounds(
    found: Triangles, faces: NDArray[np.int32], format_name: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Corners of the box around all vertices that a face uses. One pass: NaN and infinity come through it."""
    used = found.vertices
    if found.faces is not None:
        mark = np.zeros(len(used), dtype=bool)
        mark[faces.ravel()] = True
        if not mark.all():
            used = used[mark]
    # Subtracting the corners may overflow in the file's float32; float64 does not.
    low, high = _ends(used)
    if not (np.isfinite(low).all() and np.isfinite(high).all()):
        bad = ~np.isfinite(found.vertices[faces]).all(axis=(1, 2))
        raise Unreadable(
            f"{int(bad.sum())} faces of the {format_name} file have coordinates that are no numbers (NaN or infinite).",
            f"first at face {int(np.argmax(bad))}",
            "Repair or rebuild the body and export it again.",
        )
    return low, high


def _ends(points: NDArray[Any]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Least and most of (n, 3) points, n > 0."""
    lows, highs = [], []
    # NumPy is slow along the short side of a long array: most points are folded into rows of many.
    lot = 1024
    whole = len(points) - len(points) % lot
    for some in (points[:whole].reshape(-1, 3 * lot), points[whole:]):
        if len(some):
            lows.append(some.min(axis=0).reshape(-1, 3).min(axis=0))
            highs.append(some.max(axis=0).reshape(-1, 3).max(axis=0))
    # What is no number stays none; whoever asked finds it and refuses.
    with np.errstate(invalid="ignore"):
        return np.min(lows, axis=0).astype(np.float64), np.max(highs, axis=0).astype(np.float64)


def _check_size(longest_mm: float, reach_mm: float, found: Triangles) -> None:
    if longest_mm > MAX_SIZE_MM:
        raise Unreadable(
            f"The part would be {longest_mm:.3g} mm long, which is impossible.",
            remedy="Look at the unit and at stray points far away, and export it again.",
        )
    if longest_mm < MIN_SIZE_MM:
        raise Unreadable(
            f"The part has no size: it is {longest_mm:.3g} mm long.",
            remedy="Look at the unit, or at its distance from the origin, and export it again.",
        )
    if reach_mm > 1e3 * MAX_SIZE_MM or (
        found.single_precision and float(np.spacing(np.float32(reach_mm))) > 0.01 * longest_mm
    ):
        raise Unreadable(
            f"The part lies {reach_mm:.3g} mm from the origin: too far for its coordinates to hold its shape.",
            remedy="Move it to the origin and export it again.",
        )


def _check_area(vertices: NDArray[Any], faces: NDArray[np.int32], longest: float) -> None:
    """At least one triangle must have an area. Stops at the first lot that has one."""
    lot = 4096
    for start in range(0, len(faces), lot):
        corner = (vertices[faces[start : start + lot]].astype(np.float64)) / longest
        normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        if bool((np.square(normal).sum(axis=1) > _NO_AREA**2).any()):
            return
        lot = 65536
    raise Unreadable("No triangle of the file has an area: there is no surface.", remedy="Export the body again.")
