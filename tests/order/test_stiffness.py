"""First estimates against textbook cases: beams, an angle, a plate. Sources stand beside each."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from parts.fixture_folders import Flat, rectangle
from parts.orders import block, printed, sheet, stl, table, write

from lintsvc.handbook.materials import material
from lintsvc.order import stiffness
from lintsvc.order.bought import box_mesh, cylinder_mesh
from lintsvc.order.checked import CheckedOrder
from lintsvc.order.closed_form import closed_form
from lintsvc.order.file import LoadEntry, RestEntry
from lintsvc.order.load import load_here
from lintsvc.order.plates import Push, circle, rigidity
from lintsvc.order.shape import Shape, no_holes
from lintsvc.order.solid_elements import PointForce, solve
from lintsvc.order.solid_mesh import tetrahedra


def strip(tmp_path: Path, newton: float, reach: float = 100.0, **more: object) -> CheckedOrder:
    """A strip of 40 × 3 mm, held over 10 mm, loaded `reach` mm farther."""
    text = sheet("arm", "arm.dxf", **{"thickness": 3.0, **more})
    text += table("rest", of="arm", kind="clamp", points=[[5, y, 1.5] for y in range(0, 41, 4)], reach=5.0)
    text += table("load", on="arm", force=newton, at=[10 + reach, 20, 3], direction=[0, 0, -1])
    return load_here(write(tmp_path, text, arm_dxf=rectangle(110, 40).text().encode()))


def test_cantilevers_of_the_handbook(tmp_path: Path) -> None:
    # Shigley, Table A-9, case 1: F L³ / (3 E I), F L c / I. L 100, b 40, h 3, F 10 N; worked in the reference values
    # with E 68.9 GPa: 0.5375 mm and 16.667 MPa.
    (found,) = strip(tmp_path, 10.0).loaded
    young = material("aluminium-5052-h32").youngs_modulus_gpa
    assert young is not None
    assert found.deflection_mm == pytest.approx(0.5375 * 68.9 / young.value, rel=1e-3)
    assert found.stress_mpa == pytest.approx(16.667, rel=1e-3)
    assert found.by == "beam formula"


@pytest.mark.parametrize(
    ("points", "at", "beam"),
    [
        ([[5, 5], [5, 20], [5, 35]], [110, 20], True),
        # A washer in the middle of the end lets it turn about itself; pushed at a corner it twists.
        ([[5, 20]], [110, 20], False),
        ([[5, 5], [5, 20], [5, 35]], [110, 38], False),
    ],
)
def test_only_what_is_held_over_its_width_and_pushed_in_its_middle_is_a_beam(
    points: list[list[float]], at: list[float], beam: bool
) -> None:
    vertices, faces = box_mesh(np.array([55.0, 20.0, 1.5]))
    vertices = vertices + np.array([55.0, 20.0, 1.5])
    shape = Shape("sheet", vertices, faces, no_holes(), 110 * 40 * 3.0, None, 9700.0, 3.0)
    load = LoadEntry(on="arm", force=10, at=(at[0], at[1], 3), direction=(0, 0, -1))
    rest = RestEntry(of="arm", kind="clamp", points=[(x, y, 1.5) for x, y in points], reach=6.0)
    assert (closed_form(shape, [load], [rest], 70_300) is not None) == beam


def test_beyond_the_load_the_beam_goes_on_straight(tmp_path: Path) -> None:
    (found,) = strip(tmp_path, 10.0, reach=60.0).loaded
    young = 70_300.0
    inertia = 40 * 3**3 / 12
    at_load = 10 * 60**3 / (3 * young * inertia)
    slope = 10 * 60**2 / (2 * young * inertia)
    assert found.deflection_mm == pytest.approx(at_load + 40 * slope)


def test_elements_agree_with_the_beam(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stiffness, "closed_form", lambda *_: None)
    monkeypatch.setattr(stiffness, "_other_thicknesses", lambda *_: [])
    (found,) = strip(tmp_path, 10.0).loaded
    assert found.by.endswith("finite elements")
    # The clamp keeps the strip from narrowing sideways, which a beam may: a plate is up to 1 − ν² stiffer. Spheres
    # about the clamp's points leave a scallop between them, and middles of edges lie up to half an element short.
    shortest, longest = (10 * arm**3 / (3 * 70_300 * 90) for arm in (100.0, 101.5))
    assert (1 - 0.33**2) * shortest < found.deflection_mm < longest
    # Stress is read a wall beside the clamp, where its moment is 97 % of the whole.
    assert found.stress_mpa == pytest.approx(16.667, rel=0.12)


def test_a_folded_angle_bends_as_its_two_legs_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """δ = F b³/(3EI) + F a b²/(EI): the standing leg turns under the moment F b (superposition, Shigley ch. 4)."""
    thick, radius, k = 2.0, 2.0, 0.4
    arc = math.pi / 2 * (radius + k * thick)
    flat = Flat((0, 0), (20, 0), (20, 120 + arc), (0, 120 + arc))
    flat = flat.bend((0, 60 + arc / 2), (20, 60 + arc / 2), "BEND_UP_90_R2")
    text = sheet("angle", "angle.dxf", k_factor=k)
    text += table("rest", of="angle", kind="clamp", points=[[x, 2, 1] for x in (2, 6, 10, 14, 18)], reach=3.0)
    order = load_here(write(tmp_path, text, angle_dxf=flat.text().encode()))
    shape = order.part("angle").shape
    high = shape.box[1]
    # The second leg stands up along z; it is pushed at its end along y.
    end = [10.0, float(high[1]) - 1.0, float(high[2])]
    monkeypatch.setattr(stiffness, "_other_thicknesses", lambda *_: [])
    more = table("load", on="angle", force=5, at=end, direction=[0, 1, 0])
    (found,) = load_here(write(tmp_path, text + more)).loaded
    inertia = 20 * thick**3 / 12
    # Middle lines of the legs: from the clamp to the bend's corner, and from there to the end.
    a = float(high[1]) - thick / 2 - 5.0
    b = float(high[2]) - thick / 2
    expected = 5 * b**3 / (3 * 70_300 * inertia) + 5 * a * b**2 / (70_300 * inertia)
    # A round corner is shorter than a sharp one, and a wide leg stiffer than a beam.
    assert found.deflection_mm == pytest.approx(expected, rel=0.12)


def test_a_clamped_round_plate_with_a_load_in_its_middle() -> None:
    """w = F a² / (16 π D) (Roark, table 11.2, case 17, clamped; recalled), wherever corners of elements lie."""
    radius, thick, young, poisson = 30.0, 2.0, 70_000.0, 0.33
    vertices, faces = cylinder_mesh(radius + 2, thick)
    points, elements = tetrahedra(vertices, faces, 4.0)
    force = [PointForce((0, 0, thick / 2), (0, 0, -20.0), 3.0)]
    found = solve(points, elements, young, poisson, lambda some: np.hypot(some[:, 0], some[:, 1]) >= radius, force)
    expected = circle(radius, thick, young, poisson, clamped=True, push=Push(20.0, evenly=False)).deflection_mm
    assert expected == pytest.approx(20 * radius**2 / (16 * math.pi * rigidity(young, poisson, thick)))
    # Spread over 3 mm the force gives 2 % less than a point's.
    assert found.largest_deflection[0] == pytest.approx(expected * 0.98, rel=0.03)
    # Half-way out the moments are F/(4π) (1 + ν) ln 2 − F/(4π) and, across, the same with ν outside.
    across = math.log(2) * (1 + poisson)
    radial, hoop = (20 / (4 * math.pi) * (across - x) * 6 / thick**2 for x in (1.0, poisson))
    mises = math.sqrt(radial**2 - radial * hoop + hoop**2)
    points = found.points_mm
    top = (np.abs(points[:, 2] - thick / 2) < 1e-6) & (np.abs(np.hypot(points[:, 0], points[:, 1]) - radius / 2) < 1)
    assert found.stress_mpa[top].mean() == pytest.approx(mises, rel=0.05)


def plate_order(tmp_path: Path, flat: Flat, kind: str, **load: object) -> CheckedOrder:
    """A plate of 2 mm, held along its whole edge over 5 mm."""
    text = sheet("plate", "plate.dxf") + table("rest", of="plate", kind=kind, along="edge", reach=5.0)
    text += table("load", on="plate", force=50, direction=[0, 0, -1], **load)
    return load_here(write(tmp_path, text, plate_dxf=flat.text().encode()))


def test_plates_are_recognised_and_their_free_span_is_inside_of_what_holds(tmp_path: Path) -> None:
    flat = rectangle(130, 90)
    (found,) = plate_order(tmp_path, flat, "clamp", at=[65, 45, 2]).loaded
    assert found.by == "formula of a clamped rectangular plate"
    stiff = rigidity(70_300, 0.33, 2)
    # 120 × 80: 0.00691 to 0.00712 F b² / D for sides as 1.5 to 1.
    assert found.deflection_mm == pytest.approx(0.00703 * 50 * 80**2 / stiff, rel=0.01)
    (found,) = plate_order(tmp_path, flat, "feet", at=[65, 45, 2], over="face").loaded
    assert found.by == "formula of a simply supported rectangular plate"
    # 0.00772 q b⁴ / D (Timoshenko, table 8, b/a = 1.5), of what pushes inside of the edge.
    assert found.deflection_mm == pytest.approx(0.00772 * 50 / (130 * 90) * 80**4 / stiff, rel=0.002)
    turns = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    disc = Flat(*((30 * math.cos(x), 30 * math.sin(x)) for x in turns.tolist()))
    (found,) = plate_order(tmp_path, disc, "clamp", at=[0, 0, 2]).loaded
    assert found.by == "formula of a clamped round plate"
    assert found.deflection_mm == pytest.approx(50 * 25**2 / (16 * math.pi * stiff), rel=0.01)


@pytest.mark.parametrize(("kind", "reach"), [("clamp", 4.0), ("feet", 1.0)])
def test_elements_agree_with_the_plate(kind: Literal["clamp", "feet"], reach: float) -> None:
    vertices, faces = box_mesh(np.array([40.0, 30.0, 1.0]))
    shape = Shape("sheet", vertices, faces, no_holes(), 80 * 60 * 2.0, None, 2 * 80 * 60 + 560.0, 2.0)
    load = LoadEntry(on="plate", force=50, at=(0, 0, 1), direction=(0, 0, -1), over="face")
    rest = RestEntry(of="plate", kind=kind, along="edge", reach=reach)
    exact = closed_form(shape, [load], [rest], 70_300)
    assert exact is not None
    found = stiffness._solve(stiffness.Case(shape, [load], [rest], np.array([0, 0, 1.0])), 70_300)
    assert found.deflection_mm == pytest.approx(exact.deflection_mm, rel=0.05)
    # The formula gives the largest bending stress; von Mises' of two of them is up to 12 % less. A clamped edge's is
    # read half an element beside it besides, and falls steeply there.
    assert (0.6 if kind == "clamp" else 0.85) * exact.stress_mpa < found.stress_mpa < exact.stress_mpa


def test_the_edge_of_what_is_no_plate_is_asked_for(tmp_path: Path) -> None:
    flat = rectangle(100, 80).bend((0, 30), (100, 30), "BEND_UP_90_R2")
    (found,) = plate_order(tmp_path, flat, "clamp", at=[50, 40, 2]).loaded
    assert found.why == "plate is no flat rectangle or disc, so it has no one edge: name points in its [[rest]]"


def test_other_materials_go_with_their_stiffness_and_thicknesses_with_the_cube(tmp_path: Path) -> None:
    (found,) = strip(tmp_path, 10.0).loaded
    own = found.rows[0]
    steel = next(x for x in found.rows if x.material == "steel-mild")
    young = [material(x).youngs_modulus_gpa for x in ("aluminium-5052-h32", "steel-mild")]
    assert young[0] is not None
    assert young[1] is not None
    assert steel.deflection_mm == pytest.approx(own.deflection_mm * young[0].value / young[1].value)
    assert steel.stress_mpa == own.stress_mpa
    thicker = next(x for x in found.rows if x.thickness_mm == 4.0)
    (again,) = strip(tmp_path, 10.0, thickness=4.0).loaded
    assert thicker.deflection_mm == pytest.approx(again.deflection_mm)
    assert thicker.stress_mpa == pytest.approx(again.stress_mpa)
    assert thicker.mass_g == pytest.approx(again.rows[0].mass_g)


def test_what_is_missing_is_asked_for(tmp_path: Path) -> None:
    text = printed("arm", "arm.stl") + table("load", on="arm", force=1, at=[50, 5, 5], direction=[0, 0, -1])
    files = {"arm_stl": stl(block(50, 10, 5))}
    (found,) = load_here(write(tmp_path, text, **files)).loaded
    assert found.why == "arm: say where it is held: [[rest]] of kind clamp, or feet"
    off = table("rest", of="arm", kind="clamp", points=[[0, 0, 90]])
    (found,) = load_here(write(tmp_path, text + off)).loaded
    assert found.why == "the rest at 0, 0, 90 mm lies beside the part"
