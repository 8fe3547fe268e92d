"""Open rims closed for measuring: a surface with a small hole is a solid all the same."""

from __future__ import annotations

import numpy as np

from lintsvc.measure.edges import shells
from lintsvc.measure.mesh import Ints, Mesh
from lintsvc.measure.topology import Topology
from lintsvc.measure.topology_groups import over_corners

#: A hole that is a larger share of the whole closed surface may be the open side of a surface that was never a solid.
LARGEST_SHARE = 0.1


def capped(mesh: Mesh, topology: Topology) -> tuple[Mesh, Ints]:
    """Close the rims of a mesh whose holes are small beside its surface, each by a fan about its middle.

    Returns a mesh whose first faces are those of the old one, and for each further face the one that it hangs on.
    """
    half = topology.open
    ends = topology.ends(half)
    run = over_corners(ends)
    pieces = mesh.vertices[ends]
    lengths = np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1)
    total = np.maximum(np.bincount(run, lengths), np.finfo(float).tiny)
    middles = pieces.mean(axis=1) * lengths[:, None]
    middle = np.stack([np.bincount(run, middles[:, k]) for k in range(3)], axis=1) / total[:, None]
    fans = np.column_stack([ends[:, ::-1], len(mesh.vertices) + run]).astype(np.int32)
    vertices = np.concatenate([mesh.vertices, middle])
    corners = vertices[fans]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    label, count = shells(topology.mates)
    added = np.bincount(label[half // 3], areas, count)
    whole = np.bincount(label, mesh.areas, count) + added
    small = (added <= LARGEST_SHARE * whole)[label[half // 3]]
    faces = np.concatenate([mesh.faces, fans[small]])
    return Mesh(vertices, faces, mesh.rounding_mm), (half[small] // 3).astype(np.int32)
