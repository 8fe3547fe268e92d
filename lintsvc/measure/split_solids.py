"""The different solids of a body, and parts of some of them alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from OCP.TopAbs import TopAbs_FACE
from OCP.TopLoc import TopLoc_Location

from lintsvc.model.body import Body
from lintsvc.model.part import Part
from lintsvc.readers.step_shapes import explored
from lintsvc.readers.step_triangles import ExactBody


def different_solids(body: Body) -> list[tuple[int, ...]]:
    """Return, for each different solid, where it stands among the body's solids: one number an instance."""
    found: list[tuple[object, list[int]]] = []
    for number, solid in enumerate(body.exact.solids):
        at_origin = solid.Located(TopLoc_Location())
        for other, places in found:
            if at_origin.IsPartner(other):
                places.append(number)
                break
        else:
            found.append((at_origin, [number]))
    return [tuple(places) for _, places in found]


def part_of_solids(part: Part, numbers: tuple[int, ...]) -> tuple[Part, tuple[int, ...]]:
    """Return the part of some of the body's solids where they stand, and which of the body's faces its faces are."""
    body = part.body
    assert body is not None
    assert body.face_patch is not None
    counts = [sum(1 for _ in explored(solid, TopAbs_FACE)) for solid in body.exact.solids]
    first = np.concatenate([[0], np.cumsum(counts)])
    patches = np.concatenate([np.arange(first[n], first[n + 1]) for n in numbers])
    chosen = np.flatnonzero(np.isin(body.face_patch, patches))
    used, corners = np.unique(body.faces[chosen], return_inverse=True)
    owner = np.searchsorted(first, body.face_patch[chosen], side="right") - 1
    several = len(numbers) > 1
    own = Body(
        body.vertices[used],
        corners.reshape(-1, 3).astype(np.int32),
        np.searchsorted(np.sort(numbers), owner).astype(np.int32) if several else None,
        tuple(body.object_names[n] for n in sorted(numbers)) if several else (),
        face_patch=np.searchsorted(np.sort(patches), body.face_patch[chosen]).astype(np.int32),
        chord_error_mm=body.chord_error_mm,
        exact=ExactBody(
            tuple(body.exact.solids[n] for n in sorted(numbers)),
            tuple(body.exact.faces[p] for p in np.sort(patches).tolist()),
            body.exact.named,
        ),
    )
    size = np.ptp(own.vertices, axis=0)
    x, y, z = (float(v) for v in size)
    return replace(part, body=own, size_mm=(x, y, z), notes=()), tuple(chosen.tolist())
