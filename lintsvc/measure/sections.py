"""The outline in which a plane cuts some faces, and the circle that it stands for."""

from __future__ import annotations

import numpy as np

from lintsvc.measure.circles import fit_circle
from lintsvc.measure.mesh import Floats, Ints, Mesh, frame_of

#: An outline is a circle cut into facets when its flats come this near to its corners: eight facets or more.
_FLATS = np.cos(np.pi / 8) - 0.01
#: So much of the circle is there, at least.
_COVERED_DEG = 270.0


def round_width(mesh: Mesh, faces: Ints, centre: Floats, axis: Floats, otherwise: float) -> float:
    """Diameter of a pin or a hole where a plane through `centre` cuts it at right angles to its axis.

    That of the circle through the corners of the outline, however finely the flats between them are split again;
    `otherwise` where the outline is no circle, as of a square pin, or too little of it is there.
    """
    frame = frame_of(axis)
    corners = (mesh.vertices[mesh.faces[faces]] - centre) @ np.column_stack([frame, axis])
    ends = _cut(corners)
    if len(ends) < 4:
        return otherwise
    middle, _ = fit_circle(ends.reshape(-1, 2))
    ends = ends - middle
    far = float(np.linalg.norm(ends, axis=2).max())
    # Nearest point of each piece of outline to the middle.
    along = ends[:, 1] - ends[:, 0]
    length2 = np.maximum((along**2).sum(axis=1), 1e-300)
    t = np.clip(-(ends[:, 0] * along).sum(axis=1) / length2, 0.0, 1.0)
    near = float(np.linalg.norm(ends[:, 0] + t[:, None] * along, axis=1).min())
    turn = np.abs(np.angle((ends[:, 1, 0] + 1j * ends[:, 1, 1]) / (ends[:, 0, 0] + 1j * ends[:, 0, 1] + 1e-300)))
    if near < _FLATS * far or np.degrees(turn.sum()) < _COVERED_DEG:
        return otherwise
    return 2 * far


def _cut(corners: Floats) -> Floats:
    """Pieces (k, 2, 2) in which the plane z = 0 cuts (n, 3, 3) triangles."""
    height = corners[:, :, 2]
    above = height > 0
    cut = above.any(axis=1) & ~above.all(axis=1)
    corners, height, above = corners[cut], height[cut], above[cut]
    # The corner that is alone on its side of the plane.
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), (~above).argmax(axis=1))
    row = np.arange(len(corners))
    tip, tip_height = corners[row, alone, :2], height[row, alone]
    pieces = []
    for step in (1, 2):
        other = (alone + step) % 3
        t = tip_height / (tip_height - height[row, other])
        pieces.append(tip + t[:, None] * (corners[row, other, :2] - tip))
    return np.stack(pieces, axis=1)
