"""A flat folded to the part that it becomes: panels, true bends, one closed mesh.

The flat is seen from above: its lower side is z = 0, its upper side z = thickness; `up` folds towards the
viewer. The base panel (the largest) stays where it is in the flat.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lintsvc.measure.fold_cells import Cells, cut
from lintsvc.measure.fold_pose import Floats, Pose, bent, moved, pose
from lintsvc.measure.fold_size import finished_size
from lintsvc.measure.fold_zones import FoldBend, FoldZone, NotFolded, fold_bends, fold_zones
from lintsvc.model.body import Body
from lintsvc.model.sheet import Bend

if TYPE_CHECKING:
    import networkx as nx
    from shapely.geometry import LinearRing, Polygon

Ints = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Folded:
    """A folded flat. Bends are named by their place in what `fold` was given; panels are numbered, largest first.

    `vertices` (n, 3) mm: the lower side first, then the upper. `faces` (m, 3), outward. `face_panel` (m,):
    the panel of a face, −1 on a bend; `face_bend` (m,): the bend of a face, −1 on a panel.
    """

    thickness_mm: float
    bends: tuple[FoldBend, ...]
    zones: tuple[FoldZone, ...]
    cells: Cells = field(repr=False)
    base: int
    place: Pose = field(repr=False)
    #: How far each bend is folded (0 to 1) by number; those that are missing, whole.
    parts: Mapping[int, float]
    vertices: Floats = field(repr=False)
    faces: Ints = field(repr=False)
    face_panel: Ints = field(repr=False)
    face_bend: Ints = field(repr=False)
    #: Rings of the outline's cutouts.
    cutouts: tuple[LinearRing, ...] = field(repr=False)

    @property
    def panels(self) -> tuple[Polygon, ...]:
        """The panels in the flat, cutouts included."""
        return self.cells.panels

    def transform_of(self, panel: int) -> Floats:
        """Return the 4 × 4 matrix that takes a panel from the flat to its place."""
        return self.place.panels[panel]

    @cached_property
    def finished_size_mm(self) -> tuple[float, float, float]:
        """Outside size with the base panel flat: length and width of the smallest rectangle around it, and height."""
        return finished_size(self)

    @cached_property
    def volume_mm3(self) -> float:
        """Volume of the folded body, bends by their facets."""
        a, b, c = (self.vertices[self.faces[:, i]] - self.vertices[0] for i in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)

    @cached_property
    def graph(self) -> nx.MultiGraph[int]:
        """Panels as nodes, bends between them as edges with `bend`: its number."""
        import networkx as nx

        graph: nx.MultiGraph[int] = nx.MultiGraph()
        graph.add_nodes_from(range(len(self.panels)))
        for zone, (low, high) in zip(self.zones, self.cells.sides, strict=True):
            graph.add_edges_from((a, b, {"bend": self.bends[zone.bend].number}) for a in low for b in high)
        return graph

    def bends_of(self, panels: Iterable[int]) -> tuple[int, ...]:
        """Return the numbers of the bends that these panels hang on."""
        wanted = set(panels)
        found = {int(data["bend"]) for a, b, data in self.graph.edges(data=True) if a in wanted or b in wanted}
        return tuple(sorted(found))

    @cached_property
    def operations(self) -> tuple[tuple[int, ...], ...]:
        """Bends that can only be folded together: pieces of one line between the same panels."""
        import networkx as nx

        # Panels by their numbers, zones below zero.
        meets: nx.Graph[int] = nx.Graph()
        for number, sides in enumerate(self.cells.sides):
            meets.add_edges_from((-1 - number, p) for side in sides for p in side)
        together: nx.Graph[int] = nx.Graph()
        together.add_nodes_from(bend.number for bend in self.bends)
        rings: Any = nx.biconnected_components(meets)
        for ring in rings:
            bends = sorted({self.bends[self.zones[-1 - n].bend].number for n in ring if n < 0})
            if len(ring) > 2:
                nx.add_path(together, bends)
        return tuple(sorted(tuple(sorted(x)) for x in nx.connected_components(together)))

    @cached_property
    def cutouts_in_bends(self) -> tuple[tuple[int, int], ...]:
        """Cutouts (by their place among the outline's) that a bend runs through, with its number."""
        import shapely

        found = {
            (number, self.bends[zone.bend].number)
            for zone in self.zones
            for number, ring in enumerate(self.cutouts)
            if shapely.intersects(shapely.Polygon(ring), zone.area)
        }
        return tuple(sorted(found))

    def posed(self, parts: Mapping[int, float]) -> Folded:
        """Return the same flat with bends folded so far: 0 flat, 1 whole, by number; those not named, whole.

        Bends of one operation go together, as far as the furthest of them. Raises NotFolded.
        """
        even = {k: v for k, v in parts.items() if v < 1.0}
        for operation in self.operations:
            if any(k in even for k in operation):
                furthest = max(even.get(k, 1.0) for k in operation)
                even.update(dict.fromkeys(operation, furthest))
        place = pose(self.cells, self.bends, self.zones, self.thickness_mm, self.base, even)
        vertices = _vertices(self.cells, self.bends, self.zones, self.thickness_mm, place)
        return replace(self, parts=even, place=place, vertices=vertices)

    def folded_points(self, points: Floats, height_mm: float) -> Floats:
        """Return where points of the flat (n, 2) at a height over its lower side go (n, 3); NaN beside the sheet."""
        import shapely

        points = np.asarray(points, float).reshape(-1, 2)
        found = np.full((len(points), 3), np.nan)
        spot, shape = shapely.STRtree(self.cells.shapes).query(shapely.points(points), predicate="intersects")
        label = self.cells.shape_label[shape]
        for number in np.unique(label).tolist():
            which = spot[label == number]
            found[which] = _placed(self, number, points[which], height_mm)
        return found

    @cached_property
    def body(self) -> Body:
        """The folded part as a body: objects named panel 1 …, bend 1 …; for reports and exports."""
        count = len(self.panels)
        objects = np.where(self.face_panel >= 0, self.face_panel, count + self.face_bend).astype(np.int32)
        most = max((b.number for b in self.bends), default=-1) + 1
        names = [f"panel {i + 1}" for i in range(count)] + [f"bend {i + 1}" for i in range(most)]
        return Body(self.vertices, self.faces, objects, tuple(names))


def fold(outline: Polygon, bends: Sequence[Bend], thickness_mm: float, base: int = 0) -> Folded:
    """Fold a flat: its outline with cutouts as holes, and bends with angle, direction, inside radius and K-factor.

    `base`: the panel that stays in place. Raises NotFolded, with the bends that stand in the way.
    """
    if not thickness_mm > 0:
        raise NotFolded("the sheet's thickness is not known")
    known = fold_bends(bends, thickness_mm)
    zones = tuple(fold_zones(outline, known, thickness_mm))
    cells = cut(outline, known, zones, thickness_mm)
    place = pose(cells, known, zones, thickness_mm, base, {})
    count, panels = len(cells.points), len(cells.panels)
    lower, upper = cells.triangles[:, ::-1], cells.triangles + count
    a, b = cells.rim.T
    wall = np.concatenate([np.column_stack([a, b, b + count]), np.column_stack([a, b + count, a + count])])
    label = np.concatenate([cells.triangle_label, cells.triangle_label, cells.rim_label, cells.rim_label])
    numbers = np.array([known[z.bend].number for z in zones], np.int32)
    on_bend = label >= panels
    face_bend = np.full(len(label), -1, np.int32)
    face_bend[on_bend] = numbers[label[on_bend] - panels]
    return Folded(
        thickness_mm=thickness_mm,
        bends=known,
        zones=zones,
        cells=cells,
        base=base,
        place=place,
        parts={},
        vertices=_vertices(cells, known, zones, thickness_mm, place),
        faces=np.concatenate([lower, upper, wall]).astype(np.int32),
        face_panel=np.where(on_bend, -1, label).astype(np.int32),
        face_bend=face_bend,
        cutouts=tuple(outline.interiors),
    )


def _vertices(
    cells: Cells, bends: Sequence[FoldBend], zones: Sequence[FoldZone], thickness_mm: float, place: Pose
) -> Floats:
    count, panels = len(cells.points), len(cells.panels)
    vertices = np.zeros((2 * count, 3))
    order = np.argsort(cells.label, kind="stable")
    starts = np.searchsorted(cells.label[order], np.arange(panels + len(zones) + 1))
    for number in range(panels + len(zones)):
        which = order[starts[number] : starts[number + 1]]
        points = cells.points[which]
        for side, z in ((0, 0.0), (count, thickness_mm)):
            if number < panels:
                flat = np.column_stack([points, np.full(len(points), z)])
                vertices[which + side] = moved(place.panels[number], flat)
            else:
                zone = number - panels
                bend = bends[zones[zone].bend]
                turned = bent(bend, place.turns[zones[zone].bend], thickness_mm, points, z)
                vertices[which + side] = moved(place.zones[zone], turned)
    return vertices


def _placed(folded: Folded, label: int, points: Floats, z: float) -> Floats:
    panels = len(folded.panels)
    if label < panels:
        return moved(folded.place.panels[label], np.column_stack([points, np.full(len(points), z)]))
    zone = label - panels
    index = folded.zones[zone].bend
    return moved(
        folded.place.zones[zone],
        bent(folded.bends[index], folded.place.turns[index], folded.thickness_mm, points, z),
    )
