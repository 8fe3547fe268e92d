"""Tetrahedra of a body's closed surface, by netgen.

Netgen is run in a process of its own: on some surfaces it crashes, and nothing in Python can catch that.
`python -m lintsvc.order.solid_mesh IN.stl OUT.npz SIZE` is that process.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.stl_bytes import stl_bytes
from lintsvc.order.solid_elements import CannotSolve

#: The mesh has to hold the surface's own volume: netgen sometimes loses a piece of an STL without a word.
_VOLUME_WITHIN = 0.02
#: A first estimate waits no longer.
_SECONDS = 90.0


def tetrahedra(
    vertices_mm: NDArray[Any], faces: NDArray[Any], size_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return points (n, 3) and tetrahedra (m, 4) that fill a closed surface, edges about `size_mm`.

    Faces share their vertices (a welded mesh).
    Raises CannotSolve when the surface cannot be filled.
    """
    corners = np.asarray(vertices_mm, np.float32)[np.asarray(faces)]
    if not _closed(np.asarray(faces)):
        raise CannotSolve("the body's surface is not closed")
    with tempfile.TemporaryDirectory() as folder:
        surface, out = Path(folder) / "body.stl", Path(folder) / "mesh.npz"
        surface.write_bytes(stl_bytes(corners, "body, mm"))
        command = [sys.executable, "-P", "-m", "lintsvc.order.solid_mesh", str(surface), str(out), repr(size_mm)]
        try:
            subprocess.run(command, capture_output=True, timeout=_SECONDS, check=False)
        except subprocess.TimeoutExpired:
            raise CannotSolve(f"dividing the body into elements took more than {_SECONDS:g} s") from None
        except PermissionError:
            # Inside the service's fence no process may be started; there a crash loses only this check's child.
            _mesh(surface, out, size_mm)
        if not out.is_file():
            raise CannotSolve("the body could not be divided into elements")
        with np.load(out) as found:
            points, elements = found["points"], found["elements"]
    a, b, c, d = (points[elements[:, i]] for i in range(4))
    volume = float(np.abs(np.einsum("ij,ij->i", np.cross(b - a, c - a), d - a)).sum()) / 6
    middle = corners.reshape(-1, 3).mean(axis=0)
    u, v, w = (corners[:, i].astype(np.float64) - middle for i in range(3))
    wanted = abs(float(np.einsum("ij,ij->i", np.cross(u, v), w).sum())) / 6
    if abs(volume - wanted) > _VOLUME_WITHIN * wanted:
        raise CannotSolve("the elements do not fill the body: its surface may not be closed, or it is too fine")
    return points, elements


def _closed(faces: NDArray[Any]) -> bool:
    """True when every edge is met once in each direction: netgen may run for ever on anything else."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    top = int(edges.max()) + 1
    forth, back = edges[:, 0] * top + edges[:, 1], edges[:, 1] * top + edges[:, 0]
    return bool(len(np.unique(forth)) == len(forth) and np.array_equal(np.sort(forth), np.sort(back)))


def _mesh(surface: Path, out: Path, size_mm: float) -> None:
    """Mesh an STL file into a file of arrays; writes nothing when it cannot."""
    import netgen.stl

    try:
        mesh = netgen.stl.STLGeometry(str(surface)).GenerateMesh(maxh=size_mm, minh=size_mm / 8)
    except Exception:  # noqa: BLE001  (netgen raises its own, untyped exceptions; no file is the answer)
        return
    points = np.array([point.p for point in mesh.Points()], np.float64)
    elements = np.array([[x.nr - 1 for x in element.vertices] for element in mesh.Elements3D()], np.int64)
    if elements.ndim == 2 and elements.shape[1] == 4:
        np.savez(out, points=points, elements=elements)


if __name__ == "__main__":
    _mesh(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3]))
