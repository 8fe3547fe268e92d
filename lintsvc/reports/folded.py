"""A folded flat as JSON that the page poses by itself, bend by bend; lengths in mm, angles in degrees.

`encode_folded`: `kind` "folded"; `thickness_mm`; `size_mm` [length, width, height] outside, folded whole;
`volume_mm3`; `base` the panel that stays in place; `panels` how many there are, largest first.

The flat's mesh, seen from above: `points` [x0, y0, x1, y1, …], n of them; `piece` (n numbers): what moves a
point, p < `panels` for panel p, else zone p - `panels`; `triangles` [a, b, c, …], counter-clockwise, numbers of
points, and `triangle_piece`, one number a triangle; `rim` [a, b, …], the sheet's edge with sheet to the left, and
`rim_piece`. The closed body has 2 n vertices, i at z = 0 and n + i at z = `thickness_mm`, and the faces (c, b, a)
and (n + a, n + b, n + c) of every triangle, (a, b, n + b) and (a, n + b, n + a) of every piece of rim.

`bends`, each with `number` (its place among the flat's bends), `line` [x0, y0, x1, y1], `angle_deg` (180 less the
angle between the panels), `direction` "up" (towards +z) or "down", `radius_mm` inside, `k_factor`, `allowance_mm`,
`entity` of the flat or null. `zones`: pieces of sheet that bend, each with `bend` (a place in `bends`), `low` and
`high`: the panels on its two sides. `operations` [[number, …], …]: bends that only go together.
`order` [[number, …], …]: an order in which common tools make them, null where none was found; `order_note` says why.
`panel_places`, `zone_places`: where each goes when folded whole, 16 numbers, row by row.
`steps`, from the base outwards, each `{"zone", "from": panel, "side": "low" | "high"}`: the side of the zone that
`from` is on. Each zone stands there once.

To pose it with bend b folded so far as f of its angle (0 … 1), t the thickness, k its K-factor, A its allowance,
turn = f * angle in radians, u = (cos, sin) along its line, l = (-sin, cos) to its left, s = 1 up or -1 down:

- with turn = 0: S is the identity and a point of the zone stays where it is. Else
- its axis passes at r = A / turn - k t from the sheet through c = (line's start - l A / 2, z), z = t + r up, -r down;
- S is the turn about u by s * turn (l towards +z for a positive one), then `c + S (p - A l - c)` of a point p;
- places: the base at the identity; for each of `steps`: the zone is placed as the panel `from` is where `side` is
  "low", else as place(from) * S^-1; panels on its low side are placed as the zone, those on its high side
  as place(zone) * S. Panels placed already stay;
- a point (x, y, z) of panel p is place(p) * (x, y, z). Of a zone: with q = (x, y) - start, along = q . u,
  g = (q . l + A / 2) / A * turn, h = s * (c.z - z): place(zone) * (c.xy + along u + h sin(g) l, c.z - s h cos(g)).
"""

from __future__ import annotations

import json
import math
from collections import deque
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lintsvc.measure.fold import Folded
    from lintsvc.model.sheet import Bend
    from lintsvc.rulebook.checked import Checked

Json = dict[str, Any]
#: What a folded part is written as.
KINDS = ("json", "glb", "step")
_SIDES = ("low", "high")


def folded_bytes(checked: Checked, kind: str) -> bytes:
    """Return the folded part as JSON (see above), GLB or STEP. Raises CannotCheck where it is not folded."""
    from lintsvc.measure.fold_zones import NotFolded
    from lintsvc.rulebook.rule import CannotCheck

    folded = checked.folded
    if kind == "glb":
        from lintsvc.reports.highlights_glb import write_glb

        return write_glb(folded.body, ())
    if kind == "step":
        from lintsvc.measure.fold_solid import step_bytes

        try:
            return step_bytes(folded, checked.part.file)
        except NotFolded as error:
            raise CannotCheck(f"the folded part is not written as a solid: {error.why}") from None
    found = checked.bend_order
    note = f"tried with {found.tooling.stated}"
    if found.order is None:
        note += "; no such order was found" if found.searched else "; the search was given up"
    data = encode_folded(folded, checked.flat.bends, order=found.order, order_note=note)
    return json.dumps(data, separators=(",", ":"), allow_nan=False).encode()


def encode_folded(
    folded: Folded, bends: Sequence[Bend], *, order: Sequence[Sequence[int]] | None = None, order_note: str = ""
) -> Json:
    """Return the JSON described above. `bends`: those that were folded, as the flat has them."""
    cells = folded.cells
    return {
        "kind": "folded",
        "thickness_mm": folded.thickness_mm,
        "size_mm": [round(x, 4) for x in folded.finished_size_mm],
        "volume_mm3": round(folded.volume_mm3, 3),
        "base": folded.base,
        "panels": len(folded.panels),
        "points": np.round(cells.points, 6).ravel().tolist(),
        "piece": cells.label.tolist(),
        "triangles": cells.triangles.ravel().tolist(),
        "triangle_piece": cells.triangle_label.tolist(),
        "rim": cells.rim.ravel().tolist(),
        "rim_piece": cells.rim_label.tolist(),
        "bends": [
            {
                "number": bend.number,
                "line": [*bends[bend.number].start, *bends[bend.number].end],
                "angle_deg": math.degrees(bend.angle),
                "direction": "up" if bend.up else "down",
                "radius_mm": bend.radius_mm,
                "k_factor": bend.k,
                "allowance_mm": bend.allowance_mm,
                "entity": bends[bend.number].entity,
            }
            for bend in folded.bends
        ],
        "zones": [
            {"bend": zone.bend, "low": list(low), "high": list(high)}
            for zone, (low, high) in zip(folded.zones, cells.sides, strict=True)
        ],
        "operations": [list(x) for x in folded.operations],
        "order": None if order is None else [list(x) for x in order],
        "order_note": order_note,
        "panel_places": [_matrix(x) for x in folded.place.panels],
        "zone_places": [_matrix(x) for x in folded.place.zones],
        "steps": _steps(folded),
    }


def _matrix(place: NDArray[np.float64]) -> list[float]:
    return np.round(place, 9).ravel().tolist()


def _steps(folded: Folded) -> list[Json]:
    """Return the way from the base panel outwards, each zone once."""
    sides = folded.cells.sides
    around: dict[int, list[tuple[int, int]]] = {}
    for zone, both in enumerate(sides):
        for side, panels in enumerate(both):
            for panel in panels:
                around.setdefault(panel, []).append((zone, side))
    placed, seen = {folded.base}, set[int]()
    waiting = deque([folded.base])
    steps: list[Json] = []
    while waiting:
        panel = waiting.popleft()
        for zone, side in around.get(panel, []):
            if zone in seen:
                continue
            seen.add(zone)
            steps.append({"zone": zone, "from": panel, "side": _SIDES[side]})
            for other in (*sides[zone][0], *sides[zone][1]):
                if other not in placed:
                    placed.add(other)
                    waiting.append(other)
    return steps
