"""Put together: places by a chain of relations, clashes, mass and centre of gravity, screws and what is around."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold
from parts.orders import block, bore, holes_meet, plate, printed, sheet, square, stl, table, write

from lintsvc.demo import write_demo
from lintsvc.order.balance import total
from lintsvc.order.check import check_order
from lintsvc.order.checked import CheckedOrder
from lintsvc.order.frames import frame_on, inverse, moved, place_of
from lintsvc.order.load import load_here
from lintsvc.order.relations import Screw
from lintsvc.order.screw_mass import nut_g, screw_g
from lintsvc.order.shape import NoShape, from_bytes, shape_of, to_bytes
from lintsvc.order.solids import Standing, overlap
from lintsvc.order.standing import lumps
from lintsvc.rulebook.check import check_file
from lintsvc.rulebook.packs import built_in_folder, load_pack
from lintsvc.rulebook.rule import Rule


@pytest.fixture(scope="module")
def gauge(tmp_path_factory: pytest.TempPathFactory) -> CheckedOrder:
    folder = tmp_path_factory.mktemp("gauge")
    write_demo(folder)
    return load_here(folder / "good" / "order.toml")


def rules(*ids: str) -> list[Rule]:
    """Built-in rules about fits, in this order."""
    every = {x.id: x for x in load_pack(built_in_folder() / "fit").rules}
    return [every[x] for x in ids]


def test_mass_and_centre_of_gravity_are_trimeshs(gauge: CheckedOrder) -> None:
    """Outside check: every mesh moved to its place and weighed by trimesh."""
    found, centre = total(lumps(gauge))
    mass, moment = 0.0, np.zeros(3)
    for each in gauge.placing.placed:
        thing = gauge.things[each.id]
        mesh = trimesh.Trimesh(thing.shape.vertices, thing.shape.faces, process=False)
        mesh.apply_transform(each.place)
        grams = thing.mass_g or 0.0
        mass += grams
        moment += grams * mesh.center_mass
    # Two M4 × 6 and four M4 × 16 in threads, four M6 × 25 with nuts.
    screws = [x for x in lumps(gauge) if "screws" in x.name]
    assert sum(x.mass_g for x in screws) == pytest.approx(
        2 * screw_g(Screw(size="M4", length=6))
        + 4 * screw_g(Screw(size="M4", length=16))
        + 4 * (screw_g(Screw(size="M6", length=25)) + nut_g("M6"))
    )
    for each in screws:
        mass += each.mass_g
        moment += each.mass_g * np.array(each.centre_mm)
    assert found == pytest.approx(mass)
    assert centre == pytest.approx(moment / mass, abs=1e-6)


@pytest.mark.parametrize(
    ("size", "length", "grams"),
    # Tables of masses of socket head screws (DIN 912, 1000 pieces in kg; recalled): an estimate within a sixth.
    [("M3", 10.0, 0.80), ("M4", 16.0, 2.2), ("M5", 20.0, 4.2), ("M6", 20.0, 6.9), ("M8", 30.0, 16.5)],
)
def test_a_screw_weighs_about_what_tables_say(size: str, length: float, grams: float) -> None:
    assert screw_g(Screw(size=size, length=length)) == pytest.approx(grams, rel=1 / 6)


def test_screws_weigh_as_the_solids_that_they_are_taken_for() -> None:
    """Outside check: rods, a head with its socket and a nut cut as solids of manifold3d."""

    def hexagon(across: float, high: float) -> Manifold:
        return Manifold.cylinder(high, across / math.sqrt(3), circular_segments=6)

    rod = 6.0 - 0.9382
    shank = Manifold.cylinder(20.0, rod / 2, circular_segments=512)
    head = Manifold.cylinder(6.0, 5.0, circular_segments=512) - hexagon(5.0, 3.0).translate((0, 0, 3.0))
    whole = shank + head.translate((0, 0, 20.0))
    assert screw_g(Screw(size="M6", length=20)) == pytest.approx(whole.volume() * 7.85e-3, rel=1e-3)
    nut = hexagon(10.0, 5.2) - Manifold.cylinder(6.0, rod / 2, circular_segments=512)
    assert nut_g("M6") == pytest.approx(nut.volume() * 7.85e-3, rel=1e-3)
    assert screw_g(Screw(size="M6")) is None


def test_screws_sit_in_the_middle_of_their_shanks(tmp_path: Path) -> None:
    text = sheet("top", "flat.dxf") + sheet("base", "flat.dxf") + table("place", of="top", at=[5, 0, 100])
    text += holes_meet("top", "base", screw={"length": 10.0})
    order = load_here(write(tmp_path, text, flat_dxf=plate(square(4.5))))
    (screws,) = (x for x in lumps(order) if "screws" in x.name)
    assert screws.mass_g == pytest.approx(4 * (screw_g(Screw(size="M4", length=10)) + nut_g("M4")))
    side = order.things["top"].shape.holes.normal[order.way(order.meetings[0]).a[0], 2]
    # From under the head, on the far side of a plate of 2 mm, 5 mm on.
    assert screws.centre_mm == pytest.approx((35.0, 20.0, 100 + (1 + side * 4)))


def test_volume_and_centre_of_a_solid_are_occs(tmp_path: Path) -> None:
    """Outside check: exact volume and centre by OpenCascade of a block with a pocket, unlike along each axis."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepGProp import BRepGProp
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
    from OCP.gp import gp_Pnt
    from OCP.GProp import GProp_GProps

    pocket = BRepPrimAPI_MakeBox(gp_Pnt(2.0, 3.0, 4.0), 10.0, 5.0, 20.0).Shape()
    properties = GProp_GProps()
    cut = BRepAlgoAPI_Cut(BRepPrimAPI_MakeBox(30.0, 20.0, 10.0).Shape(), pocket)
    BRepGProp.VolumeProperties_s(cut.Shape(), properties)
    (tmp_path / "block.stl").write_bytes(stl(block(30, 20, 10) - block(10, 5, 20).translate((2, 3, 4))))
    order = load_here(write(tmp_path, printed("block", "block.stl")))
    shape = order.part("block").shape
    middle = properties.CentreOfMass()
    assert shape.volume_mm3 == pytest.approx(properties.Mass())
    assert shape.centre_mm == pytest.approx((middle.X(), middle.Y(), middle.Z()))
    # PA12 of 1.0 g/cm³.
    assert order.part("block").mass_g == pytest.approx(5.7)


def test_a_chain_of_screws_and_places_puts_everything_in_its_place(gauge: CheckedOrder) -> None:
    assert {x.id for x in gauge.placing.placed} == set(gauge.things)
    high = {}
    for id in ("housing", "gasket", "lid"):
        place = gauge.placing.of(id)
        assert place is not None
        low, top = gauge.things[id].shape.box
        corners = [
            place.place @ [x, y, z, 1] for x in (low[0], top[0]) for y in (low[1], top[1]) for z in (low[2], top[2])
        ]
        high[id] = min(c[2] for c in corners), max(c[2] for c in corners)
    # The housing is 42 mm high, the gasket 2 mm thick, the lid's hinge 10 mm high.
    assert high["gasket"][0] == pytest.approx(high["housing"][1])
    assert high["lid"][0] == pytest.approx(high["housing"][1] + 2.0)
    assert high["lid"][1] == pytest.approx(high["lid"][0] + 10.0)


def test_a_thing_named_twice_stands_twice(tmp_path: Path) -> None:
    text = printed("foot", "foot.stl") + table("place", of="foot") + table("place", of="foot", at=[50, 0, 0])
    order = load_here(write(tmp_path, text, foot_stl=stl(block(10, 10, 10))))
    assert order.mass[0] == pytest.approx(2.0)
    assert order.clashes == ()


def test_overlap_of_two_boxes_in_closed_form(tmp_path: Path) -> None:
    text = printed("one", "one.stl") + printed("two", "one.stl") + table("place", of="one")
    text += table("place", of="two", at=[8, 7, 6])
    order = load_here(write(tmp_path, text, one_stl=stl(block(10, 10, 10))))
    (clash,) = order.clashes
    assert clash.volume_mm3 == pytest.approx(2 * 3 * 4)
    assert clash.depth_mm == pytest.approx(2.0)
    assert clash.where.point == pytest.approx((9, 8.5, 8))


def pin_in_bore(tmp_path: Path, bore_mm: float, sides: int, relation: str = "") -> CheckedOrder:
    text = printed("block", "block.stl") + table("place", of="block") + table("place", of="pin", at=[10, 10, 5])
    text += table("bought", id="pin", shape="cylinder", diameter=6, height=20, mass=1, tolerance=0.005) + relation
    hole = Manifold.cylinder(12, bore_mm / 2, circular_segments=sides).translate((10, 10, -1))
    return load_here(write(tmp_path, text, block_stl=stl(block(20, 20, 10) - hole)))


def test_a_pin_in_a_bore_goes_as_deep_into_it_as_its_wall_is_thick(tmp_path: Path) -> None:
    (clash,) = pin_in_bore(tmp_path, 5.8, 96).clashes
    assert clash.depth_mm == pytest.approx(0.1, abs=0.005)
    # Of one size, the corners of the one stand in the sides of the other: a hundredth, which is no clash.
    assert pin_in_bore(tmp_path, 6.0, 64).clashes == ()


def test_what_is_pressed_is_told_by_its_overlap_less_the_tolerances(tmp_path: Path) -> None:
    (pressed,) = pin_in_bore(tmp_path, 5.8, 96, table("relation", kind="presses", a="pin", b="block")).apart
    assert pressed.gap_mm == pytest.approx(-0.1, abs=0.005)
    # Half of ±0.3 of the print and of ±0.005 of the pin.
    assert pressed.left_mm == pytest.approx(0.1 - 0.1525, abs=0.005)


def test_the_finish_of_both_takes_of_what_they_are_apart(tmp_path: Path) -> None:
    text = printed("one", "one.stl", finish_per_face=0.06) + printed("two", "one.stl", finish_per_face=0.04)
    text += table("place", of="one") + table("place", of="two", at=[10.5, 0, 0])
    text += table("relation", kind="slides", a="one", b="two", play=0.15)
    order = load_here(write(tmp_path, text, one_stl=stl(block(10, 10, 10))))
    (slides,) = order.apart
    assert slides.left_mm == pytest.approx(0.2, abs=1e-4)
    assert slides.finish_mm == pytest.approx(0.1)
    assert [len(check_order(order, [one]).findings) for one in rules("fit/does-not-fit", "fit/finish-eats-play")] == [
        0,
        1,
    ]


def rail(tmp_path: Path, travel: list[float] | None, bump: float = 1.0) -> CheckedOrder:
    """A slider 1 mm above a rail of 200 mm, and a bump on the rail in the middle of its way, free at both ends."""
    solid = block(200, 20, 5) + block(2, 20, bump).translate((99, 0, 5)) if bump else block(200, 20, 5)
    text = printed("rail", "rail.stl") + printed("slider", "slider.stl")
    text += table("place", of="rail", at=[0, 0, 50], turn_deg=[0, 90, 0])
    # The rail's x points down, its z along x.
    text += table("place", of="slider", at=[6, 0, 50], turn_deg=[0, 90, 0])
    more = {} if travel is None else {"travel": travel}
    text += table("relation", kind="slides", a="rail", b="slider", play=0.1, **more)
    return load_here(write(tmp_path, text, rail_stl=stl(solid), slider_stl=stl(block(20, 20, 10))))


@pytest.mark.parametrize(
    ("travel", "bump", "gap", "along"),
    [
        (None, 0.9, 1.0, None),
        ([180.0, 0.0, 0.0], 0.0, 1.0, 0.0),
        ([180.0, 0.0, 0.0], 0.6, 0.4, 90.0),
        ([60.0, 0.0, 0.0], 0.6, 1.0, 0.0),
        # Over the bump from 79 mm on to 101.
        ([180.0, 0.0, 0.0], 1.5, -0.5, 90.0),
        # Away from the rail.
        ([0.0, 0.0, 30.0], 0.6, 1.0, 0.0),
    ],
)
def test_what_slides_is_looked_at_along_its_whole_way(
    tmp_path: Path, travel: list[float] | None, bump: float, gap: float, along: float | None
) -> None:
    (slides,) = rail(tmp_path, travel, bump).apart
    assert slides.gap_mm == pytest.approx(gap, abs=1e-3)
    assert slides.along_mm == (None if along is None else pytest.approx(along, abs=11.5 if along else 1e-9))


def test_feet_stand_in_every_place_of_their_part(tmp_path: Path) -> None:
    text = sheet("base", "base.dxf") + table("bought", id="foot", shape="cylinder", diameter=10, height=6, mass=2)
    text += table("place", of="base", at=[0, 0, 6]) + table("rest", of="foot", kind="feet", points=[[0, 0, -3]])
    for x, y in ((10, 10), (50, 10), (50, 30), (10, 30)):
        text += table("place", of="foot", at=[x, y, 3])
    stands = load_here(write(tmp_path, text, base_dxf=plate([]))).balance
    assert not isinstance(stands, str)
    assert stands.margin_mm == pytest.approx(10.0)


def test_a_plate_on_its_edge_stands_on_its_lower_face(tmp_path: Path) -> None:
    text = printed("slab", "slab.stl") + table("rest", of="slab", kind="feet", along="edge", reach=1.0)
    text += table("place", of="slab")
    order = load_here(write(tmp_path, text, slab_stl=stl(block(100, 100, 10))))
    stands = order.balance
    assert not isinstance(stands, str)
    # Statics: atan(49 / 5); the edge is taken 1 mm inside.
    assert stands.tip_deg == pytest.approx(math.degrees(math.atan2(49, 5)))


def test_touching_faces_do_not_clash() -> None:
    one = Standing.at("one", block(10, 10, 10), np.eye(4))
    other = Standing.at("other", block(10, 10, 10), place_of((10, 0, 0), (0, 0, 0)))
    assert overlap(one, other)[0] == 0.0


def test_two_relations_that_cannot_both_hold_are_seen(tmp_path: Path) -> None:
    # Two posts on a base, and a plate across them whose holes are 2 mm too far apart for where the posts stand.
    post = block(10, 10, 20) - bore(5, 5, -1, 22, 4.5)
    base = plate([(10.0, 20.0, 4.5), (50.0, 20.0, 4.5)])
    across = plate([(9.0, 20.0, 4.5), (51.0, 20.0, 4.5)])
    text = sheet("base", "base.dxf") + printed("post", "post.stl") + sheet("across", "across.dxf")
    text += table("place", of="base") + table("place", of="post", at=[5, 15, 2])
    text += table("place", of="across", at=[0, 0, 22])
    text += holes_meet("base", "post") + holes_meet("across", "post")
    order = load_here(write(tmp_path, text, base_dxf=base, post_stl=stl(post), across_dxf=across))
    assert order.placing.loops[0] == pytest.approx(0.0, abs=0.01)
    assert order.placing.loops[1] == pytest.approx(1.0, abs=0.01)


def test_a_face_lies_on_a_face(tmp_path: Path) -> None:
    # A post of 30 mm on a block of 10 mm: its foot comes to stand on the top, turned a quarter.
    text = printed("block", "block.stl") + printed("post", "post.stl") + table("place", of="block", at=[100, 0, 0])
    text += table(
        "relation",
        kind="faces-meet",
        a={"of": "block", "at": [20, 20, 10]},
        b={"of": "post", "at": [2, 2, 0]},
        turn_deg=90.0,
    )
    files = {"block_stl": stl(block(40, 40, 10)), "post_stl": stl(block(4, 8, 30))}
    order = load_here(write(tmp_path, text, **files))
    post = order.placing.of("post")
    assert post is not None
    assert post.place @ [2, 2, 0, 1] == pytest.approx([120, 20, 10, 1])
    assert post.place[:3, 2] == pytest.approx([0, 0, 1])
    assert order.clashes == ()
    # Its longer side, y in its own frame, lies along x now.
    assert abs(post.place[0, 1]) == pytest.approx(1.0)
    beside = load_here(write(tmp_path, text.replace("[2, 2, 0]", "[2, 2, -9]")))
    assert beside.placing.missing == {"post": "post: there is no face within 2 mm of 2, 2, -9"}


def test_screw_in_a_blind_hole_counts_only_what_the_hole_has(tmp_path: Path) -> None:
    solid = block(60, 40, 20)
    for x, y, _ in square(3.3):
        solid -= bore(x, y, 14, 7, 3.3)
    text = sheet("cover", "cover.dxf") + printed("base", "base.stl")
    text += holes_meet("cover", "base", screw={"into": "thread", "length": 20})
    order = load_here(write(tmp_path, text, cover_dxf=plate(square(4.5)), base_stl=stl(solid)))
    screws = order.driven(order.meetings[0])
    assert len(screws) == 4
    assert {round(x.engaged_mm, 3) for x in screws} == {6.0}
    assert all(x.blind for x in screws)
    assert {round(x.grip_mm, 3) for x in screws} == {2.0}


def test_a_blind_hole_of_a_bought_thing_opens_where_it_lies(tmp_path: Path) -> None:
    holes = [{"at": [x, 0, 20], "diameter": 2.5, "depth": 4.5} for x in (-10, 10)]
    text = sheet("cover", "cover.dxf") + table(
        "bought", id="motor", shape="cylinder", diameter=35, height=40, holes=holes
    )
    text += holes_meet("cover", "motor", "M3", screw={"into": "thread", "length": 6})
    order = load_here(write(tmp_path, text, cover_dxf=plate([(20.0, 20.0, 3.4), (40.0, 20.0, 3.4)])))
    one = order.driven(order.meetings[0])[0]
    assert (one.blind, one.depth_mm, one.engaged_mm) == (True, 4.5, pytest.approx(4.0))
    # A pitch of the thread stays free at the bottom of the hole.
    assert one.needed.value == pytest.approx(4.0)
    cover = order.placing.of("cover")
    assert cover is not None
    # The cover lies on the end in which the holes are, 20 mm above the motor's middle.
    assert moved(cover.place, order.things["cover"].shape.vertices)[:, 2].min() == pytest.approx(20.0)


def test_a_bought_mesh_has_its_own_centre_of_gravity(tmp_path: Path) -> None:
    (tmp_path / "thing.stl").write_bytes(stl(block(40, 10, 10) + block(10, 10, 40)))
    text = printed("any", "any.stl") + table("bought", id="thing", shape="file", file="thing.stl", mass=10)
    thing = load_here(write(tmp_path, text, any_stl=stl(block(5, 5, 5)))).things["thing"]
    # Two bars: 4000 mm³ about 20, 5, 5 and 3000 mm³ about 5, 5, 25; the frame's origin is the box's middle, 20, 5, 20.
    assert thing.shape.middle == pytest.approx((95 / 7 - 20, 0, 95 / 7 - 20), abs=1e-4)


def test_room_about_a_head_is_the_distance_to_the_wall(tmp_path: Path) -> None:
    wall = Manifold.cube((60, 5, 15)).rotate((0, 0, 10)).translate((0, 24, 0))
    solid = block(60, 40, 3) + wall - bore(30, 20, -1, 5, 4.5)
    text = printed("cover", "cover.stl") + sheet("base", "base.dxf")
    text += table(
        "relation",
        kind="holes-meet",
        a={"of": "cover", "face": "down"},
        b={"of": "base"},
        screw={"size": "M4", "head_diameter": 30, "head_height": 4},
    )
    order = load_here(write(tmp_path, text, cover_stl=stl(solid), base_dxf=plate([(30.0, 20.0, 4.5)])))
    (room,) = order.rooms(order.meetings[0])
    # From 30, 20 to the wall's face through 0, 24 turned by 10°.
    c, s = math.cos(math.radians(10)), math.sin(math.radians(10))
    assert room.head_mm == pytest.approx(2 * ((24 - 20) * c + 30 * s), abs=0.01)
    assert room.in_the_way == "cover"


def test_a_shape_is_kept_and_read_back_whole(tmp_path: Path) -> None:
    write_demo(tmp_path)
    order = load_here(tmp_path / "good" / "order.toml")
    part = order.part("bracket")
    checked = check_file(part.path, part.choices, ()).checked
    assert checked is not None
    shape = shape_of(checked)
    again = from_bytes(to_bytes(shape))
    assert np.array_equal(shape.vertices, again.vertices)
    assert np.array_equal(shape.holes.point, again.holes.point)
    assert (shape.threads, shape.panel_bends, shape.volume_mm3) == (again.threads, again.panel_bends, again.volume_mm3)
    assert sorted(x for x in again.threads if x) == ["M4", "M4", "M5", "M5"]
    with pytest.raises(NoShape, match="it is gone"):
        from_bytes(to_bytes(NoShape("it is gone")))
    with pytest.raises(ValueError, match="no shape"):
        from_bytes(b"PK\x03\x04 nothing of the kind")


def test_places_turn_about_x_then_y_then_z() -> None:
    place = place_of((1, 2, 3), (90, 0, 90))
    # x: y goes to z; z: x goes to y.
    assert place @ [0, 1, 0, 1] == pytest.approx([1, 2, 4, 1])
    assert place @ [1, 0, 0, 1] == pytest.approx([1, 3, 3, 1])
    assert inverse(place) @ place == pytest.approx(np.eye(4))
    for normal in np.random.default_rng(1).normal(size=(20, 3)):
        frame = frame_on(normal)
        assert np.linalg.det(frame) == pytest.approx(1.0)
        assert frame[:, 2] == pytest.approx(normal / np.linalg.norm(normal))
