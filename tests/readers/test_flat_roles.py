"""What a line is for is told by layer, line type and colour, with the reason; and bends by what is written."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts import flatfiles as made
from parts.reading import read_bytes

from lintsvc.model.sheet import Role
from lintsvc.readers.flat_roles import built_in_rules, load_rules
from lintsvc.readers.flat_said import BendSaid, said_by_layer, said_by_text


@pytest.mark.parametrize(
    ("layer", "role"),
    [
        ("0", "cut"), ("CUT", "cut"), ("Outer_Profile", "cut"), ("BEND", "bend"), ("bend-down", "bend"),
        ("SHEET_BEND_UP", "bend"), ("BendLinesUp", "bend"), ("FOLD", "bend"), ("Biegelinie", "bend"),
        ("PLIAGE", "bend"),
        ("Bend Relief", "cut"), ("BEND_EXTENT", "note"), ("Bend tangent lines", "note"), ("ENGRAVE", "engrave"),
        ("laser_etch", "engrave"), ("Gravur", "engrave"), ("MARK", "engrave"), ("DIM", "note"), ("Dimensions", "note"),
        ("Center Lines", "note"), ("Defpoints", "note"), ("TITLE BLOCK", "note"), ("Viewport1", "note"),
        ("Market", "cut"), ("DIMPLE", "cut"), ("Application", "cut"), ("Unfolded", "cut"), ("NOTCH", "cut"),
    ],
)  # fmt: skip
def test_layer_names(layer: str, role: Role) -> None:
    assert built_in_rules().role(layer, "CONTINUOUS", "", False).role == role


def test_every_answer_but_a_plain_cut_has_its_reason() -> None:
    rules = built_in_rules()
    assert "BEND" in rules.role("BEND", "", "", True).why
    assert "CENTER2" in rules.role("0", "CENTER2", "", True).why
    assert "blue" in rules.role("0", "", "#0000ff", True).why
    assert rules.role("0", "", "", True).why == ""


def test_colour_alone_never_decides() -> None:
    rules = built_in_rules()
    assert {rules.role("0", "", rgb, True).role for rgb in rules.colour} == {"cut"}


def test_layer_goes_before_line_type() -> None:
    assert built_in_rules().role("CUT", "DASHED", "", True).role == "cut"


def test_rules_can_be_replaced(tmp_path: Path) -> None:
    file = tmp_path / "roles.toml"
    file.write_text('[[layer]]\nrole = "engrave"\nwords = ["outline"]\nwhy = "our shop"\n', encoding="utf8")
    assert load_rules(file).role("OUTLINE", "", "", True) == ("engrave", "our shop (OUTLINE)", False)
    assert load_rules(file).role("BEND", "", "", True).role == "cut"


@pytest.mark.parametrize("text", ['[[layr]]\nrole = "cut"', '[[layer]]\nrole = "ct"\nwords = []\nwhy = ""'])
def test_wrong_rules_are_refused(tmp_path: Path, text: str) -> None:
    file = tmp_path / "roles.toml"
    file.write_text(text, encoding="utf8")
    with pytest.raises(ValueError, match=r"roles\.toml"):
        load_rules(file)


@pytest.mark.parametrize(
    ("layer", "said"),
    [
        ("BEND", BendSaid()), ("BEND2", BendSaid()), ("BEND_UP", BendSaid(direction="up")),
        ("BENDDOWN", BendSaid(direction="down")), ("BEND_DOWN_45", BendSaid(45, "down")),
        ("Bend Up 90 R1.5", BendSaid(90, "up", 1.5)), ("BEND-135°-UP", BendSaid(135, "up")),
        ("BEND UP DOWN", BendSaid()), ("BEND_UP_R2", BendSaid(None, "up", 2)), ("Biegung hoch 30", BendSaid(30, "up")),
        ("BEND_DOWN_112.5_R3", BendSaid(112.5, "down", 3)), ("BEND_UP_22,5", BendSaid(22.5, "up")),
        ("BEND_90DEG_R4", BendSaid(90, None, 4)),
        ("bend-dn", BendSaid(direction="down")), ("Biegung oben", BendSaid(direction="up")),
        ("BendlinesUp", BendSaid(direction="up")), ("BENDGROUP", BendSaid()),
        ("BEND_UP_R1/16in", BendSaid(None, "up", 1.5875)),
        ("PLI HAUT 45", BendSaid(45, "up")), ("Buiglijn omlaag", BendSaid(direction="down")),
    ],
)  # fmt: skip
def test_what_layer_names_say_of_a_bend(layer: str, said: BendSaid) -> None:
    assert said_by_layer(layer, built_in_rules()) == said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("UP 90° R1.5", BendSaid(90, "up", 1.5)), ("DOWN 45", BendSaid(45, "down")), ("90 UP", BendSaid(90, "up")),
        ("Bend 90 deg, IR 2", BendSaid(90, None, 2)), ("90%%d R=,5", BendSaid(90, None, 0.5)),
        ("down", BendSaid(direction="down")), ("BEND RADIUS 3", BendSaid(None, None, 3)), ("R5", None), ("90°", None),
        ("25.4", None), ("THIS SIDE OUT", None), ("UPPER", None), ("Rev 3", None), ("M5 UPDATE", None),
        ("THIS SIDE UP", None), ("BEND UP", BendSaid(direction="up")), ("flange down", BendSaid(direction="down")),
        ("90 hoch", BendSaid(90, "up")), ("45 unten R2", BendSaid(45, "down", 2)),
        ("nach oben", BendSaid(direction="up")),
        ("UP 90.0° R1/16\"", BendSaid(90, "up", 1.5875)), ("BEND UP R1/0", BendSaid(direction="up")),
    ],
)  # fmt: skip
def test_what_texts_say_of_a_bend(text: str, said: BendSaid | None) -> None:
    assert said_by_text(text, built_in_rules()) == said


BLANK = made.rectangle(100, 60)
UP = made.line((30, 0), (30, 60), layer="BEND")
DOWN = made.line((70, 0), (70, 60), layer="BEND")


def note(text: str, x: float, y: float) -> str:
    return made.entity("TEXT", (10, x), (20, y), (40, 2.5), (1, text), layer="TEXT")


def test_text_beside_a_bend_is_read_as_its_own(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(BLANK + UP + DOWN + note("UP 90 R2", 32, 20) + note("DOWN 45%%d R1", 68, 50)))
    first, second = made.drawn(part)[4:6]
    assert (first.bend_direction, first.bend_angle_deg, first.bend_radius_mm) == ("up", 90, 2)
    assert (second.bend_direction, second.bend_angle_deg, second.bend_radius_mm) == ("down", 45, 1)
    assert "UP 90 R2" in first.role_why


def test_radius_in_a_text_is_in_the_unit_of_the_file(tmp_path: Path) -> None:
    part = read_bytes(
        tmp_path,
        made.dxf(made.rectangle(4, 2) + made.line((2, 0), (2, 2), layer="BEND") + note("UP 90 R.06", 2.1, 1), units=1),
    )
    assert made.drawn(part)[4].bend_radius_mm == pytest.approx(1.524)


def test_texts_on_a_bend_layer_may_each_say_one_thing(tmp_path: Path) -> None:
    beside = [
        made.entity("TEXT", (10, 32), (20, y), (40, 2.5), (1, t), layer="BEND") for y, t in ((20, "90%%d"), (26, "R2"))
    ]
    part = read_bytes(tmp_path, made.dxf(BLANK + UP + "".join(beside)))
    bend = made.drawn(part)[4]
    assert (bend.bend_direction, bend.bend_angle_deg, bend.bend_radius_mm) == (None, 90, 2)


def test_text_far_from_every_bend_says_nothing(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(BLANK + UP + note("UP 90", 90, 30)))
    assert made.drawn(part)[4].bend_direction is None


def test_text_about_all_bends_counts_where_nothing_nearer_does(tmp_path: Path) -> None:
    part = read_bytes(
        tmp_path, made.dxf(BLANK + UP + DOWN + note("ALL BENDS 90%%d UP R3", 0, -40) + note("DOWN 30", 69, 9))
    )
    first, second = made.drawn(part)[4:6]
    assert (first.bend_direction, first.bend_angle_deg, first.bend_radius_mm) == ("up", 90, 3)
    assert (second.bend_direction, second.bend_angle_deg) == ("down", 30)


def test_texts_that_disagree_leave_the_bend_open(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(BLANK + UP + note("UP 90", 31, 10) + note("DOWN 90", 31, 40)))
    bend = made.drawn(part)[4]
    assert (bend.bend_direction, bend.bend_angle_deg) == (None, 90)
    assert any("disagree" in text for text in made.notes(part, "info"))


def dashed(a: tuple[float, float], b: tuple[float, float]) -> str:
    return made.line(a, b, (6, "DASHED"))


def test_dashed_line_from_edge_to_edge_is_a_bend(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(BLANK + dashed((30, 0.3), (30, 59.7))))
    assert made.drawn(part)[-1].role == "bend"


def test_dashed_line_inside_the_part_is_unclear(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(BLANK + dashed((30, 0), (30, 40))))
    line = made.drawn(part)[-1]
    assert line.role == "unclear"
    assert "edge to edge" in line.role_why


def test_bend_from_a_round_cutout_to_the_edge_counts(tmp_path: Path) -> None:
    part = read_bytes(tmp_path, made.dxf(BLANK + made.circle(50, 30, 10) + dashed((60, 30), (100, 30))))
    assert made.drawn(part)[-1].role == "bend"


def centre_line(a: tuple[float, float], b: tuple[float, float]) -> str:
    return made.line(a, b, (6, "CENTER2"))


def test_centre_line_is_a_bend_where_a_text_says_so(tmp_path: Path) -> None:
    line = centre_line((30, 0), (30, 60))
    assert made.drawn(read_bytes(tmp_path, made.dxf(BLANK + line)))[-1].role == "unclear"
    (bend,) = made.drawn(read_bytes(tmp_path, made.dxf(BLANK + line + note("UP 90", 32, 20))))[4:]
    assert (bend.role, bend.bend_direction, bend.bend_angle_deg) == ("bend", "up", 90)
    assert "CENTER2" in bend.role_why and "text beside it" in bend.role_why
    inside = centre_line((30, 0), (30, 40))
    assert made.drawn(read_bytes(tmp_path, made.dxf(BLANK + inside + note("UP 90", 32, 20))))[4].role == "unclear"
    # A text belongs to one line: the nearest.
    two = BLANK + line + UP.replace("30", "40") + note("UP 90", 39, 20)
    assert [x.role for x in made.drawn(read_bytes(tmp_path, made.dxf(two)))[4:]] == ["unclear", "bend"]
