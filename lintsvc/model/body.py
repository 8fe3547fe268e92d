"""A body: a triangle mesh as it stands in the file, in mm."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Body:
    """Triangles of one file, all its solids together.

    `vertices`: (n, 3) float32 or float64, mm. Formats without shared vertices (STL) give
    three vertices a face; `measure.mesh` welds. `faces`: (m, 3) int32, in the file's order:
    a face's number here is its number in every report. `face_object`: (m,) int32, which
    named object a face belongs to. `face_patch`: (m,) int32, the B-rep face of a triangle,
    for formats that have them.
    """

    vertices: NDArray[Any]
    faces: NDArray[np.int32]
    face_object: NDArray[np.int32] | None = None
    object_names: tuple[str, ...] = ()
    face_patch: NDArray[np.int32] | None = None
    #: Coordinates were stored as float32: matters far from the origin.
    single_precision: bool = False
    #: How far the triangles may lie from the true surface, where the reader made them.
    chord_error_mm: float | None = None
    #: The exact shape behind the triangles (a B-rep handle), for measurements that can use it.
    exact: Any = field(default=None, repr=False)
