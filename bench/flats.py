"""Flats and sheet solids against what reading them costs at the least: ezdxf.readfile, and OCP's read and transfer.

Run from the checkout: python -m bench.flats [thousands of lines]. Times are processor time of this process and of
those that it started, each the best of several turns in one run: the machine's own pace drifts, its ratios less so.
"""

from __future__ import annotations

import math
import resource
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from lintsvc.model.choices import Choices
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs

#: What is aimed at.
DXF_RATIO, STEP_RATIO, FOLD_MS, EXPONENT = 2.0, 2.0, 50.0, 1.2
SAID = Choices(process="sheet", material="steel-mild", thickness_mm=2.0)


def spent() -> float:
    """Processor seconds of this process and of those that it waited for."""
    return sum(
        x.ru_utime + x.ru_stime for x in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


def best(what: Callable[[], Any], turns: int) -> float:
    """Least time of several turns, s."""
    times = []
    for _ in range(turns):
        begun = spent()
        what()
        times.append(spent() - begun)
    return min(times)


def plate(path: Path, lines: int) -> Path:
    """A plate with rows of square cutouts of 6 mm, 12 mm apart, every contour of four lines."""
    across = max(1, math.ceil(math.sqrt(lines / 4 - 1)))
    squares = [(6.0 + 12.0 * (i % across), 6.0 + 12.0 * (i // across), 6.0) for i in range(lines // 4 - 1)]
    edge = 12.0 * across + 6.0
    pieces = []
    for x, y, side in ((0.0, 0.0, edge), *squares):
        corners = [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]
        for (a, b), (c, d) in zip(corners, corners[1:] + corners[:1], strict=True):
            pieces.append(f"0\nLINE\n8\n0\n10\n{a}\n20\n{b}\n30\n0.0\n11\n{c}\n21\n{d}\n31\n0.0\n")
    return _written(path, pieces)


def polygons(path: Path, lines: int) -> Path:
    """A plate with rows of holes of 6 mm, 12 mm apart, each drawn as a polygon of 40 lines."""
    across = max(1, math.ceil(math.sqrt(lines / 40)))
    turns = [(3.0 * math.cos(math.tau * k / 40), 3.0 * math.sin(math.tau * k / 40)) for k in range(40)]
    edge = 12.0 * across + 6.0
    rings = [[(0.0, 0.0), (edge, 0.0), (edge, edge), (0.0, edge)]]
    rings += [
        [(9.0 + 12.0 * (i % across) + x, 9.0 + 12.0 * (i // across) + y) for x, y in turns]
        for i in range((lines - 4) // 40)
    ]
    pieces = [
        f"0\nLINE\n8\n0\n10\n{a:.6f}\n20\n{b:.6f}\n30\n0.0\n11\n{c:.6f}\n21\n{d:.6f}\n31\n0.0\n"
        for ring in rings
        for (a, b), (c, d) in zip(ring, ring[1:] + ring[:1], strict=True)
    ]
    return _written(path, pieces)


def ring(path: Path, lines: int) -> Path:
    """One contour of very many lines: a toothed wheel."""
    radius = lines * 0.2 / (2 * math.pi)
    corners = []
    for i in range(lines):
        r = radius + (0.5 if i // 4 % 2 else 0.0)
        corners.append((r * math.cos(2 * math.pi * i / lines), r * math.sin(2 * math.pi * i / lines)))
    pieces = [
        f"0\nLINE\n8\n0\n10\n{a:.6f}\n20\n{b:.6f}\n30\n0.0\n11\n{c:.6f}\n21\n{d:.6f}\n31\n0.0\n"
        for (a, b), (c, d) in zip(corners, corners[1:] + corners[:1], strict=True)
    ]
    return _written(path, pieces)


def _written(path: Path, pieces: list[str]) -> Path:
    head = "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n"
    path.write_text(head + "".join(pieces) + "0\nENDSEC\n0\nEOF\n", encoding="ascii")
    return path


def perforated(path: Path, holes: int) -> Path:
    """A STEP of a plate with so many holes: as many faces, and six."""
    from OCP.BRep import BRep_Builder
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
    from OCP.Message import Message
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer
    from OCP.TopoDS import TopoDS_Compound

    Message.DefaultMessenger_s().ChangePrinters().Clear()
    across = math.ceil(math.sqrt(holes))
    drills = TopoDS_Compound()
    builder = BRep_Builder()
    builder.MakeCompound(drills)
    for i in range(holes):
        at = gp_Ax2(gp_Pnt(8.0 + 12.0 * (i % across), 8.0 + 12.0 * (i // across), -1.0), gp_Dir(0, 0, 1))
        builder.Add(drills, BRepPrimAPI_MakeCylinder(at, 2.5, 4.0).Shape())
    edge = 12.0 * across + 4.0
    writer = STEPControl_Writer()
    writer.Transfer(BRepAlgoAPI_Cut(BRepPrimAPI_MakeBox(edge, edge, 2.0).Shape(), drills).Shape(), STEPControl_AsIs)
    writer.Write(str(path))
    return path


def read_by_ocp(path: Path) -> None:
    """What reading costs at the least."""
    from OCP.STEPControl import STEPControl_Reader

    reader = STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    assert not reader.OneShape().IsNull()


def strip_of(panels: int) -> tuple[Any, list[Any]]:
    """A strip with a bend after each panel but the last, up and down in turns."""
    from shapely.geometry import box

    from lintsvc.model.sheet import Bend

    wide = math.pi / 2 * (2.0 + 0.44 * 2.0)
    x, bends = 0.0, []
    for i in range(panels):
        x += 20.0
        if i < panels - 1:
            at = x + wide / 2
            bends.append(Bend((at, 0.0), (at, 60.0), 90.0, "up" if i % 2 else "down", 2.0, 0.44))
            x += wide
    return box(0.0, 0.0, x, 60.0), bends


def exponent(sizes: list[int], times: list[float]) -> float:
    """Slope of a straight line through the logarithms."""
    xs, ys = [math.log(x) for x in sizes], [math.log(x) for x in times]
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    return sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / sum((x - mean_x) ** 2 for x in xs)


def main(thousands: int) -> None:
    """Run everything, and say what is missed."""
    import ezdxf

    from lintsvc.measure.fold import fold

    rules = [x for pack in load_packs() for x in pack.rules]
    missed = []
    drawings = (("square cutouts", plate), ("holes drawn as polygons", polygons), ("one contour", ring))

    def told(what: str, value: float, aim: float, unit: str) -> None:
        print(f"{what:<62}{value:>8.2f}{unit:<4} aim {aim:g}{'' if value <= aim else '   MISSED'}", flush=True)
        if value > aim:
            missed.append(what)

    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        check_file(plate(here / "warm.dxf", 400), SAID, rules)
        for name, make in drawings:
            path = make(here / "large.dxf", 1000 * thousands)
            by_ezdxf = best(lambda path=path: ezdxf.readfile(path), 2)  # type: ignore[misc]
            ours = best(lambda path=path: check_file(path, SAID, rules), 2)  # type: ignore[misc]
            print(f"{thousands} k lines, {name}: ezdxf.readfile {by_ezdxf:.2f} s, whole check {ours:.2f} s")
            told(f"check of {thousands} k lines ({name}) / ezdxf.readfile", ours / by_ezdxf, DXF_RATIO, " x")
        sizes = [2_500, 5_000, 10_000, 20_000, 40_000]
        for name, make in drawings:
            paths = [make(here / f"{n}.dxf", n) for n in sizes]
            times = [best(lambda path=path: check_file(path, SAID, rules), 2) for path in paths]  # type: ignore[misc]
            print(", ".join(f"{n // 1000} k {t:.2f} s" for n, t in zip(sizes, times, strict=True)))
            told(f"time of a check grows with lines ({name}) to the power", exponent(sizes, times), EXPONENT, "")
        step = perforated(here / "plate.step", 994)
        by_ocp = best(lambda: read_by_ocp(step), 3)
        ours = best(lambda: check_file(step, Choices(material="steel-mild"), rules), 3)
        print(f"STEP of 1,000 faces: OCP's read and transfer {by_ocp:.2f} s, whole check {ours:.2f} s")
        told("check of a STEP of 1,000 faces / OCP's read and transfer", ours / by_ocp, STEP_RATIO, " x")
    outline, bends = strip_of(30)
    told("folding 30 panels", 1000 * best(lambda: fold(outline, bends, 2.0).body, 10), FOLD_MS, " ms")
    sys.exit(1 if missed else 0)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
