"""Every rule about bodies finds the same in a moved, turned, shuffled or subdivided copy, and in one through inches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from parts import bodies

from lintsvc.measure.mesh import Mesh
from lintsvc.model.part import Part
from lintsvc.readers.format import ReadOptions
from lintsvc.readers.read import read_part
from lintsvc.rulebook.check import check_part
from lintsvc.rulebook.fixtures import Case, cases_of
from lintsvc.rulebook.packs import load_packs
from lintsvc.rulebook.rule import Rule

#: About the file rather than the shape: how it is written is what they find fault with.
ABOUT_THE_FILE = {
    "soundness/recovered-file",
    "soundness/units-doubtful",
    "soundness/far-from-origin",
    "soundness/needlessly-fine",
    "soundness/sliver-face",
    "soundness/degenerate-face",
}
#: A face split in four is four faces: these count faces, or corners at which they meet.
COUNTS_FACES = {
    "soundness/duplicate-face",
    "soundness/non-manifold-vertex",
    "soundness/non-manifold-edge",
    "soundness/flipped-face",
}
RULES = [
    rule
    for pack in load_packs(installed=False)
    for rule in pack.rules
    if pack.name in ("powder-bed", "soundness") and rule.id not in ABOUT_THE_FILE
]
CHANGES: dict[str, Callable[[bodies.Mesh], bodies.Mesh]] = {
    "moved": lambda mesh: bodies.moved(mesh, (61.0, -38.5, 27.25)),
    "turned": lambda mesh: bodies.turned(mesh, 7),
    "shuffled": lambda mesh: bodies.shuffled(mesh, 7),
    "split": bodies.split,
    # Through an inch file and back: rounded to single precision there.
    "inch": lambda mesh: ((mesh[0] / 25.4).astype(np.float32).astype(float) * 25.4, mesh[1]),
}
#: Depths of a few thousandths are told to the rounding of the file.
ROUNDING_MM = 2e-5


def found(rule: Rule, case: Case, part: Part, mesh: bodies.Mesh) -> list[tuple[str, float]]:
    """Level and value of what one rule finds, sorted."""
    body = bodies.body(mesh, shared=True)
    x, y, z = np.ptp(body.vertices, axis=0).tolist()
    report = check_part(replace(part, body=body, size_mm=(x, y, z)), case.choices, [rule]).report
    assert not report.not_checked
    return sorted((x.level, x.measured.value if x.measured else 0.0) for x in report.findings)


def cases() -> list[Any]:
    """The first bad and the first good fixture of each rule."""
    chosen = []
    for rule in RULES:
        bad = [x for x in cases_of(rule) if not x.good][:1]
        good = [x for x in cases_of(rule) if x.good][:1]
        chosen += [pytest.param(rule, x, id=f"{rule.id}:{x.file.name}") for x in bad + good]
    return chosen


@pytest.mark.parametrize(("rule", "case"), cases())
def test_rule_finds_the_same_however_the_part_lies_and_is_written(rule: Rule, case: Case) -> None:
    part = read_part(case.file, ReadOptions(case.file.name, "0" * 64, None, None, None))
    assert part.body is not None
    welded = Mesh.of(part.body)
    mesh = (np.asarray(welded.vertices, float), np.asarray(welded.faces, np.int64))
    before = found(rule, case, part, mesh)
    for name, change in CHANGES.items():
        if name == "split" and rule.id in COUNTS_FACES:
            continue
        after = found(rule, case, part, change(mesh))
        assert [x[0] for x in after] == [x[0] for x in before], name
        assert [x[1] for x in after] == pytest.approx([x[1] for x in before], rel=0.01, abs=ROUNDING_MM), name
