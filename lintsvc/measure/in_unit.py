"""What was measured on a body, for the same file read in another unit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.mesh import Mesh
from lintsvc.measure.soundness import Soundness


def in_unit(measured: BodyMeasurements, factor: float) -> BodyMeasurements:
    """Return what needs no measuring on the same body `factor` times as large: it gives what a new measuring would.

    Which faces meet, and which cross, is the same in each unit. Walls and gaps are not carried over: they are measured
    at points some tenths of a millimetre apart and up to some millimetres, and those are other places now.
    """
    body, mesh = measured.body, measured.mesh
    chord_mm = None if body.chord_error_mm is None else body.chord_error_mm * factor
    vertices = body.vertices.astype(np.float64) * factor
    larger = BodyMeasurements(replace(body, vertices=vertices, chord_error_mm=chord_mm))
    # As cached properties keep them.
    larger.mesh = Mesh(mesh.vertices * factor, mesh.faces, mesh.rounding_mm * factor)
    larger.mesh.mates = mesh.mates
    larger.soundness = Soundness(larger.mesh, chord_mm or 0.0)
    if "contacts" in vars(measured.soundness):
        found = measured.soundness.contacts
        larger.soundness.contacts = replace(found, depth_mm=found.depth_mm * factor)
    return larger
