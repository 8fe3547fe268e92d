"""Speed and memory of walls and gaps on large meshes, as shares of a floor and against another library.

Run from the checkout: python -m bench.bodies [faces]. The floor is what any check of a mesh has to do: read a
binary STL, weld it, build an Embree tree and shoot one ray from each face, all of it compiled code. Ratios are
taken in one run, each from the best of several turns, because the machine's own pace drifts.
"""

from __future__ import annotations

import multiprocessing
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.mesh import Mesh
from lintsvc.model.body import Body
from lintsvc.readers import read_part
from lintsvc.readers.format import ReadOptions

RECORD = np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
WALL_MM, GAP_MM = 0.8, 0.5


def pockets(faces: int) -> tuple[np.ndarray, np.ndarray]:
    """A box with pockets between ribs of 0.4 to 2 mm, bosses and holes, cut into about so many faces."""
    from manifold3d import Manifold, OpType

    cut, x = [], 4.0
    for rib in (0.4, 0.5, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0):
        cut.append(Manifold.cube([10.0, 34.0, 17.0]).translate([x, 4.0, 3.0]))
        cut.append(Manifold.cube([10.0, 30.0, 18.5]).translate([x, 44.0, 1.5]))
        x += 10.0 + rib
    drills = [Manifold.cylinder(30.0, 0.5 + 0.4 * k, -1.0, 48) for k in range(6)]
    cut += [drill.translate([100.0 + 3 * (k % 2), 10.0 + 11 * k, -5.0]) for k, drill in enumerate(drills)]
    part = Manifold.cube([120.0, 80.0, 20.0]) - Manifold.batch_boolean(cut, OpType.Add)
    mesh = part.refine_to_length(float(np.sqrt(part.surface_area() / faces * 2.6))).to_mesh()
    return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)


def lattice(faces: int) -> tuple[np.ndarray, np.ndarray]:
    """A block of lattice: sheets of about 0.5 mm along sin x cos y + sin y cos z + sin z cos x = 0."""
    from manifold3d import Manifold

    period, size = 6.0, 30.0
    k = 2 * np.pi / period

    def solid(x: float, y: float, z: float) -> float:
        g = np.sin(k * x) * np.cos(k * y) + np.sin(k * y) * np.cos(k * z) + np.sin(k * z) * np.cos(k * x)
        return 0.3 - abs(g)

    # An edge of the grid gives about 12 faces where the surface crosses it.
    edge = float(np.sqrt(size**3 * 4.6 / period / faces * 6))
    half = size / 2
    mesh = Manifold.level_set(solid, [-half, -half, -half, half, half, half], edge, 0.0).to_mesh()
    return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)


def write(path: Path, vertices: np.ndarray, faces: np.ndarray) -> None:
    """Write a binary STL."""
    records = np.zeros(len(faces), RECORD)
    records["v"] = vertices[faces]
    with path.open("wb") as file:
        file.write(bytes(80) + np.uint32(len(faces)).tobytes())
        records.tofile(file)


@njit(cache=True)
def _rays(vertices: Any, faces: Any, normals: Any, starts: Any, ways: Any, single: Any) -> None:
    """Middle of each face, a hair inside, and the way inward; and the vertices in single precision."""
    for i in range(len(vertices)):
        for k in range(3):
            single[i, k] = vertices[i, k]
    for i in range(len(faces)):
        for k in range(3):
            middle = (vertices[faces[i, 0], k] + vertices[faces[i, 1], k] + vertices[faces[i, 2], k]) / 3
            ways[i, k] = -normals[i, k]
            starts[i, k] = middle - 1e-4 * normals[i, k]


def read_and_weld(path: Path) -> Mesh:
    """The least that reading and welding takes."""
    corners = np.fromfile(path, RECORD, offset=84)["v"].reshape(-1, 3)
    body = Body(corners, np.arange(len(corners), dtype=np.int32).reshape(-1, 3), single_precision=True)
    return Mesh.of(body)


def floor(path: Path) -> None:
    """What any check has to do."""
    from embreex import rtcore_scene
    from embreex.mesh_construction import TriangleMesh

    mesh = read_and_weld(path)
    starts, ways = np.empty((len(mesh), 3), np.float32), np.empty((len(mesh), 3), np.float32)
    single = np.empty((len(mesh.vertices), 3), np.float32)
    _rays(mesh.vertices, mesh.faces, mesh.normals, starts, ways, single)
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, single, mesh.faces)
    scene.run(starts, ways)


def walls_and_gaps(path: Path) -> tuple[int, int]:
    """From the file to places, as a check does it: our reader, walls, gaps, joined to places."""
    body = read_part(path, ReadOptions(path.name, "0" * 64, units="mm")).body
    assert body is not None
    measured = BodyMeasurements(body)
    return len(measured.thin_places(WALL_MM)), len(measured.narrow_places(GAP_MM))


def with_soundness(path: Path) -> None:
    """The same, and everything about soundness."""
    body = read_part(path, ReadOptions(path.name, "0" * 64, units="mm")).body
    assert body is not None
    measured = BodyMeasurements(body)
    measured.thin_places(WALL_MM)
    measured.narrow_places(GAP_MM)
    sound = measured.soundness
    for defects in (sound.open_edges, sound.non_manifold_edges, sound.flipped, sound.inside_out, sound.degenerate):
        len(defects)
    for defects in (sound.doubles, sound.pinched, sound.crossings(), sound.overlaps(), sound.touches(), sound.nested()):
        len(defects)
    for defects in (sound.slivers(1e-4), sound.coarse(0.1), sound.fragments(2.0)):
        len(defects)
    sound.fine(0.1)


def times(works: dict[str, Callable[[], Any]], turns: int) -> dict[str, float]:
    """Best seconds of each work, taken in turns."""
    best = dict.fromkeys(works, np.inf)
    for _ in range(turns):
        for name, work in works.items():
            start = time.perf_counter()
            work()
            best[name] = min(best[name], time.perf_counter() - start)
    return best


def walls(path: Path) -> int:
    """From the file to the places of thin walls alone: what a thickness by rays from each face compares with."""
    body = read_part(path, ReadOptions(path.name, "0" * 64, units="mm")).body
    assert body is not None
    return len(BodyMeasurements(body).thin_places(WALL_MM))


@dataclass(frozen=True)
class Trimesh:
    """Seconds that trimesh takes: to read the file, and for a thickness on every face, by largest spheres (from a few
    faces) and by rays."""

    reading: float
    spheres: float
    rays: float


def against_trimesh(path: Path, samples: int) -> Trimesh:
    """Time the other library on the same file."""
    import trimesh
    from trimesh.proximity import thickness

    start = time.perf_counter()
    part = trimesh.load(path)
    # Taken up once by what follows, whoever asks first.
    points, normals = part.triangles_center, part.face_normals
    reading = time.perf_counter() - start

    def seconds(method: str, some: np.ndarray) -> float:
        start = time.perf_counter()
        thickness(part, points[some], exterior=False, normals=normals[some], method=method)
        return time.perf_counter() - start

    rays = seconds("ray", np.arange(len(part.faces)))
    # The first point pays for the trees, once: only the others stand for all faces.
    trees = seconds("max_sphere", np.arange(1))
    chosen = np.linspace(0, len(part.faces) - 1, samples).astype(int)
    each = seconds("max_sphere", chosen) / samples
    return Trimesh(reading, trees + each * len(part.faces), rays)


def resident_mb(which: str) -> int:
    """Memory of this process now (VmRSS) or at its most (VmHWM)."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(which):
            return int(line.split()[1]) // 1024
    raise RuntimeError("this system does not tell memory in /proc")


def peak_mb(path: str) -> None:
    """Print the peak memory of one run (in a process of its own)."""
    base = resident_mb("VmRSS")
    with_soundness(Path(path))
    peak = resident_mb("VmHWM")
    print(f"  peak memory {peak} MB, {peak - base} MB above the start", flush=True)


def in_own_process(work: Callable[[str], None], path: Path) -> None:
    """Run one work where nothing else has taken memory before."""
    process = multiprocessing.get_context("spawn").Process(target=work, args=(str(path),))
    process.start()
    process.join()


def main(faces: int) -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as folder:
        small = Path(folder) / "small.stl"
        write(small, *pockets(8000))
        for work in (floor, walls_and_gaps, with_soundness):
            work(small)  # compiled code is loaded here, not in the times below
        for name, make in (("pockets", pockets), ("lattice", lattice)):
            path = Path(folder) / f"{name}.stl"
            vertices, corners = make(faces)
            write(path, vertices, corners)
            works = {
                "floor": lambda path=path: floor(path),
                "walls": lambda path=path: walls(path),
                "walls and gaps": lambda path=path: walls_and_gaps(path),
                "and soundness": lambda path=path: with_soundness(path),
            }
            found = times(works, 4)
            print(f"{name}: {len(corners):,} faces, {walls_and_gaps(path)} places")
            for work, seconds in found.items():
                print(f"  {work:20} {seconds:7.3f} s  {seconds / found['floor']:6.2f} x floor")
            other = against_trimesh(path, 400)
            for method, seconds in (("spheres", other.spheres), ("rays", other.rays)):
                # The first is the stricter: more is done on our side, and less on the other.
                print(f"  trimesh's thickness by {method}, of a mesh already read: {seconds:.2f} s")
                print(f"    {seconds / found['walls and gaps']:6.1f} x walls and gaps from the file on")
                whole = other.reading + seconds
                print(f"  the same from the file on: {whole:.2f} s")
                print(f"    {whole / found['walls']:6.1f} x walls alone from the file on")
            in_own_process(peak_mb, path)
        print("growth on the part with pockets:")
        sizes, seconds = [], []
        for count in (10_000, 30_000, 100_000, 300_000, 1_000_000, 3_000_000):
            if count > 3 * faces:
                break
            path = Path(folder) / "grown.stl"
            vertices, corners = pockets(count)
            write(path, vertices, corners)
            sizes.append(len(corners))
            seconds.append(times({"": lambda path=path: walls_and_gaps(path)}, 2)[""])
            print(f"  {sizes[-1]:10,} faces {seconds[-1]:8.3f} s")
        exponent = np.polyfit(np.log(sizes), np.log(seconds), 1)[0]
        print(f"  exponent {exponent:.2f}")
        if faces >= 1_000_000:
            # 1.13: so that the part has close to ten million faces, the most that is read.
            vertices, corners = pockets(int(10 * faces * 1.13))
            write(path, vertices, corners)
            print(f"{len(corners):,} faces of it:")
            in_own_process(peak_mb, path)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
