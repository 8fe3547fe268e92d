"""Hole patterns of two parts come together where they really do: turned, turned over, in part, after folding."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts.fixture_folders import Flat
from parts.orders import block, bore, holes_meet, plate, printed, sheet, square, stl, table, write

from lintsvc.measure.fold import fold
from lintsvc.measure.fold_flat import outline_of, with_k
from lintsvc.order.checked import CheckedOrder
from lintsvc.order.frames import moved, place_of
from lintsvc.order.load import load_here
from lintsvc.order.play import bend_modes
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.rule import CannotCheck

THREE = [(10.0, 10.0, 4.5), (50.0, 12.0, 4.5), (22.0, 33.0, 4.5)]


def loaded(folder: Path, text: str, **files: bytes) -> CheckedOrder:
    return load_here(write(folder, text, **files))


def holes_apart(order: CheckedOrder) -> float:
    """How far the axes of the first relation's holes are apart as everything stands."""
    meets = order.meetings[0]
    a, b = meets.pair
    way = order.way(meets)
    one, other = order.placing.of(a), order.placing.of(b)
    assert one is not None
    assert other is not None
    between = moved(other.place, order.things[b].shape.holes.point[way.b])
    return float(np.linalg.norm(moved(one.place, order.things[a].shape.holes.point[way.a]) - between, axis=1).max())


@pytest.mark.parametrize("turn", [0.0, 17.0, 90.0, 200.0])
def test_a_turned_pattern_meets(tmp_path: Path, turn: float) -> None:
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    about = [(x - 30, y - 20, d) for x, y, d in THREE]
    other = [(60 + c * x - s * y, 60 + s * x + c * y, d) for x, y, d in about]
    text = sheet("a", "a.dxf") + sheet("b", "b.dxf") + holes_meet("a", "b")
    order = loaded(tmp_path, text, a_dxf=plate(THREE), b_dxf=plate(other, 120, 120))
    assert order.meetings[0].count == 3
    assert holes_apart(order) < 1e-6


def test_a_pattern_that_meets_only_turned_over_puts_the_lower_side_outside(tmp_path: Path) -> None:
    mirrored = [(60 - x, y, d) for x, y, d in THREE]
    text = sheet("a", "a.dxf") + sheet("b", "b.dxf") + holes_meet("a", "b")
    same = loaded(tmp_path, text, a_dxf=plate(THREE), b_dxf=plate(THREE))
    over = loaded(tmp_path, text, a_dxf=plate(THREE), b_dxf=plate(mirrored))
    for order, up in ((same, True), (over, False)):
        assert holes_apart(order) < 1e-6
        a, b = order.placing.of("a"), order.placing.of("b")
        assert a is not None
        assert b is not None
        assert ((a.place[:3, 2] @ b.place[:3, 2]) > 0) == up


def test_part_of_a_pattern_meets(tmp_path: Path) -> None:
    more = [*square(4.5), (5.0, 35.0, 4.5), (33.0, 8.0, 4.5)]
    text = sheet("a", "a.dxf") + sheet("b", "b.dxf") + holes_meet("a", "b")
    order = loaded(tmp_path, text, a_dxf=plate(square(4.5)), b_dxf=plate(more))
    assert order.meetings[0].count == 4
    assert holes_apart(order) < 1e-6


def test_holes_of_the_named_diameter_take_part(tmp_path: Path) -> None:
    both = [*square(4.5), *[(x, y, 5.5) for x, y, _ in square(5.5, 30.0, 10.0)]]
    text = sheet("a", "a.dxf") + sheet("b", "b.dxf")
    text += table(
        "relation",
        kind="holes-meet",
        a={"of": "a", "diameter": 5.5},
        b={"of": "b", "diameter": 5.5},
        screw={"size": "M5"},
    )
    order = loaded(tmp_path, text, a_dxf=plate(both), b_dxf=plate(both))
    meets = order.meetings[0]
    assert order.things["a"].shape.holes.diameter_mm[order.way(meets).a] == pytest.approx(5.5)


def test_missing_holes_are_asked_for_by_the_diameters_that_are_there(tmp_path: Path) -> None:
    text = sheet("a", "a.dxf") + sheet("b", "b.dxf")
    text += table("relation", kind="holes-meet", a={"of": "a", "diameter": 5.5}, b={"of": "b"}, screw={"size": "M4"})
    order = loaded(tmp_path, text, a_dxf=plate(THREE), b_dxf=plate(THREE))
    assert order.meetings[0].ways == ()
    assert "it has 4.5" in order.meetings[0].why


@given(
    at=st.tuples(*[st.floats(-80, 80)] * 3),
    turn=st.tuples(*[st.floats(-180, 180)] * 3),
)
@settings(max_examples=8, deadline=None)
def test_a_body_is_put_on_its_pattern_wherever_the_other_stands(
    tmp_path_factory: pytest.TempPathFactory, at: tuple[float, float, float], turn: tuple[float, float, float]
) -> None:
    solid = block(60, 40, 6)
    for x, y, d in THREE:
        solid -= bore(x, y, -1, 8, d)
    text = printed("a", "a.stl") + sheet("b", "b.dxf") + table("place", of="a", at=list(at), turn_deg=list(turn))
    text += holes_meet("a", "b")
    order = loaded(tmp_path_factory.mktemp("any"), text, a_stl=stl(solid), b_dxf=plate(THREE))
    assert order.meetings[0].count == 3
    # Circles of 64 sides are read back within a hundredth.
    assert holes_apart(order) < 0.01
    one, other = order.placing.of("a"), order.placing.of("b")
    assert one is not None
    assert other is not None
    assert np.allclose(one.place, place_of(at, turn))
    assert np.allclose(other.place[:3, :3] @ other.place[:3, :3].T, np.eye(3))
    assert np.linalg.det(other.place[:3, :3]) == pytest.approx(1.0)


#: A hat: foot, bend up, flange, bend down, top, bend down, flange, bend up, foot. K 0.4, radius 4, 2 mm thick.
RADIUS, THICK, K = 4.0, 2.0, 0.4
ARC = math.pi / 2 * (RADIUS + K * THICK)
FOOT, FLANGE, TOP = 20.0, 15.0, 40.0


def hat(wide: float = 40.0) -> tuple[bytes, float]:
    """Return a hat's flat with two holes in each foot, and the pitch of the holes across the folded hat."""
    starts = [FOOT]
    for straight in (FLANGE, TOP, FLANGE):
        starts.append(starts[-1] + ARC + straight)
    length = starts[-1] + ARC + FOOT
    flat = Flat((0, 0), (length, 0), (length, wide), (0, wide))
    for start, layer in zip(starts, ("UP", "DOWN", "DOWN", "UP"), strict=True):
        middle = start + ARC / 2
        flat = flat.bend((middle, 0), (middle, wide), f"BEND_{layer}_90_R4")
    for x in (8.0, length - 8.0):
        for y in (10.0, wide - 10.0):
            flat = flat.hole(x, y, 4.5)
    # Each side: from the hole to the bend, then two bends turn back on each other: R + T outside, R inside.
    pitch = TOP + 2 * (FOOT - 8.0) + 2 * (2 * RADIUS + THICK)
    return flat.text().encode(), pitch


def test_holes_on_two_panels_meet_where_folding_puts_them(tmp_path: Path) -> None:
    flat, pitch = hat()
    base = [(x, y, 4.5) for x in (10.0, 10.0 + pitch) for y in (10.0, 30.0)]
    text = sheet("hat", "hat.dxf", k_factor=K) + sheet("base", "base.dxf") + holes_meet("hat", "base")
    order = loaded(tmp_path, text, hat_dxf=flat, base_dxf=plate(base, pitch + 20, 40))
    assert order.meetings[0].count == 4
    assert holes_apart(order) < 1e-6
    # Four bends lie between the two feet, and count.
    assert order.play(order.meetings[0]).bends == 4


def test_each_panel_of_an_angle_is_screwed_to_a_thing_of_its_own(tmp_path: Path) -> None:
    arc = math.pi / 2 * (2.0 + K * THICK)
    flat = Flat((0, 0), (40, 0), (40, 80 + arc), (0, 80 + arc))
    flat = flat.bend((0, 40 + arc / 2), (40, 40 + arc / 2), "BEND_UP_90_R2")
    for x in (10, 30):
        flat = flat.hole(x, 12, 4.5).hole(x, 80 + arc - 12, 4.5)
    text = sheet("angle", "angle.dxf", k_factor=K) + sheet("base", "plate.dxf") + sheet("wall", "plate.dxf")
    text += holes_meet("base", "angle") + holes_meet("wall", "angle")
    files = {"angle_dxf": flat.text().encode(), "plate_dxf": plate([(20.0, 20.0, 4.5), (40.0, 20.0, 4.5)])}
    order = loaded(tmp_path, text, **files)
    base, wall = order.placing.of("base"), order.placing.of("wall")
    assert base is not None
    assert wall is not None
    # One lies and the other stands.
    assert base.place[:3, 2] @ wall.place[:3, 2] == pytest.approx(0.0, abs=1e-9)
    assert order.clashes == ()


def test_bends_between_holes_cost_play(tmp_path: Path) -> None:
    flat, pitch = hat()
    base = [(x, y, 4.5) for x in (10.0, 10.0 + pitch) for y in (10.0, 30.0)]
    tapped = [(x, y, 3.3) for x, y, _ in base]
    text = sheet("hat", "hat.dxf", k_factor=K) + sheet("base", "base.dxf")
    text += holes_meet("hat", "base", screw={"into": "thread"})
    bent = loaded(tmp_path, text, hat_dxf=flat, base_dxf=plate(tapped, pitch + 20, 40))
    straight = loaded(tmp_path, text, hat_dxf=plate(base, pitch + 20, 40), base_dxf=plate(tapped, pitch + 20, 40))
    one, other = (x.play(x.meetings[0]) for x in (bent, straight))
    # Four flats of 0.2 mm between the feet, half of it to each side; the angles come on top.
    assert one.worst_mm < other.worst_mm - 4 * 0.2 / 2
    assert one.rss_mm < other.rss_mm
    assert one.chance < other.chance == 1.0


def test_a_bend_moves_holes_as_folding_it_farther_does(tmp_path: Path) -> None:
    """Outside check: the linear form against folding the flat again with one bend a degree farther."""
    flat, pitch = hat()
    base = [(x, y, 4.5) for x in (10.0, 10.0 + pitch) for y in (10.0, 30.0)]
    text = sheet("hat", "hat.dxf", k_factor=K) + sheet("base", "base.dxf") + holes_meet("hat", "base")
    order = loaded(tmp_path, text, hat_dxf=flat, base_dxf=plate(base, pitch + 20, 40))
    part = order.part("hat")
    checked = check_file(part.path, part.choices, ()).checked
    assert checked is not None
    folded = checked.folded
    holes = part.shape.holes.only(order.way(order.meetings[0]).a)
    still = int(np.bincount(holes.panel).argmax())
    height = np.where(holes.upper, THICK, 0.0)
    for number, mode in enumerate(bend_modes(part, order.way(order.meetings[0]).a)[0::2]):
        bends = [with_k(b, THICK, part.material) for b in checked.flat.bends]
        bends[number] = replace(bends[number], angle_deg=91.0)
        again = fold(outline_of(checked.flat), bends, THICK, folded.base)
        # Panels of one size may change their numbers.
        same = [min(range(5), key=lambda k: again.panels[k].distance(p.centroid)) for p in folded.panels]
        # Seen from the panel that stands still.
        back = folded.transform_of(still) @ np.linalg.inv(again.transform_of(same[still]))
        moves = np.array(
            [
                (back @ again.transform_of(same[p]) @ [*c, h, 1.0] - folded.transform_of(p) @ [*c, h, 1.0])[:3]
                for p, c, h in zip(holes.panel.tolist(), holes.flat, height, strict=True)
            ]
        )
        # The bend's axis is taken in its middle; its arc shifts holes by a few hundredths more.
        assert np.linalg.norm(moves, axis=1) == pytest.approx(np.linalg.norm(mode, axis=1), rel=0.05, abs=0.06)


def test_soft_parts_and_open_meshes_are_told_as_not_known(tmp_path: Path) -> None:
    text = printed("a", "a.stl") + sheet("b", "b.dxf") + holes_meet("a", "b")
    order = loaded(tmp_path, text, a_stl=stl(block(10, 10, 10)), b_dxf=plate(THREE))
    assert order.meetings[0].why == "a: no round holes were found in it"
    missing = loaded(tmp_path, sheet("b", "nothing.dxf") + printed("a", "a.stl") + holes_meet("a", "b"))
    with pytest.raises(CannotCheck, match="could not be read"):
        _ = missing.part("b").shape


def twice(first: str, second: str, a: str = "hat", b: str = "base") -> str:
    """Two relations between the same two: the feet of a hat, each by its own size of hole."""
    return "".join(
        table(
            "relation",
            kind="holes-meet",
            a={"of": a, "diameter": float(d)},
            b={"of": b, "diameter": float(d)},
            screw={"size": "M4"},
        )
        for d in (first, second)
    )


def feet_apart(flat: bytes) -> bytes:
    """The hat's holes, those of the second foot wider."""
    text = flat.decode()
    holes = [i for i in range(len(text)) if text.startswith("CIRCLE", i)]
    assert len(holes) == 4
    cut = holes[2]
    return (text[:cut] + text[cut:].replace("\n2.25\n", "\n2.5\n")).encode()


def test_a_loop_counts_the_bends_on_the_way_round(tmp_path: Path) -> None:
    flat, pitch = hat()
    base = [(10.0, y, 4.5) for y in (10.0, 30.0)] + [(10.0 + pitch, y, 5.0) for y in (10.0, 30.0)]
    text = sheet("hat", "hat.dxf", k_factor=K) + sheet("base", "base.dxf") + twice("4.5", "5.0")
    files = {"base_dxf": plate(base, pitch + 20, 40)}
    bent = loaded(tmp_path, text, hat_dxf=feet_apart(flat), **files)
    straight = loaded(tmp_path, text, hat_dxf=plate(base, pitch + 20, 40), **files)
    one, other = bent.loops[1], straight.loops[1]
    assert (one.bends, other.bends) == (4, 0)
    assert (one.by, one.most) == ((), "hat")
    # Flats of 0.2 mm beside each of four bends; a degree of each turns the foot by the height of its line over it.
    heights = [x[2] for x in bent.part("hat").shape.bend_point]
    foot = bent.part("hat").shape.holes.point[bent.way(bent.meetings[1]).a][0, 2]
    swings = [math.radians(1.0) * abs(x - foot) for x in heights]
    assert one.most_mm == pytest.approx(4 * 0.2 + sum(swings), abs=1e-6)
    plays = [bent.play(x) for x in bent.meetings]
    # What both joints have left at worst, less that, along the hat.
    assert one.worst_mm == pytest.approx(sum(x.worst_mm for x in plays) - one.most_mm, abs=1e-6)
    assert other.worst_mm == pytest.approx(sum(straight.play(x).worst_mm for x in straight.meetings), abs=0.02)
    assert other.chance == 1.0 > one.chance


def test_the_chance_of_a_loop_is_that_of_its_errors_drawn_at_random(tmp_path: Path) -> None:
    """Outside check: errors drawn by themselves, each normal with three sigma at its tolerance, and added up."""
    flat, pitch = hat()
    base = [(10.0, y, 4.5) for y in (10.0, 30.0)] + [(10.0 + pitch, y, 5.0) for y in (10.0, 30.0)]
    text = sheet("hat", "hat.dxf", k_factor=K, bend_tolerance_deg=5.0) + sheet("base", "base.dxf") + twice("4.5", "5.0")
    order = loaded(tmp_path, text, hat_dxf=feet_apart(flat), base_dxf=plate(base, pitch + 20, 40))
    loop = order.loops[1]
    assert 0.3 < loop.chance < 0.99
    random = np.random.default_rng(5)
    heights = [x[2] for x in order.part("hat").shape.bend_point]
    foot = order.part("hat").shape.holes.point[order.way(order.meetings[1]).a][0, 2]
    sizes = [0.2] * 4 + [math.radians(5.0) * abs(x - foot) for x in heights]
    plays = [order.play(x) for x in order.meetings]
    sizes += [x.mean_mm - x.rss_mm for x in plays]
    error = (random.normal(0.0, 1 / 3, (200_000, len(sizes))) * sizes).sum(axis=1)
    assert loop.chance == pytest.approx(float((np.abs(error) <= sum(x.mean_mm for x in plays)).mean()), abs=0.004)


def test_a_loop_of_four_gives_the_same_whichever_joint_closes_it(tmp_path: Path) -> None:
    # Two posts between a base and a top, each by three holes in an angle: they go together in one way only.
    angle = [(5.0, 5.0), (25.0, 5.0), (5.0, 20.0)]
    post = block(30, 25, 20)
    for x, y in angle:
        post -= bore(x, y, -1, 22, 4.5)
    flat = plate([(a + x, 5 + y, d) for a, d in ((5.0, 4.5), (65.0, 5.0)) for x, y in angle], 110, 40)
    relations = [
        table(
            "relation",
            kind="holes-meet",
            a={"of": a, "diameter": d, "face": "up" if a == "base" else "down"},
            b={"of": b, "face": "down" if a == "base" else "up"},
            screw={"size": "M4"},
        )
        for a in ("base", "top")
        for b, d in (("left", 4.5), ("right", 5.0))
    ]
    parts = sheet("base", "flat.dxf") + printed("left", "post.stl") + printed("right", "post.stl")
    parts += sheet("top", "flat.dxf")
    found = []
    for turn in range(4):
        ordered = relations[turn:] + relations[:turn]
        order = loaded(tmp_path, parts + "".join(ordered), flat_dxf=flat, post_stl=stl(post))
        (loop,) = order.loops.values()
        assert len(loop.by) == 2
        found.append((loop.worst_mm, loop.rss_mm))
    assert np.ptp([x for x, _ in found]) < 0.02
    assert np.ptp([x for _, x in found]) < 0.02
