"""Two versions of one part, as JSON types: findings gone, new and kept, facts, and where the shape differs."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lintsvc.model.report import PartReport
from lintsvc.reports.comparing import compare_parts
from lintsvc.reports.geometry import runs, sent_order
from lintsvc.reports.json_report import finding_to_dict

if TYPE_CHECKING:
    from lintsvc.measure.difference import Difference
    from lintsvc.rulebook.checked import Checked

Json = dict[str, Any]


def versions_to_dict(old: PartReport, new: PartReport, before: Checked | None, after: Checked | None) -> Json:
    """Return the comparison. `before` and `after`: the parts themselves, None where a file could not be read.

    `shape`: null where the shapes cannot be held against each other; else `faces` (runs in the order in which they
    are sent) or `entities` of the new part that differ, `gone` (lines [[x, y, z], [x, y, z]] around what is no
    longer there), `farthest_mm`, `tolerance_mm`, `moved_mm`.
    """
    change = compare_parts(old, replace(new, file=old.file))
    kept = _kept(new, [x.fingerprint for x in change.added])
    return {
        "old": old.file,
        "new": new.file,
        "same_content": change.same_content,
        "changes": [asdict(x) for x in change.changes],
        "gone": [finding_to_dict(x) for x in change.gone],
        "added": [finding_to_dict(x) for x in change.added],
        # Places in the new report's list.
        "kept": kept,
        "shape": _shape(before, after),
    }


def _kept(new: PartReport, added: list[str]) -> list[int]:
    """Places in the new list of findings that the old one has too."""
    left = list(added)
    kept = []
    for place, finding in enumerate(new.findings):
        if finding.fingerprint in left:
            left.remove(finding.fingerprint)
        else:
            kept.append(place)
    return kept


def _shape(before: Checked | None, after: Checked | None) -> Json | None:
    from lintsvc.measure.difference import TOLERANCE_MM, body_difference, flat_difference

    if before is None or after is None:
        return None
    old, new = before.part, after.part
    faces: list[list[int]] = []
    entities: list[int] = []
    if _flat(before) and _flat(after):
        assert old.sheet is not None  # _flat says so
        assert new.sheet is not None
        found = flat_difference(old.sheet.entities, new.sheet.entities)
        entities = [int(x) for x in found.changed]
        lines = [y for x in found.gone for y in _lines_of(before, int(x))]
    elif old.body is not None and new.body is not None and not _flat(before) and not _flat(after):
        found = body_difference(before.body.mesh, after.body.mesh)
        order = sent_order(new.body)
        rank = np.empty(len(order), np.int64)
        rank[order] = np.arange(len(order))
        faces = runs(rank[found.changed])
        lines = _outline(before, found)
    else:
        return None
    return {
        "faces": faces,
        "entities": entities,
        "gone": lines,
        "farthest_mm": found.farthest_mm,
        "tolerance_mm": TOLERANCE_MM,
        "moved_mm": None if found.moved_mm is None else list(found.moved_mm),
    }


def _flat(checked: Checked) -> bool:
    return checked.part.sheet is not None and (checked.part.body is None or checked.choices.process == "sheet")


#: So many lines are drawn at most of what is gone.
_MOST_LINES = 4000


def _lines_of(checked: Checked, number: int) -> list[list[list[float]]]:
    """An entity as line pieces."""
    from lintsvc.measure.flat_curves import curves_of

    assert checked.part.sheet is not None  # asked for flats only
    curves = curves_of([checked.part.sheet.entities[number]])
    pieces = []
    for curve in range(len(curves)):
        points = np.column_stack([curves.points_of(curve), np.zeros(len(curves.points_of(curve)))])
        pieces += [[a, b] for a, b in zip(points[:-1].tolist(), points[1:].tolist(), strict=True)]
    return pieces[:_MOST_LINES]


def _outline(checked: Checked, found: Difference) -> list[list[list[float]]]:
    """The edges around what is gone, moved to the new part."""
    mesh = checked.body.mesh
    if not len(found.gone):
        return []
    edges = np.sort(mesh.faces[found.gone][:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    single, count = np.unique(edges, axis=0, return_counts=True)
    shift = np.asarray(found.moved_mm or (0.0, 0.0, 0.0))
    ends = mesh.vertices[single[count == 1][:_MOST_LINES]] + shift
    if not len(ends):
        low, high = (x + shift for x in mesh.box)
        return [[low.tolist(), high.tolist()]]
    told: list[list[list[float]]] = ends.tolist()
    return told
