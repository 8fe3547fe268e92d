"""Closed hollows inside a body: air that no opening leads to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lintsvc.measure.mesh import Floats, Ints, Mesh, point3
from lintsvc.measure.shells import Shells
from lintsvc.model.finding import Where


@dataclass(frozen=True, eq=False)
class Void:
    """A closed shell that faces inward, within a solid."""

    volume_mm3: float
    faces: Ints
    box: tuple[Floats, Floats]

    def where(self) -> Where:
        """The place as a finding shows it."""
        low, high = self.box
        return Where(point=point3((low + high) / 2), box=(point3(low), point3(high)), faces=tuple(self.faces.tolist()))


def find_voids(mesh: Mesh, shells: Shells) -> list[Void]:
    """Return the closed voids, largest first. An island of material within a void is not taken off its volume."""
    inner = np.flatnonzero(shells.closed & (shells.volume < 0) & (shells.around >= 1))
    if not len(inner):
        return []
    order = np.argsort(shells.label, kind="stable")
    starts = np.searchsorted(shells.label[order], np.arange(shells.count + 1))
    voids = [
        Void(
            float(-shells.volume[i]),
            np.sort(order[starts[i] : starts[i + 1]]).astype(np.int32),
            (shells.box[i, :3], shells.box[i, 3:]),
        )
        for i in inner
    ]
    return sorted(voids, key=lambda x: -x.volume_mm3)
