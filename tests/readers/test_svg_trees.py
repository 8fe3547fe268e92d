"""Groups, uses, symbols, styles and what is no outline in SVG."""

from __future__ import annotations

from pathlib import Path

import pytest
from parts import flatfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Part, Unreadable
from lintsvc.model.sheet import Circle

SQUARE = "<rect width='50' height='50'/>"


def read(folder: Path, body: str) -> Part:
    return read_bytes(folder, made.svg(body))


def test_use_puts_its_target_in_place(tmp_path: Path) -> None:
    body = (
        "<defs><circle id='h' r='2'/></defs><use href='#h' x='10' y='20' transform='scale(2)'/><use xlink:href='#h'/>"
    )
    assert [e.shapes[0] for e in made.drawn(read(tmp_path, body))] == [Circle((20, 60), 4), Circle((0, 100), 2)]


def test_symbol_is_fitted_to_the_use(tmp_path: Path) -> None:
    symbol = "<symbol id='s' viewBox='0 0 10 10'><circle cx='5' cy='5' r='5'/></symbol>"
    shape = made.only(read(tmp_path, symbol + "<use href='#s' x='20' y='10' width='40' height='40'/>"))
    assert shape == Circle((40, 70), 20)


def test_inner_svg_has_its_own_units(tmp_path: Path) -> None:
    body = "<svg x='10' y='10' width='20' height='20' viewBox='0 0 2 2'><circle cx='1' cy='1' r='1'/></svg>"
    assert made.only(read(tmp_path, body)) == Circle((20, 80), 10)


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ("<g id='a'><use href='#a'/></g>", "back to itself"),
        ("<use id='a' href='#b'/><use id='b' href='#a'/>", "back to itself"),
        (
            "<g id='l0'><rect width='1' height='1'/></g>"
            + "".join(f"<g id='l{i + 1}'><use href='#l{i}'/><use href='#l{i}'/></g>" for i in range(30)),
            "more than",
        ),
        ("<g>" * 500 + SQUARE + "</g>" * 500, "nested"),
        ("".join(f"<use id='u{i}' href='#u{i + 1}'/>" for i in range(400)), "nested"),
    ],
    ids=["itself", "each other", "doubling", "deep groups", "deep uses"],
)
def test_trees_without_end_are_refused(tmp_path: Path, body: str, word: str) -> None:
    with pytest.raises(Unreadable, match=word):
        read(tmp_path, SQUARE + body)


def test_use_that_leads_outside_is_noticed_and_not_followed(tmp_path: Path) -> None:
    part = read(tmp_path, SQUARE + "<use href='other.svg#a'/><use href='#missing'/>")
    texts = made.notes(part, "recovered")
    assert any("out of the file" in x for x in texts)
    assert any("not in the file" in x for x in texts)


@pytest.mark.parametrize(
    ("body", "kind", "word"),
    [
        ("<text x='3' y='4'>CUT</text>", "live-text", "1 text"),
        ("<image width='9' height='9' href='a.png'/>", "ignored", "1 picture"),
        ("<foreignObject width='9' height='9'/>", "ignored", "foreign"),
        ("<rect width='0' height='9'/>", "stray", "no size"),
        ("<path d=''/>", "stray", "no size"),
        ("<circle r='9' clip-path='url(#c)'/>", "ignored", "clipped"),
        ("<circle r='9' transform='turn(3)'/>", "recovered", "not understood"),
        ("<circle r='9' style='display:none'/>", "ignored", "invisible"),
        ("<g display='none'><circle r='9'/></g>", "ignored", "invisible"),
        ("<circle r='9' visibility='hidden'/>", "ignored", "invisible"),
        ("<circle r='9' fill='none'/>", "ignored", "neither stroke nor fill"),
    ],
)
def test_is_noticed(tmp_path: Path, body: str, kind: str, word: str) -> None:
    part = read(tmp_path, SQUARE + body)
    assert any(word in text for text in made.notes(part, kind)), part.notes


@pytest.mark.parametrize(
    ("style", "body"),
    [
        ("", "<circle r='9' stroke='#F00'/>"), ("", "<circle r='9' style='stroke: rgb(255, 0,0)'/>"),
        ("", "<g stroke='red'><circle r='9'/></g>"), (".c{stroke:#ff0000}", "<circle r='9' class='b c'/>"),
        ("/* no */ circle , rect { fill:none; stroke: red }", "<circle r='9'/>"),
        ("#x{stroke:#f00}", "<circle r='9' id='x'/>"),
        ("circle{stroke:blue}", "<circle r='9' style='stroke:#f00!important'/>"),
        ("circle.c{stroke:#f00}", "<circle class='c' r='9'/>"),
        ("", "<circle r='9' fill='rgb(100%,0%,0%)'/>"),
    ],
)  # fmt: skip
def test_colour_is_found_wherever_it_is_said(tmp_path: Path, style: str, body: str) -> None:
    part = read(tmp_path, f"<style>{style}</style>{body}")
    assert made.drawn(part)[0].rgb == "#ff0000"


def test_layers_are_named_groups(tmp_path: Path) -> None:
    label = "xmlns:p='http://example.org/p' p:label='Bend down 90'"
    part = read(
        tmp_path,
        f"{SQUARE}<g id='g12' {label}><path d='M9 0V50'/></g><g id='ENGRAVE'><path d='M1 1h9'/></g>"
        "<g id='text77'><path d='M1 5h9'/></g><path class='etch' d='M1 7h9'/>",
    )
    roles = [(x.layer, x.role, x.bend_direction, x.bend_angle_deg) for x in made.drawn(part)]
    assert roles[1:] == [
        ("Bend down 90", "bend", "down", 90), ("ENGRAVE", "engrave", None, None), ("", "cut", None, None),
        ("etch", "engrave", None, None),
    ]  # fmt: skip


def test_dashed_stroke_is_a_line_type(tmp_path: Path) -> None:
    part = read(tmp_path, SQUARE + "<path d='M9 0V50' stroke='black' stroke-dasharray='4 2'/>")
    assert (made.drawn(part)[1].line_type, made.drawn(part)[1].role) == ("DASHED", "bend")


def test_text_beside_a_bend_is_read_as_its_own(tmp_path: Path) -> None:
    part = read(
        tmp_path, SQUARE + "<g id='bend'><path d='M9 0V50'/></g><text><tspan x='11' y='20'>UP 45° R2</tspan></text>"
    )
    bend = made.drawn(part)[1]
    assert (bend.bend_direction, bend.bend_angle_deg, bend.bend_radius_mm) == ("up", 45, 2)


@pytest.mark.parametrize(
    "text",
    [
        "<?xml version='1.0'?><!DOCTYPE svg [<!ENTITY x SYSTEM 'file:///etc/passwd'>]><svg xmlns='http://www.w3.org/2000/svg'>&x;</svg>",
        "<svg xmlns='http://www.w3.org/2000/svg'><g></svg>",
        "<svg xmlns='http://www.w3.org/2000/svg'",
        "<svg xmlns='http://example.org/other'><rect width='9' height='9'/></svg>",
        "<?xml version='1.0' encoding='nonsense'?><svg xmlns='http://www.w3.org/2000/svg'/>",
    ],
)
def test_harmful_or_broken_xml_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(Unreadable) as caught:
        read_bytes(tmp_path, text)
    assert "root:" not in str(caught.value)


@pytest.mark.parametrize(
    "head",
    [
        "", "<?xml version='1.0' encoding='UTF-8'?>\n<!-- made by hand -->\n", "\n\n",
        "<!DOCTYPE svg PUBLIC '-//W3C//DTD SVG 1.1//EN' 'svg11.dtd'>",
    ],
)  # fmt: skip
def test_beginnings(tmp_path: Path, head: str) -> None:
    text = made.svg(SQUARE)
    if head.startswith("\n"):
        assert read_bytes(tmp_path, head + text).size_mm == (50, 50, 0)
    else:
        assert read_bytes(tmp_path, (head + text).encode("utf-8")).format == "SVG"


@pytest.mark.parametrize("code", ["utf-8-sig", "utf-16"])
def test_character_codes(tmp_path: Path, code: str) -> None:
    assert read_bytes(tmp_path, made.svg(SQUARE).encode(code)).size_mm == (50, 50, 0)


def test_svg_without_namespace_is_read(tmp_path: Path) -> None:
    text = f"<svg width='100mm' height='100mm' viewBox='0 0 100 100'>{SQUARE}</svg>"
    assert read_bytes(tmp_path, text).size_mm == (50, 50, 0)


def test_svg_elements_under_a_prefix_are_read(tmp_path: Path) -> None:
    space = "xmlns:s='http://www.w3.org/2000/svg'"
    text = f"<s:svg {space} width='100mm' height='100mm' viewBox='0 0 100 100'><s:circle r='2'/></s:svg>"
    assert made.only(read_bytes(tmp_path, text)) == Circle((0, 100), 2)


@pytest.mark.parametrize(
    "line",
    [
        "<g id='Bend up'>{}</g>", "<g class='bend-up'>{}</g>", "<g data-name='BEND_UP' id='Layer_2'>{}</g>",
        "<g id='drawing'><g id='g12'>{}</g></g>".replace("g12", "fold up"), "<g><title>Bend up</title>{}</g>",
        "<g id='drawing'>{}</g>".replace("{}", "<line id='bend_up_1' x1='20' y1='0' x2='20' y2='50'/>"),
        "<line class='bend up' x1='20' y1='0' x2='20' y2='50'/>",
        "<line x1='20' y1='0' x2='20' y2='50'><title>bend up</title></line>",
    ],
)  # fmt: skip
def test_names_of_groups_and_of_lines_say_what_they_are_for(tmp_path: Path, line: str) -> None:
    body = SQUARE + "<g stroke='black'>" + line.format("<line x1='20' y1='0' x2='20' y2='50'/>") + "</g>"
    (bend,) = made.drawn(read(tmp_path, body))[1:]
    assert (bend.role, bend.bend_direction) == ("bend", "up")


@pytest.mark.parametrize(
    ("opacity", "role"), [("0", "note"), ("0.0", "note"), ("0%", "note"), ("0.1", "cut"), (".5", "cut")]
)
def test_what_cannot_be_seen_is_not_cut(tmp_path: Path, opacity: str, role: str) -> None:
    hole = f"<g opacity='{opacity}'><circle cx='20' cy='20' r='5'/></g>"
    assert made.drawn(read(tmp_path, SQUARE + hole))[-1].role == role
