"""Open rims closed for measuring: a surface with a small hole is a solid all the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lintsvc.measure.edges import shells
from lintsvc.measure.mesh import Floats, Ints, Mesh
from lintsvc.measure.topology import Bools, Topology
from lintsvc.measure.topology_groups import over_corners

#: A hole that is a larger share of the whole closed surface may be the open side of a surface that was never a solid.
LARGEST_SHARE = 0.1


#: A run of open edges that surrounds less than this share of its length squared is a slit without width.
_SLIT = 1e-6


@dataclass(frozen=True, eq=False)
class Capped:
    """A mesh with its small holes closed. Its first faces are those of the old one."""

    mesh: Mesh
    #: (k,) for each further face the one that it hangs on.
    hangs_on: Ints
    #: (faces,) True where the surface closes, but for slits without width.
    shut: Bools


def capped(mesh: Mesh, topology: Topology) -> Capped:
    """Close the rims of a mesh whose holes are small beside its surface, each by a fan about its middle."""
    half = topology.open
    ends = topology.ends(half)
    run = over_corners(ends)
    pieces = mesh.vertices[ends]
    lengths = np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1)
    total = np.maximum(np.bincount(run, lengths), np.finfo(float).tiny)
    middle = _by_run(run, pieces.mean(axis=1) * lengths[:, None]) / total[:, None]
    fans = np.column_stack([ends[:, ::-1], len(mesh.vertices) + run]).astype(np.int32)
    vertices = np.concatenate([mesh.vertices, middle])
    corners = vertices[fans]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2
    # Where one side of a seam has its edge in one piece and the other in several, what they surround is nothing.
    wide = (np.linalg.norm(_by_run(run, normals), axis=1) > _SLIT * total**2)[run]
    label, count = shells(topology.mates)
    own = label[half // 3]
    added = np.bincount(own[wide], np.linalg.norm(normals[wide], axis=1), count)
    small = added <= LARGEST_SHARE * (np.bincount(label, mesh.areas, count) + added)
    closing = wide & small[own]
    hangs_on = (half[closing] // 3).astype(np.int32)
    faces = np.concatenate([mesh.faces, fans[closing]])
    shut = small[label]
    return Capped(Mesh(vertices, faces, mesh.rounding_mm), hangs_on, np.concatenate([shut, shut[hangs_on]]))


def _by_run(run: Ints, values: Floats) -> Floats:
    """Sum (k, 3) values by run."""
    return np.stack([np.bincount(run, values[:, k]) for k in range(3)], axis=1)
