"""What the user says of a layer, a line type or a colour goes before everything that the file says, and is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from parts import flatfiles as made

from lintsvc.model.choices import Choices
from lintsvc.model.choices_words import BadChoice, choices_from_dict, choices_from_words, choices_to_dict
from lintsvc.model.choices_words import choices_to_words as words_of
from lintsvc.model.line_choice import LineChoice
from lintsvc.model.part import Part
from lintsvc.readers import read_part
from lintsvc.readers.format import ReadOptions
from lintsvc.rulebook.check import check_file, checked_again

BLANK = made.rectangle(60, 40)


def lines(*texts: str) -> tuple[LineChoice, ...]:
    return choices_from_words({"lines": "; ".join(texts)}).lines


def read(folder: Path, text: str, *said: str, name: str = "part.dxf") -> Part:
    (folder / name).write_text(text, encoding="utf8")
    return read_part(folder / name, ReadOptions(name, "", lines=lines(*said)))


def last(part: Part) -> tuple[object, ...]:
    x = made.drawn(part)[-1]
    return x.role, x.bend_direction, x.bend_angle_deg, x.bend_radius_mm


def test_layer_without_a_meaning_becomes_bend_lines(tmp_path: Path) -> None:
    drawing = made.dxf(BLANK + made.line((0, 20), (60, 20), layer="Q7"))
    assert last(read(tmp_path, drawing))[0] == "cut"
    part = read(tmp_path, drawing, "layer:q7=bend up 45 R2mm")
    assert last(part) == ("bend", "up", 45.0, 2.0)
    assert "1 entity taken as bend lines, up: you said layer:q7=bend up 45° R2mm." in [x.text for x in part.notes]


def test_word_goes_before_layer_names_texts_and_hidden_layers(tmp_path: Path) -> None:
    drawing = made.dxf(BLANK + made.line((0, 20), (60, 20), layer="BEND_UP_90_R1"))
    assert last(read(tmp_path, drawing)) == ("bend", "up", 90.0, 1.0)
    assert last(read(tmp_path, drawing, "layer:BEND_*=bend down 30")) == ("bend", "down", 30.0, 1.0)
    assert last(read(tmp_path, drawing, "layer:BEND_*=cut"))[0] == "cut"
    frozen = made.dxf(BLANK + made.line((0, 20), (60, 20), layer="OFF"), layers=made.layer_row("OFF", (70, 1)))
    assert last(read(tmp_path, frozen))[0] == "note"
    assert last(read(tmp_path, frozen, "layer:OFF=bend"))[0] == "bend"


def test_line_types_and_colours_can_be_named(tmp_path: Path) -> None:
    dashed = made.dxf(BLANK + made.line((10, 20), (50, 20), (6, "HIDDEN2")))
    assert last(read(tmp_path, dashed))[0] == "unclear"
    assert last(read(tmp_path, dashed, "line-type:hidden*=engrave"))[0] == "engrave"
    red = made.dxf(BLANK + made.line((10, 20), (50, 20), (62, 1)))
    for said in ("colour:red=engrave", "colour:1=engrave", "colour:#ff0000=engrave"):
        assert last(read(tmp_path, red, said))[0] == "engrave"
    assert last(read(tmp_path, red, "colour:blue=engrave"))[0] == "cut"
    drawn = '<rect width="60" height="40" fill="none" stroke="black"/>'
    drawn += '<path d="M 5 5 H 20" stroke="#f00" fill="none"/>'
    assert last(read(tmp_path, made.svg(drawn), "colour:red=engrave", name="part.svg"))[0] == "engrave"


def test_first_word_that_fits_holds_and_an_idle_one_is_told(tmp_path: Path) -> None:
    drawing = made.dxf(BLANK + made.line((0, 20), (60, 20), layer="A1"))
    part = read(tmp_path, drawing, "layer:A*=note", "layer:A1=bend", "layer:B1=bend up")
    assert last(part)[0] == "note"
    told = [x.text for x in part.notes]
    assert "You said layer:B1=bend up, but nothing in the file is drawn so." in told


def test_report_says_what_a_layer_was_read_as_and_why(tmp_path: Path) -> None:
    (tmp_path / "a.dxf").write_text(made.dxf(BLANK + made.line((0, 20), (60, 20), layer="Q7")))
    said = choices_from_words({"lines": "layer:Q7=bend down 90 R2mm", "thickness": "2mm", "material": "steel-mild"})
    report = check_file(tmp_path / "a.dxf", said, []).report
    assert report.part is not None
    assert [(x.direction, x.angle_deg, x.radius_mm) for x in report.part.bends] == [("down", 90.0, 2.0)]
    assert any("you said layer:Q7=bend down" in x for x in report.notes)


def test_holes_of_a_layer_are_tapped_by_the_users_word(tmp_path: Path) -> None:
    (tmp_path / "a.dxf").write_text(made.dxf(BLANK + made.circle(20, 20, 1.65, layer="H1")))
    said = choices_from_words({"lines": "layer:H1=thread M4"})
    (tapped,) = checked_again(tmp_path / "a.dxf", said, "a.dxf", "").screws.tapped
    assert tapped.row is not None
    assert (tapped.row.name, tapped.centre_mm) == ("M4x0.7", (20.0, 20.0))


@pytest.mark.parametrize(
    "text",
    [
        "FOLD=bend", "layer:=bend", "layer:A=weld", "layer:A=cut up", "layer:A=bend 200", "layer:A=bend sideways",
        "layer:A=bend R-1mm", "layer:A=thread", "paper:A=cut", "layer:A=unclear",
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(BadChoice):
        lines(text)


def test_wrong_json_is_refused_too() -> None:
    for word in ('[{"of": "layer"}]', '[{"of": "layer", "name": "A", "role": "note", "direction": "up"}]', "[1]"):
        with pytest.raises(BadChoice):
            choices_from_words({"lines": word})


_names = st.text(st.characters(codec="ascii", categories=("L", "N"), include_characters="_-*. "), min_size=1).filter(
    lambda x: x == x.strip()
)
_bends = st.builds(
    LineChoice, st.sampled_from(["layer", "line-type"]), _names, st.just("bend"),
    st.none() | st.sampled_from([30.0, 90.0, 180.0]), st.sampled_from([None, "up", "down"]),
    st.none() | st.sampled_from([0.5, 2.0]),
)  # fmt: skip
_others = st.builds(LineChoice, st.just("layer"), _names, st.sampled_from(["cut", "engrave", "note"]))


@given(st.lists(_bends | _others, max_size=4))
def test_words_dicts_and_texts_give_the_same_choices_back(said: list[LineChoice]) -> None:
    choices = Choices(lines=tuple(said))
    assert choices_from_dict(choices_to_dict(choices)) == choices
    assert choices_from_words(words_of(choices)) == choices
    assert lines(*map(str, said)) == choices.lines


def test_threads_countersinks_and_bends_can_be_written_as_texts() -> None:
    said = choices_from_words(
        {"threads": "M4 at 10,20; 1/4-20 at -0.5in,0", "countersinks": "M5 at 1,2 down", "bends": "at 3,4 up 90 R2mm"}
    )
    assert [(x.thread, x.centre_mm) for x in said.threads] == [("M4", (10, 20)), ("1/4-20", (-12.7, 0))]
    assert [(x.screw, x.centre_mm, x.side) for x in said.countersinks] == [("M5", (1, 2), "down")]
    (bend,) = said.bends
    assert (bend.start, bend.angle_deg, bend.direction, bend.radius_mm) == ((3, 4), 90, "up", 2)
    for name, word in (("threads", "M4"), ("threads", "at 1,2"), ("countersinks", "M4 at 1,2 left"), ("bends", "at 1")):
        with pytest.raises(BadChoice, match="write it like"):
            choices_from_words({name: word})


def test_hostile_names_cost_no_time() -> None:
    said = lines("layer:" + "*a" * 50 + "=cut")
    assert not said[0].fits("a" * 200 + "b", "", "", None)
