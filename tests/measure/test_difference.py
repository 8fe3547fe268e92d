"""Where two versions differ: known changes to known bodies and drawings."""

from __future__ import annotations

import numpy as np
import pytest
from parts.bodies import box, join

from lintsvc.measure.difference import body_difference, flat_difference
from lintsvc.measure.mesh import Mesh
from lintsvc.model.sheet import Circle, Entity, Line, Shape


def mesh(parts: tuple[np.ndarray, np.ndarray], shift: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Mesh:
    return Mesh(parts[0] + shift, parts[1])


def boss() -> tuple[np.ndarray, np.ndarray]:
    vertices, faces = box((4.0, 4.0, 4.0))
    return vertices + np.array([0.0, 0.0, 12.0]), faces


def test_the_same_body_does_not_differ_from_itself_however_finely_it_is_cut() -> None:
    coarse, fine = mesh(box((40.0, 30.0, 10.0))), mesh(box((40.0, 30.0, 10.0), (7, 5, 3)))
    found = body_difference(coarse, fine)
    assert (len(found.changed), len(found.gone), found.moved_mm) == (0, 0, None)
    assert found.farthest_mm < 1e-6


def test_an_added_boss_is_what_changed_and_a_removed_one_is_what_is_gone() -> None:
    plain, bossed = box((40.0, 30.0, 10.0)), join(box((40.0, 30.0, 10.0)), boss())
    added = body_difference(mesh(plain), mesh(bossed))
    assert set(added.changed.tolist()) <= set(range(12, 24))
    assert len(added.changed) >= 8
    assert len(added.gone) == 0
    # The boss reaches from z = 10 to z = 14; the box ends at z = 5.
    assert added.farthest_mm == pytest.approx(9.0, abs=1.5)
    removed = body_difference(mesh(bossed), mesh(plain))
    assert set(removed.gone.tolist()) == set(added.changed.tolist())
    assert len(removed.changed) == 0


def test_a_moved_body_is_told_as_moved() -> None:
    one = box((40.0, 30.0, 10.0), (6, 6, 2))
    found = body_difference(mesh(one), mesh(one, (100.0, -7.0, 3.0)))
    assert found.moved_mm == pytest.approx((100.0, -7.0, 3.0))
    assert len(found.changed) == 0


def test_a_change_below_the_tolerance_is_none() -> None:
    found = body_difference(mesh(box((40.0, 30.0, 10.0))), mesh(box((40.0, 30.0, 10.04))))
    assert len(found.changed) == 0
    found = body_difference(mesh(box((40.0, 30.0, 10.0))), mesh(box((40.0, 30.0, 10.4))))
    assert len(found.changed) > 0


def test_an_empty_body_differs_wholly() -> None:
    nothing = Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64))
    one = mesh(box((10.0, 10.0, 10.0)))
    assert len(body_difference(nothing, one).changed) == 12
    assert len(body_difference(one, nothing).gone) == 12
    assert len(body_difference(nothing, nothing).changed) == 0


def entities(*shapes: Shape, role: str = "cut") -> list[Entity]:
    return [
        Entity(number=n, handle=str(n), kind="X", layer="0", role=role, role_why="", shapes=(x,))  # type: ignore[arg-type]
        for n, x in enumerate(shapes)
    ]


def test_a_moved_hole_is_the_entity_that_changed() -> None:
    side = Line((0.0, 0.0), (50.0, 0.0))
    old = entities(side, Circle((10.0, 10.0), 3.0))
    new = entities(side, Circle((12.0, 10.0), 3.0))
    found = flat_difference(old, new)
    assert found.changed.tolist() == [1]
    assert found.gone.tolist() == [1]
    assert found.farthest_mm == pytest.approx(2.0, abs=0.05)


def test_a_line_cut_in_two_is_the_same_line() -> None:
    old = entities(Line((0.0, 0.0), (50.0, 0.0)))
    new = entities(Line((0.0, 0.0), (20.0, 0.0)), Line((20.0, 0.0), (50.0, 0.0)))
    found = flat_difference(old, new)
    assert (found.changed.tolist(), found.gone.tolist()) == ([], [])


def test_a_cut_that_became_an_engraving_changed() -> None:
    line = Line((0.0, 0.0), (50.0, 0.0))
    found = flat_difference(entities(line), entities(line, role="engrave"))
    assert (found.changed.tolist(), found.gone.tolist()) == ([0], [0])
