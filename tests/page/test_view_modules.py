"""What the view computes, against the service's own code and against values in closed form."""

from __future__ import annotations

import base64
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from page.modules import run
from parts import bodies
from parts import folds as made

from lintsvc.measure.bodies import BodyMeasurements
from lintsvc.measure.fold import fold
from lintsvc.measure.width_map import map_widths
from lintsvc.reports.folded import encode_folded
from lintsvc.reports.geometry import decode_body, encode_body, sent_order
from lintsvc.reports.geometry_widths import decode_widths, encode_widths

FOLDS = {
    "angle up": made.strip([40, 30], [90]),
    "offset with a hem": made.strip([50, 20, 30, 12], [90, -60, 180]),
    "tray": made.tray((80, 50), 20),
}


@pytest.mark.parametrize("name", FOLDS)
def test_a_sheet_is_posed_as_the_folding_code_poses_it(name: str, tmp_path: Path) -> None:
    outline, bends = FOLDS[name]
    folded = fold(outline, bends, made.T)
    data = encode_folded(folded, bends)
    shares = [1.0, 0.35, 0.0]
    script = """
        const { folded, shares } = given;
        return shares.map((share) => {
            const poses = folded.bends.map((bend) => ({ way: bend.direction === "up" ? 1 : -1, share }));
            return [...new page.Pose(folded, poses).vertices()];
        });
    """
    posed = run(tmp_path, "view/fold_pose", script, {"folded": data, "shares": shares})
    for share, got in zip(shares, posed, strict=True):
        there = folded.posed({b.number: share for b in folded.bends})
        # Single precision on the page.
        assert np.abs(np.reshape(got, (-1, 3)) - there.vertices).max() < 1e-4


def test_a_bend_turned_the_other_way_is_the_mirror_image(tmp_path: Path) -> None:
    """An L of one bend: up and down are each other's reflection in the middle of the sheet."""
    outline, bends = FOLDS["angle up"]
    data = encode_folded(fold(outline, bends, made.T), bends)
    script = """
        return [1, -1].map((way) => [...new page.Pose(given, given.bends.map(() => ({ way, share: 1 }))).vertices()]);
    """
    up, down = (np.reshape(x, (2, -1, 3)) for x in run(tmp_path, "view/fold_pose", script, data))
    mirrored = down[::-1] * [1, 1, -1] + [0, 0, made.T]
    assert np.abs(up - mirrored).max() < 1e-4


def test_body_and_widths_unpack_to_what_the_service_packed(tmp_path: Path) -> None:
    part = bodies.body(bodies.turned(bodies.two_boxes(0.7), 3))
    order = sent_order(part)
    measured = BodyMeasurements(part)
    found = map_widths(measured.mesh, measured.solids, order, 4.0)
    body = encode_body(part, order)
    widths = encode_widths(found, len(measured.mesh), {"gap": (0.5, "powder-bed/narrow-gap")})
    # Both decoders are small modules; one entry that names both is bundled here.
    entry = tmp_path / "both.ts"
    source = Path(__file__).resolve().parent.parent.parent / "lintsvc/web/page/src/view"
    entry.write_text(f'export * from "{source}/decode";\nexport * from "{source}/decode_widths";\n')
    script = """
        const bytes = (text) => Uint8Array.from(Buffer.from(text, "base64")).buffer;
        const body = page.decodeBody(bytes(given.body));
        const w = page.decodeWidths(bytes(given.widths), body);
        return {
            positions: [...body.positions], index: [...body.index], box: body.box,
            corners: [...w.corners], wall: [...w.wall], gap: [...w.gap], first: [...w.first], below: w.below,
        };
    """
    given = {"body": base64.b64encode(body).decode(), "widths": base64.b64encode(widths).decode()}
    got = run(tmp_path, str(entry.with_suffix("")), script, given)
    _, vertices, faces = decode_body(body)
    assert np.reshape(got["positions"], (-1, 3)) == pytest.approx(vertices, abs=1e-4)
    assert np.reshape(got["index"], (-1, 3)).tolist() == faces.tolist()
    assert np.array(got["box"]) == pytest.approx(np.array([vertices.min(axis=0), vertices.max(axis=0)]), abs=1e-4)
    _, _, walls, gaps = decode_widths(widths)
    for sent, meant in ((got["wall"], walls), (got["gap"], gaps)):
        three = np.reshape(sent, (-1, 3))
        assert (three == three[:, :1]).all()
        assert np.where(three[:, 0] > 1e8, np.inf, three[:, 0]) == pytest.approx(meant, abs=1e-6)
    # Each face's pieces have its area, and lie in its plane.
    corners = np.reshape(got["corners"], (-1, 3, 3))
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    whole = np.add.reduceat(area, got["first"][:-1])
    assert whole == pytest.approx(measured.mesh.areas[order], rel=1e-3)
    # The gap of 0.7 mm is above the limit of 0.5 mm.
    assert got["below"] == {"wall": 0, "gap": 0}


def test_widths_of_another_body_are_refused(tmp_path: Path) -> None:
    part = bodies.body(bodies.plate(1.0))
    order = sent_order(part)
    measured = BodyMeasurements(part)
    widths = encode_widths(map_widths(measured.mesh, measured.solids, order, 4.0), len(order), {})
    script = """
        const bytes = Uint8Array.from(Buffer.from(given, "base64")).buffer;
        const body = { positions: new Float32Array(9), index: new Uint32Array(3), triangles: 1, vertices: 3 };
        try { page.decodeWidths(bytes, body); return "taken"; } catch (error) { return error.message; }
    """
    said = run(tmp_path, "view/decode_widths", script, base64.b64encode(widths).decode())
    assert said == "the widths are of another body"


def test_a_box_has_its_twelve_edges_and_a_fine_rod_only_its_two_rims(tmp_path: Path) -> None:
    script = """
        const edges = (x) => page.findEdges(new Float32Array(x.positions), new Uint32Array(x.index)).length / 6;
        return given.map(edges);
    """
    meshes = [bodies.box((9.0, 5.0, 3.0), (2, 3, 1)), bodies.rod(6.0, segments=48)]
    given = [{"positions": v.ravel().tolist(), "index": f.ravel().tolist()} for v, f in map(bodies.clean, meshes)]
    box, rod = run(tmp_path, "view/edges", script, given)
    # Each edge of the box is cut into as many pieces as cells stand on it.
    assert box == 4 * (2 + 3 + 1)
    assert rod == 2 * 48


def measured(tmp_path: Path, pairs: list[tuple[Any, Any]]) -> list[Any]:
    return list(run(tmp_path, "view/measure", "return given.map(([a, b]) => page.measure(a, b));", pairs))


def point(*at: float) -> dict[str, Any]:
    return {"kind": "point", "at": at, "corner": True}


def edge(a: tuple[float, ...], b: tuple[float, ...]) -> dict[str, Any]:
    return {"kind": "edge", "at": a, "a": a, "b": b}


def hole(a: tuple[float, ...], b: tuple[float, ...], diameter: float = 3.0) -> dict[str, Any]:
    return {"kind": "hole", "at": a, "a": a, "b": b, "diameter_mm": diameter, "depth_mm": None}


def test_distances_between_points_edges_and_holes_are_those_of_plain_geometry(tmp_path: Path) -> None:
    x_edge = edge((0, 0, 0), (10, 0, 0))
    cases = [
        (point(0, 0, 0), point(3, 4, 12), 13.0, None),
        # Straight down to an edge, and to its end where it does not reach.
        (point(4, 3, 0), x_edge, 3.0, None),
        (point(13, 4, 0), x_edge, 5.0, None),
        # Parallel edges: across, without an angle. Ones that cross in space: the shortest way, and the angle.
        (x_edge, edge((2, 5, 0), (8, 5, 0)), 5.0, None),
        (x_edge, edge((5, -3, 2), (5, 3, 2)), 2.0, 90.0),
        (x_edge, edge((0, 1, 7), (10, 11, 7)), math.hypot(1, 7), 45.0),
        # Axes go on beyond their ends: holes drilled to different depths are apart as their axes are.
        (hole((0, 0, 0), (0, 0, 5)), hole((20, 18, 30), (20, 18, 40)), math.hypot(20, 18), None),
        # In a flat, a hole is its middle.
        (hole((1, 1, 0), (1, 1, 0)), hole((4, 5, 0), (4, 5, 0)), 5.0, None),
        (hole((5, 5, 0), (5, 5, 0)), x_edge, 5.0, None),
    ]
    for (*_, distance, angle), found in zip(cases, measured(tmp_path, [x[:2] for x in cases]), strict=True):
        assert found["distance_mm"] == pytest.approx(distance)
        assert found["angle_deg"] == (None if angle is None else pytest.approx(angle))
        assert math.hypot(*found["along_mm"]) == pytest.approx(distance)


def test_picks_on_a_flat_take_the_hole_around_the_corner_near_and_the_line_beside(tmp_path: Path) -> None:
    flat = {
        "holes": [{"diameter_mm": 6, "centre": [20, 20], "entities": [1]}],
        "entities": [
            {"number": 0, "shapes": [{"line": [0, 0, 40, 0]}]},
            {"number": 1, "shapes": [{"circle": [20, 20, 3]}]},
        ],
    }
    script = "return given.at.map(([x, y]) => page.pickFlat(given.flat, x, y, 0.1));"
    at = [[21, 20], [23.5, 20], [0.3, 0.2], [17, 0.4], [10, 10]]
    kinds = run(tmp_path, "view/flat_pick", script, {"flat": flat, "at": at})
    assert [x["kind"] for x in kinds] == ["hole", "hole", "point", "edge", "point"]
    assert kinds[0]["at"] == [20, 20, 0]
    assert (kinds[2]["at"], kinds[2]["corner"]) == ([0, 0, 0], True)
    assert kinds[3]["at"] == [17, 0, 0]
    assert (kinds[4]["at"], kinds[4]["corner"]) == ([10, 10, 0], False)


def test_how_far_a_place_of_a_flat_is_from_lines_arcs_circles_and_chains(tmp_path: Path) -> None:
    quarter = {"arc": [0, 0, 10, 0, 90]}
    over_zero = {"arc": [0, 0, 10, 315, 45]}
    chain = {"polyline": [0, 0, 10, 0, 10, 5]}
    asked = [
        ({"line": [0, 0, 10, 0]}, 5, 2, 2),
        ({"line": [0, 0, 10, 0]}, 13, 4, 5),
        ({"circle": [1, 1, 3]}, 1, 1, 3),
        ({"circle": [1, 1, 3]}, 6, 1, 2),
        (quarter, 6, 6, 10 - 6 * math.sqrt(2)),
        (quarter, -3, 10, 3),
        (quarter, 10, -2, 2),
        (over_zero, 8, 0, 2),
        (over_zero, -10, 0, math.hypot(10 + 5 * math.sqrt(2), 5 * math.sqrt(2))),
        ({"arc": [0, 0, 10, 0, 360]}, -12, 0, 2),
        (chain, 12, 3, 2),
        (chain, 4, -1, 1),
    ]
    script = "return given.map(([shape, x, y]) => page.offShape(shape, x, y));"
    got = run(tmp_path, "view/flat_shapes", script, [x[:3] for x in asked])
    assert got == pytest.approx([x[3] for x in asked])


def test_the_finding_nearest_to_a_place_is_taken_within_reach(tmp_path: Path) -> None:
    """By its piece where it names one, else by its whole curve, else by its place."""
    nothing: dict[str, Any] = {"lines": [], "entities": [], "point": None}
    findings = [
        {**nothing, "entities": [0], "lines": [[[0, 0, 0], [2, 0, 0]]]},
        {**nothing, "entities": [1]},
        {**nothing, "point": [30, 30, 0]},
        nothing,
    ]
    script = """
        const shapes = new Map([[0, [{ line: [0, 0, 20, 0] }]], [1, [{ circle: [10, 10, 4] }]]]);
        return given.places.map(([x, y]) => page.findingNear(given.findings, shapes, x, y, 1));
    """
    places = [[1, 0.9], [1, 1.1], [10, 0.1], [10, 5.5], [10, 10], [30, 29.5]]
    got = run(tmp_path, "view/flat_pick", script, {"findings": findings, "places": places})
    assert got == [0, None, None, 1, None, 2]


#: Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency" (2009),
#: matrices for full deficiency, on linear RGB. From memory of the published tables.
VISION = {
    "usual": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


@pytest.mark.parametrize("vision", VISION)
def test_bands_of_the_scale_grow_lighter_step_by_step_for_every_eye(vision: str, tmp_path: Path) -> None:
    script = "return [page.makeScale({ value: 0.8 }, 4), page.makeScale(undefined, 4)];"
    limited, free = run(tmp_path, "view/ramp", script, None)
    # The limit falls between two bands.
    assert limited["limit"] / limited["band"] == pytest.approx(round(limited["limit"] / limited["band"]))
    assert free["limit"] is None
    for scale in (limited, free):
        srgb = np.array(scale["bands"]) / 255
        linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
        seen = np.clip(linear @ np.transpose(VISION[vision]), 0, 1)
        luminance = seen @ [0.2126, 0.7152, 0.0722]
        # CIE 1976 lightness; 5 is told apart side by side.
        lightness = np.where(luminance > 216 / 24389, 116 * np.cbrt(luminance) - 16, luminance * 24389 / 27)
        assert (np.diff(lightness) > 5).all()


SEND = """
const buffers = [];
const calls = [];
let turns = 0;
const canvas = new EventTarget();
const gl = {
    FLOAT: 1, UNSIGNED_INT: 2, ARRAY_BUFFER: 3, ELEMENT_ARRAY_BUFFER: 4, STATIC_DRAW: 5, COPY_WRITE_BUFFER: 6,
    bound: null,
    createBuffer() { buffers.push({ bytes: null, dead: false }); return buffers.at(-1); },
    bindVertexArray() {}, bindBuffer(_, buffer) { this.bound = buffer; }, isContextLost: () => false,
    bufferData(_, size) { this.bound.bytes = new Uint8Array(size); },
    bufferSubData(_, at, array, from, count) {
        calls.push([turns, 4 * count]);
        this.bound.bytes.set(new Uint8Array(array.buffer, array.byteOffset + 4 * from, 4 * count), at);
    },
    deleteBuffer(buffer) { buffer.dead = true; },
};
const counting = setInterval(() => turns++, 0);
let drawn = 0;
const sender = new page.Sender({ getContext: () => gl, domElement: canvas, resetState() {} }, () => drawn++);
const places = Float32Array.from({ length: 900000 }, (_, i) => i);
const index = Uint32Array.from({ length: 600000 }, (_, i) => 7 * i);
const given = [sender.attribute(places), sender.attribute(index)];
const same = () => given.every(({ buffer }, i) => {
    const meant = new Uint8Array([places, index][i].buffer);
    return buffer.bytes.length === meant.length && buffer.bytes.every((x, k) => x === meant[k]);
});
const atFirst = same();
await sender.whole();
const sent = same();
const most = Math.max(...calls.map(([, bytes]) => bytes));
const pieces = calls.length;
// Given while nothing is under way, and small: there in the same turn.
const small = sender.attribute(new Float32Array([1, 2, 3]));
void sender.whole();
const atOnce = new Float32Array(small.buffer.bytes.buffer)[2] === 3;
// A card that forgets is sent all of it again.
for (const x of buffers) x.bytes = null;
canvas.dispatchEvent(new Event("webglcontextrestored"));
while (!drawn) await new Promise((resolve) => setTimeout(resolve, 1));
const again = same();
sender.dispose();
clearInterval(counting);
return { atFirst, sent, most, pieces, atOnce, again, left: buffers.slice(-3).filter((x) => !x.dead).length };
"""


def test_a_body_is_sent_to_the_graphics_card_in_pieces_and_again_where_it_is_forgotten(tmp_path: Path) -> None:
    said = run(tmp_path, "view/send", SEND, None)
    assert said["most"] <= 1 << 20
    assert said["pieces"] == 7  # 6 MB: what is left of a piece is used for the next array
    assert said == said | {"atFirst": False, "sent": True, "atOnce": True, "again": True, "left": 0}


def test_a_coarse_stand_in_has_few_faces_of_the_body_in_their_order(tmp_path: Path) -> None:
    script = """
        // A wavy sheet of 360 000 faces.
        const n = 425, positions = new Float32Array(3 * n * n), index = new Uint32Array(6 * (n - 1) ** 2);
        for (let i = 0; i < n * n; i++) positions.set([i % n, Math.floor(i / n), 20 * Math.sin(i % n / 40)], 3 * i);
        for (let i = 0, at = 0; i < n * (n - 1); i++) {
            if (i % n === n - 1) continue;
            index.set([i, i + 1, i + n, i + 1, i + n + 1, i + n], at);
            at += 6;
        }
        const body = { positions, index, vertices: n * n, triangles: index.length / 3, box: [[0, 0, -20], [n, n, 20]] };
        const small = { ...body, triangles: 1000 };
        const told = [...page.coarsen(body)].map(({ index: corners, faces }) => ({
            faces: faces.length,
            ordered: faces.every((x, i) => i === 0 || x > faces[i - 1]),
            whole: corners.length === 3 * faces.length && corners.every((x) => x < n * n),
        }));
        return [told, [...page.coarsen(small)].length];
    """
    (first, second), of_small = run(tmp_path, "view/coarse", script, None)
    assert of_small == 0
    assert 10_000 < first["faces"] <= 50_000
    assert 1_000 < second["faces"] <= 10_000
    assert first["ordered"] and first["whole"] and second["ordered"] and second["whole"]


def test_while_a_slow_view_is_held_the_whole_is_never_drawn_and_what_is_drawn_gets_coarser(tmp_path: Path) -> None:
    script = """
        // A clock of its own, and a graphics card that takes as long as it is told to.
        let now = 0, ends = 0, next = 1;
        const timers = new Map();
        performance.now = () => now;
        globalThis.setTimeout = (f, after = 0) => { timers.set(next, [now + after, f]); return next++; };
        globalThis.clearTimeout = (id) => timers.delete(id);
        const gl = {
            SIGNALED: 1, fenceSync: () => 1, flush: () => {}, deleteSync: () => {}, isContextLost: () => false,
            getSyncParameter: () => (now >= ends ? 1 : 0),
        };
        const pass = async (ms) => {
            for (const until = now + ms; now < until;) {
                now += 5;
                for (const [id, [at, f]] of [...timers]) if (at <= now) { timers.delete(id); f(); }
                for (let i = 0; i < 5; i++) await null;
            }
        };
        const levels = [];
        const pace = new page.Pace({ getContext: () => gl }, () => {});
        pace.hurry = (level) => levels.push(level);
        pace.levels = given.levels;
        const picture = async (ms) => { ends = now + ms; void pace.pictured(); await pass(ms + 15); };
        await picture(given.whole);
        pace.hold(true);
        for (let i = 0; i < 4; i++) {
            pace.moved();
            await picture(given.coarse);
            // Longer between two moves than any rest.
            await pass(2000);
        }
        const held = [...levels];
        pace.hold(false);
        await pass(5000);
        return [held, levels];
    """

    def told(whole: int, coarse: int, levels: int) -> Any:
        return run(tmp_path, "view/pace", script, {"whole": whole, "coarse": coarse, "levels": levels})

    assert told(20, 20, 2) == [[], []]
    assert told(500, 20, 2) == [[1], [1, 0]]
    assert told(500, 300, 2) == [[1, 2], [1, 2, 0]]
    assert told(500, 300, 1) == [[1], [1, 0]]
    assert told(500, 300, 0) == [[], []]


def test_the_length_of_a_short_distance_is_written_beside_it(tmp_path: Path) -> None:
    script = """
        const at = (ends, px) => page.besideShort(ends, px, [50, 50]);
        return [
            at([[0, 0, 0], [100, 0, 0]], 0.1),
            at([[0, 10, 0], [0, 10.4, 0]], 0.1),
            at([[99, 0, 0], [99.4, 0, 0]], 0.1),
            at([[3, 3, 0], [3, 3, 0]], 0.1),
        ];
    """
    # What the view keeps and how the screen is are not asked for here.
    long, upright, level, nothing = run(tmp_path, "view/beside_short", script, None)
    assert long == [50, 0]
    # Out of the part, past half the words and the ends' lines.
    assert upright[0] < -3.6
    assert upright[1] == pytest.approx(10.2)
    assert level[0] == pytest.approx(99.2)
    assert -3.6 < level[1] < -1.2
    assert nothing == [3, 3]
