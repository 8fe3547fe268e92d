"""Speed of the soundness measurements: shares of a floor, and self-crossing against two libraries.

Run from the checkout: python -m bench.soundness [faces]. The floor is what any check of a mesh has to do:
read a binary STL, weld it, build an Embree tree and shoot one ray from each face.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from lintsvc.measure.mesh import Mesh
from lintsvc.measure.self_crossing import contacts
from lintsvc.measure.self_crossing_pair import CROSSING
from lintsvc.measure.soundness import Soundness
from lintsvc.measure.weld import weld

RECORD = np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])


def pockets(faces: int) -> tuple[np.ndarray, np.ndarray]:
    """A plate with rows of round and square pockets, cut into about so many faces."""
    from manifold3d import Manifold

    plate = Manifold.cube([160.0, 120.0, 12.0])
    for i in range(8):
        for j in range(6):
            at = [10.0 + 20.0 * i, 10.0 + 20.0 * j, 2.0]
            hole = Manifold.cylinder(20.0, 7.0, 7.0, 96) if (i + j) % 2 else Manifold.cube([13.0, 13.0, 20.0], True)
            plate -= hole.translate(at if (i + j) % 2 else [at[0], at[1], 12.0])
    area = plate.surface_area()
    mesh = plate.refine_to_length(float(np.sqrt(area / faces) * 1.72)).to_mesh()
    return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)


def with_balls(vertices: np.ndarray, faces: np.ndarray, count: int = 300) -> tuple[np.ndarray, np.ndarray]:
    """The same part with small balls stuck in its walls."""
    from manifold3d import Manifold

    random = np.random.default_rng(0)
    ball = Manifold.sphere(0.3, 24).to_mesh()
    points, corners = np.asarray(ball.vert_properties)[:, :3], np.asarray(ball.tri_verts)
    parts, lists = [vertices], [faces]
    for i, at in enumerate(vertices[random.integers(0, len(vertices), count)]):
        parts.append(points + at + random.normal(size=3) * 0.05)
        lists.append(corners + len(vertices) + i * len(points))
    return np.concatenate(parts), np.concatenate(lists)


def timed(work: Callable[[], Any], times: int = 1) -> tuple[float, Any]:
    """Return the least of several times in seconds, and what the last one gave."""
    best, result = np.inf, None
    for _ in range(times):
        start = time.perf_counter()
        result = work()
        best = min(best, time.perf_counter() - start)
    return best, result


def read_and_weld(path: Path) -> Mesh:
    """Read a binary STL and weld it."""
    corners = np.fromfile(path, RECORD, offset=84)["v"].reshape(-1, 3)
    first, place = weld(np.ascontiguousarray(corners))
    return Mesh(corners[first], place.reshape(-1, 3), float(np.abs(corners).max()) * 2.0**-24)


def floor(path: Path) -> float:
    """Seconds of the floor."""
    from embreex import rtcore_scene
    from embreex.mesh_construction import TriangleMesh

    def work() -> None:
        mesh = read_and_weld(path)
        corners = mesh.vertices[mesh.faces].astype(np.float32)
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-30)[:, None]
        scene = rtcore_scene.EmbreeScene()
        TriangleMesh(scene, mesh.vertices.astype(np.float32), mesh.faces)
        scene.run(corners.mean(axis=1) - 1e-4 * normals, -normals)

    return timed(work, 2)[0]


def steps(path: Path) -> dict[str, float]:
    """Seconds of each step, on one fresh mesh."""
    seconds: dict[str, float] = {}

    def step(name: str, work: Callable[[], Any]) -> Any:
        seconds[name], result = timed(work)
        return result

    mesh = step("read and weld", lambda: read_and_weld(path))
    step("normals and tree", lambda: mesh.bvh)
    measured = Soundness(mesh)
    topology, shells = measured.topology, measured.shells
    step("edges", lambda: mesh.mates)
    step("collapsed, doubled, open, crowded", lambda: (topology.counted, topology.open, topology.crowded))
    step("winding", lambda: shells.against)
    step("vertices", lambda: topology.pinched)
    step("shells and volumes", lambda: (shells.around, shells.closed))
    step("degenerate and slivers", lambda: (measured.degenerate, measured.slivers(1e-4)))
    step("coarse and fine", lambda: (measured.coarse(0.1), measured.fine(0.1)))
    step("self-crossing", lambda: measured.contacts)
    step(
        "defects put together",
        lambda: (
            measured.open_edges, measured.non_manifold_edges, measured.flipped, measured.twisted, measured.inside_out,
            measured.doubles, measured.pinched, measured.crossings(), measured.overlaps(), measured.touches(),
            measured.nested(), measured.fragments(2.0),
        ),
    )  # fmt: skip
    return seconds


def by_pymeshlab(mesh: Mesh) -> np.ndarray:
    import pymeshlab

    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(mesh.vertices, mesh.faces))
    meshes.compute_selection_by_self_intersections_per_face()
    return np.flatnonzero(meshes.current_mesh().face_selection_array())


def by_libigl(mesh: Mesh) -> np.ndarray:
    from igl.copyleft.cgal import remesh_self_intersections

    found = remesh_self_intersections(mesh.vertices, mesh.faces.astype(np.int64), detect_only=True)[2]
    return np.unique(found)


def write(path: Path, vertices: np.ndarray, faces: np.ndarray) -> None:
    records = np.zeros(len(faces), RECORD)
    records["v"] = vertices[faces]
    with path.open("wb") as file:
        file.write(bytes(80) + np.uint32(len(faces)).tobytes())
        records.tofile(file)


def main(faces: int) -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "warm.stl"
        write(path, *pockets(5000))
        steps(path)  # compiled code is loaded here, not in the times below
        for name, part in (("pockets", pockets(faces)), ("pockets with 300 balls", with_balls(*pockets(faces)))):
            write(path, *part)
            base = floor(path)
            found = steps(path)
            print(f"{name}: {len(part[1]):,} faces; floor {base:.2f} s = 1.00")
            for step, seconds in found.items():
                print(f"  {step:36} {seconds / base:6.3f}   {seconds:7.3f} s")
            print(f"  {'all':36} {sum(found.values()) / base:6.3f}   {sum(found.values()):7.3f} s")
            mesh = read_and_weld(path)

            def tree_and_contacts(mesh: Mesh = mesh) -> np.ndarray:
                # As exact as the libraries are; a check takes contacts in the file's last digits for touching.
                found = contacts(Mesh(mesh.vertices, mesh.faces, mesh.rounding_mm), 1e-9)
                return found.of(found.kind == CROSSING).faces

            mine, crossing = timed(tree_and_contacts)
            for library, work in (("pymeshlab", by_pymeshlab), ("libigl", by_libigl)):
                theirs, others = timed(lambda work=work, mesh=mesh: work(mesh))
                print(
                    f"  self-crossing with its tree {mine:.2f} s, {len(crossing):,} faces; {library} {theirs:.2f} s "
                    f"({theirs / mine:.1f} x), {len(others):,} faces, {len(np.setxor1d(crossing, others)):,} differ"
                )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
