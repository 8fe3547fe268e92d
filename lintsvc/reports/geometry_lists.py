"""Bodies and holes of a body part as lists for the page, each with its faces so that it can be lit.

`list_body` (JSON, mm): `{"bodies": [{"name", "triangles", "size": [x, y, z], "volume_mm3", "faces"}], "more_bodies",
"holes": [{"diameter_mm", "depth_mm", "ends": [[x, y, z], [x, y, z]], "kind", "faces"}], "more_holes"}`.
`faces` are runs [first, count] in sent order (see `lintsvc.reports.geometry`). `kind` is "through", "blind" or
"closed". `volume_mm3` is null for a shell that is not closed, and negative for one that bounds a void.
`name` is the file's own for the object, where it has one. `more_…`: how many are left out, the smallest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.reports.geometry import runs

if TYPE_CHECKING:
    from lintsvc.measure.bodies import BodyMeasurements
    from lintsvc.measure.bores import Bore

#: A list longer than this is read by nobody.
_MOST = 200


def list_body(body: BodyMeasurements, order: NDArray[np.int64]) -> dict[str, Any]:
    """Return the lists described above. `order` is `sent_order` of the body."""
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    holes = body.bores
    # The largest first, as in the report; the smallest are left out.
    shown = sorted(holes, key=lambda x: -x.diameter_mm)[:_MOST]
    bodies = _bodies(body, rank)
    return {
        "bodies": bodies,
        "more_bodies": body.body_count - len(bodies),
        "holes": [_hole(x, rank) for x in shown],
        "more_holes": len(holes) - len(shown),
    }


def _bodies(body: BodyMeasurements, rank: NDArray[np.int64]) -> list[dict[str, Any]]:
    mesh, label = body.mesh, body.shell_of_face
    if not len(mesh):
        return []
    counts = np.bincount(label, minlength=body.body_count)
    volume = body.shell_volumes
    open_face = (mesh.mates.reshape(-1, 3) < 0).any(axis=1)
    is_open = np.bincount(label[open_face], minlength=body.body_count) > 0
    largest = np.argsort(-np.abs(volume), kind="stable")[:_MOST]
    by_shell = np.argsort(label, kind="stable")
    start = np.concatenate(([0], np.cumsum(counts)))
    part = body.body
    found = []
    for shell in largest.tolist():
        faces = by_shell[start[shell] : start[shell + 1]]
        corners = mesh.vertices[mesh.faces[faces]].reshape(-1, 3)
        name = ""
        if part.face_object is not None and part.object_names:
            name = part.object_names[int(part.face_object[faces[0]])]
        found.append(
            {
                "name": name,
                "triangles": len(faces),
                "size": [float(x) for x in np.ptp(corners, axis=0)],
                "volume_mm3": None if is_open[shell] else float(volume[shell]),
                "faces": runs(rank[faces]),
            }
        )
    return found


def _hole(bore: Bore, rank: NDArray[np.int64]) -> dict[str, Any]:
    return {
        "diameter_mm": bore.diameter_mm,
        "depth_mm": bore.depth_mm,
        "ends": [[float(x) for x in bore.low], [float(x) for x in bore.high]],
        "kind": "through" if bore.through else "blind" if bore.blind else "closed",
        "faces": runs(rank[bore.faces]),
    }
