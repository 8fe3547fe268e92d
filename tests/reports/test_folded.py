"""The folded flat as the page gets it: posed by the words of its description alone, it is what `Folded.posed` gives."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from parts import folds as made
from parts.folds import T

from lintsvc.measure.fold import Folded, fold
from lintsvc.reports.folded import encode_folded

Floats = NDArray[np.float64]

PARTS = {
    "angle up": made.strip([40, 30], [90]),
    "offset with a hem": made.strip([50, 20, 30, 12], [90, -60, 180]),
    "tray": made.tray((80, 50), 20),
    "flat plate": made.strip([40], []),
}


def posed(data: dict[str, Any], so_far: dict[int, float]) -> tuple[Floats, NDArray[np.int64]]:
    """Vertices and faces, made from the JSON by its description; nothing of the folding code is used."""
    t = data["thickness_mm"]
    turned = [_Turned(bend, so_far.get(bend["number"], 1.0), t) for bend in data["bends"]]
    places: dict[int, Floats] = {data["base"]: np.eye(4)}
    zones: dict[int, Floats] = {}
    for step in data["steps"]:
        zone = data["zones"][step["zone"]]
        s = turned[zone["bend"]].step
        near = places[step["from"]] if step["side"] == "low" else places[step["from"]] @ np.linalg.inv(s)
        zones[step["zone"]] = near
        for side, place in (("low", near), ("high", near @ s)):
            for panel in zone[side]:
                places.setdefault(panel, place)
    points = np.array(data["points"]).reshape(-1, 2)
    n = len(points)
    vertices = np.zeros((2 * n, 3))
    for i, (point, piece) in enumerate(zip(points, data["piece"], strict=True)):
        for side, z in ((0, 0.0), (n, t)):
            if piece < data["panels"]:
                place, at = places[piece], np.array([*point, z])
            else:
                number = piece - data["panels"]
                place, at = zones[number], turned[data["zones"][number]["bend"]].bent(point, z)
            vertices[i + side] = place[:3, :3] @ at + place[:3, 3]
    faces = []
    for a, b, c in np.array(data["triangles"]).reshape(-1, 3).tolist():
        faces += [(c, b, a), (n + a, n + b, n + c)]
    for a, b in np.array(data["rim"]).reshape(-1, 2).tolist():
        faces += [(a, b, n + b), (a, n + b, n + a)]
    return vertices, np.array(faces)


class _Turned:
    def __init__(self, bend: dict[str, Any], part: float, t: float) -> None:
        x0, y0, x1, y1 = bend["line"]
        self.start = np.array([x0, y0])
        self.u = np.array([x1 - x0, y1 - y0]) / math.hypot(x1 - x0, y1 - y0)
        self.left = np.array([-self.u[1], self.u[0]])
        self.s = 1.0 if bend["direction"] == "up" else -1.0
        self.a, self.turn = bend["allowance_mm"], part * math.radians(bend["angle_deg"])
        self.step = np.eye(4)
        if self.turn == 0:
            return
        r = self.a / self.turn - t * bend["k_factor"]
        self.c = np.array([*(self.start - self.left * self.a / 2), t + r if self.s > 0 else -r])
        u, left = np.array([*self.u, 0.0]), np.array([*self.left, 0.0])
        g = self.s * self.turn
        # The turn about u by its angle, by the formula of Rodrigues.
        cross = np.array([[0, -u[2], u[1]], [u[2], 0, -u[0]], [-u[1], u[0], 0]])
        turn = np.eye(3) + math.sin(g) * cross + (1 - math.cos(g)) * cross @ cross
        self.step[:3, :3] = turn
        self.step[:3, 3] = self.c + turn @ (-self.a * left - self.c)

    def bent(self, point: Floats, z: float) -> Floats:
        if self.turn == 0:
            return np.array([*point, z])
        q = point - self.start
        g = (q @ self.left + self.a / 2) / self.a * self.turn
        h = self.s * (self.c[2] - z)
        plane = self.c[:2] + (q @ self.u) * self.u + h * math.sin(g) * self.left
        return np.array([*plane, self.c[2] - self.s * h * math.cos(g)])


def encoded(folded: Folded, bends: Any) -> dict[str, Any]:
    """As it arrives: through text."""
    text = json.dumps(encode_folded(folded, bends), allow_nan=False)
    data: dict[str, Any] = json.loads(text)
    return data


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("part", [1.0, 0.35, 0.0])
def test_page_can_pose_it_by_the_description_alone(name: str, part: float) -> None:
    outline, bends = PARTS[name]
    folded = fold(outline, bends, T)
    # The first bend part of the way, the others whole: stepping through bends.
    for so_far in ({0: part}, {b.number: part for b in folded.bends}):
        there = folded.posed(so_far)
        vertices, faces = posed(encoded(folded, bends), so_far)
        assert np.abs(vertices - there.vertices).max() < 1e-4
        assert sorted(map(tuple, faces.tolist())) == sorted(map(tuple, _turned_to_match(there.faces, faces)))


def _turned_to_match(faces: NDArray[Any], like: NDArray[np.int64]) -> list[list[int]]:
    """The same faces, each starting with the corner that `like` starts it with."""
    wanted = {tuple(sorted(x)): x for x in like.tolist()}
    found = []
    for face in faces.tolist():
        ask = wanted[tuple(sorted(face))]
        shift = face.index(ask[0])
        found.append(face[shift:] + face[:shift])
    return found


def test_places_of_the_whole_fold_are_those_of_the_description() -> None:
    outline, bends = PARTS["offset with a hem"]
    folded = fold(outline, bends, T)
    data = encoded(folded, bends)
    vertices, _ = posed(data, {})
    for panel, place in enumerate(data["panel_places"]):
        which = [i for i, piece in enumerate(data["piece"]) if piece == panel]
        matrix = np.array(place).reshape(4, 4)
        flat = np.array(data["points"]).reshape(-1, 2)[which]
        here = np.column_stack([flat, np.zeros(len(flat))]) @ matrix[:3, :3].T + matrix[:3, 3]
        assert np.abs(here - vertices[which]).max(initial=0.0) < 1e-4


def test_sizes_directions_and_bends_that_go_together_are_told() -> None:
    outline, bends = PARTS["offset with a hem"]
    data = encoded(fold(outline, bends, T), bends)
    assert [b["direction"] for b in data["bends"]] == ["up", "down", "up"]
    assert [round(b["angle_deg"]) for b in data["bends"]] == [90, 60, 180]
    assert data["operations"] == [[0], [1], [2]]
    assert data["panels"] == 4
    assert data["size_mm"][1] == pytest.approx(50.0)
