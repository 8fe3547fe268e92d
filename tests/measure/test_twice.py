"""A body that stands twice in a file is told as that, once, and measured as the one that it is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from measure.test_turned_over import measured, plate_with_everything, told
from parts import bodies

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.same_objects import as_one
from lintsvc.model.body import Body
from lintsvc.model.choices import Choices
from lintsvc.model.finding import Finding
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import load_packs

RULES = [x for pack in load_packs() for x in pack.rules if x.id.startswith("powder-bed/")]


@pytest.mark.parametrize("times", [2, 3])
def test_a_body_that_stands_twice_is_measured_like_the_one(times: int) -> None:
    vertices, faces = plate_with_everything()
    right = told(measured((vertices, faces)))
    assert right["walls"] and right["gaps"] and right["bores"] and right["openings"] and right["voids"] == [64.0]
    twice = measured((vertices, np.concatenate([faces] * times)))
    assert told(twice) == right
    assert sum(x.value for x in twice.soundness.doubles) == (times - 1) * len(faces)


@pytest.mark.parametrize("times", [2, 3])
@pytest.mark.parametrize("shuffled", [False, True])
def test_a_body_that_stands_twice_as_two_objects_is_measured_like_the_one(times: int, shuffled: bool) -> None:
    """Each object has corners of its own, in an order of its own, as in a 3MF."""
    vertices, faces = plate_with_everything()
    copies = [(vertices, faces)]
    for seed in range(1, times):
        order = np.random.default_rng(seed).permutation(len(vertices)) if shuffled else np.arange(len(vertices))
        other = np.argsort(order)[faces]
        copies.append((vertices[order], np.roll(other[::-1], seed, axis=1) if shuffled else other))
    whole = bodies.join(*copies)
    objects = np.repeat(np.arange(times, dtype=np.int32), len(faces))
    names = tuple("abc"[:times])
    body = Body(whole[0], whole[1].astype(np.int32), objects, names)
    twice = BodyMeasurements(body)
    assert told(twice) == told(BodyMeasurements(Body(vertices, faces.astype(np.int32))))
    assert sum(x.value for x in twice.soundness.doubles) == (times - 1) * len(faces)
    assert not twice.soundness.crossings(0.0)
    assert not twice.soundness.overlaps(0.0)


def test_a_copy_that_stands_elsewhere_or_differs_in_one_corner_is_another_object() -> None:
    vertices, faces = bodies.box((10, 10, 10))
    numbers = np.repeat(np.arange(2, dtype=np.int32), len(faces))
    cut = vertices.copy()
    cut[0] *= 0.9
    for other in (np.add(vertices, [30, 0, 0]), cut, vertices[:, ::-1] * [1, 1, 2]):
        points = np.concatenate([vertices[faces], other[faces]])
        assert as_one(points, numbers).tolist() == numbers.tolist()
    assert as_one(np.concatenate([vertices[faces], vertices[faces][::-1]]), numbers).tolist() == [0] * 2 * len(faces)


def test_part_of_a_body_that_stands_twice_is_measured_like_the_one() -> None:
    vertices, faces = plate_with_everything()
    # The copies come first, and in another order: which of two is kept does not matter.
    assert told(measured((vertices, np.concatenate([faces[::-2], faces])))) == told(measured((vertices, faces)))


def test_a_copy_turned_over_beside_two_that_are_not_is_no_wall() -> None:
    vertices, faces = plate_with_everything()
    turned = faces[:, ::-1]
    assert told(measured((vertices, np.concatenate([turned, faces, faces])))) == told(measured((vertices, faces)))


def test_rules_say_of_it_what_they_say_of_the_one(tmp_path: Path) -> None:
    vertices, faces = plate_with_everything()
    once, twice = (findings(tmp_path / f"{n}.stl", (vertices, np.concatenate([faces] * n))) for n in (1, 2))
    assert len(once) >= 6
    assert [(x.rule, x.message) for x in twice] == [(x.rule, x.message) for x in once]
    for one, other in zip(once, twice, strict=True):
        assert one.where and other.where and one.where.point and other.where.point
        assert np.linalg.norm(np.subtract(one.where.point, other.where.point)) < 1.0


def findings(path: Path, mesh: bodies.Mesh) -> tuple[Finding, ...]:
    trimesh.Trimesh(*mesh, process=False).export(path)
    report = check_file(path, Choices(process="powder-bed", material="pa12", units="mm"), RULES).report
    assert not report.not_checked
    return report.findings
