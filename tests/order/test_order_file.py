"""The order file: errors name the line and say what would be right; the published schema reads the same file."""

from __future__ import annotations

import tomllib
from pathlib import Path

import jsonschema
import pytest
from parts.orders import plate, sheet, table, write

from lintsvc.demo import write_demo
from lintsvc.order.choices import choices_of
from lintsvc.order.file import schema
from lintsvc.order.load import load_here
from lintsvc.order.read import OrderError, parse_order, read_order
from lintsvc.rulebook.rule import CannotCheck

PART = '[[part]]\nid = "a"\nfile = "a.dxf"\n'
RELATION = '[[relation]]\nkind = "holes-meet"\na = { of = "a" }\nb = { of = "b" }\nscrew = { size = "M4" }\n'


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        (PART + 'materal = "pa12"\n', 4, "did you mean 'material'?"),
        (PART + 'material = "aluminum"\n', 4, "there is no material 'aluminum'; close ones are"),
        (PART + 'thickness = "2 stone"\n', 4, "no length"),
        (PART + "thickness = -2\n", 4, "no thickness; write it like 2mm or 0.08in, or a sheet gauge like 16ga"),
        (PART + 'thickness = "16ga"\n', 4, "name the material too"),
        (PART + 'thickness = "16ga"\nmaterial = "copper"\n', 4, "16 ga: no gauges are known for Copper"),
        (PART + PART, 5, "'a' is named twice"),
        (PART + RELATION, 7, "there is no part or thing 'b'"),
        (PART + RELATION.replace('"b"', '"a"'), 4, "'a' cannot be screwed to itself"),
        (PART + PART.replace('"a"', '"b"') + RELATION.replace("M4", "big"), 11, "'big' is no screw size"),
        (PART + PART.replace('"a"', '"b"') + RELATION + 'through = ["c"]\n', 12, "there is no part or thing 'c'"),
        (PART + '[[bought]]\nid = "x"\nshape = "box"\n', 4, "a box needs 'size'"),
        (PART + '[[load]]\non = "a"\nforce = "20 N"\nat = [0, 0]\ndirection = [0, 0, 1]\n', 7, "load.0.at"),
        (PART + "[allowed]\nyield_share = 2\n", 5, "2 cannot be; it has to be at most 1"),
        (PART + "quantity = -2\n", 4, "-2 cannot be; it has to be at least 1"),
        (PART + "quantity = 2.5\n", 4, "2.5 is no whole number"),
        (PART + "quantity = true\n", 4, "true is no number"),
        (PART + 'finish = "anodize"\n', 4, "'anodize' is not known here; did you mean 'anodise'?"),
        (PART + 'units = "parsec"\n', 4, "'parsec' is no unit; it may be"),
        ('[[part]]\nid = "a b"\nfile = "a"\n', 2, "an id has letters, digits"),
        ('[[part]]\nid = "a"\nfile = ""\n', 3, "a: name its file"),
        ('[part]\nid = "a"\n', 1, "write [[part]], once for each"),
        (PART + '[[loads]]\non = "a"\n', 4, "there is no key 'loads' here; did you mean 'load'?"),
        (PART + '[order]\nneed_by = "soon"\n', 5, "'soon' is no day; write it as 2026-12-24"),
        (PART + '[[relation]]\nkind = "hold"\npart = "a"\n', 4, "no relation of kind 'hold'; did you mean 'holds'?"),
        (PART + '[[relation]]\npart = "a"\n', 4, "the key 'kind' is missing; it may be holes-meet"),
        (PART + '[[relation]]\nkind = "slides"\na = "a"\nb = "a"\npley = 1\n', 8, "did you mean 'play'?"),
        (PART + RELATION.replace('{ of = "b" }', '"b"'), 7, "write a table: { of = … }"),
        (PART + '[[place]]\nof = "a"\nturn_deg = [nan, 0, 0]\n', 6, "nan cannot be"),
        (PART + '[[load]]\non = "a"\nforce = "3 kg"\nat = [0, 0, 0]\ndirection = [0, 0, 1]\n', 6, "no force"),
        (PART + '[[load]]\non = "a"\nforce = 3\nat = [0, 0, 0]\ndirection = [0, 0, 0]\n', 8, "no length"),
        (PART + '[[supplier]]\nid = "s"\n[[supplier]]\nid = "s"\n', 7, "'s' is named twice"),
        ('part = [\n  { id = "a", file = "a.dxf" },\n  { id = "b", fil = "b.dxf" },\n]\n', 3, "did you mean 'file'?"),
        ('part = [\n{ id = "a", file = "a.dxf" }, # a\n\n{ id = "b" }]\n', 4, "part.1.file is missing"),
        (PART + "bends = [\n  { at = [1, 2] },\n  { at = [1,\n2], angle_deg = 200 },\n]\n", 7, "at most 180"),
        (
            PART + 'threads = [{ at = [1, 2], thread = "M4" },\n{ at = [1, 2] }]\n',
            5,
            "part.0.threads.1.thread is missing",
        ),
        (PART + 'checked_sha256 = """\n[x]\ny = 1"""\nquantity = -1\n', 7, "at least 1"),
        (PART + '[[rest]]\nof = "a"\nkind = "feet"\npoints = [\n[1, 2, 3],\n[1, 2]\n]\n', 9, "rest.0.points.1"),
        (PART + '[[relation]]\nkind = "slides"\na = "a"\nb = "b"\ntravel = [0, 0, 0]\n', 4, "a travel has a length"),
        (PART + '[[relation]]\nkind = "presses"\na = "a"\nb = "b"\ntravel = [0, 0, 1]\n', 4, "only what slides"),
        (PART + 2 * '[[price]]\npart = "a"\nquantity = 1\neach = 2\n', 8, "'a' has a price for 1 already"),
    ],
)
def test_errors_name_the_line(text: str, line: int, says: str) -> None:
    with pytest.raises(OrderError) as caught:
        parse_order(text, "order.toml")
    assert says in str(caught.value)
    assert f"order.toml, line {line}:" in str(caught.value)


def test_several_errors_are_told_at_once() -> None:
    with pytest.raises(OrderError) as caught:
        parse_order(PART + 'colour = "red"\nquantity = 0\n')
    assert len(str(caught.value).splitlines()) == 2


def test_broken_toml_and_other_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(OrderError, match="line 1"):
        parse_order("[[part]\n")
    with pytest.raises(OrderError, match="cannot be opened"):
        read_order(tmp_path / "nothing.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(OrderError, match="UTF-8"):
        read_order(tmp_path / "bytes.toml")


def test_the_demo_order_holds_by_the_published_schema(tmp_path: Path) -> None:
    write_demo(tmp_path)
    published = schema()
    jsonschema.Draft202012Validator.check_schema(published)
    text = (tmp_path / "good" / "order.toml").read_text("utf-8")
    data = tomllib.loads(text)
    # TOML has dates of its own; JSON writes them as text.
    data["order"] = {k: v.isoformat() if hasattr(v, "isoformat") else v for k, v in data["order"].items()}
    jsonschema.validate(data, published)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**data, "part": []}, published)


def test_lengths_forces_and_masses_may_have_units() -> None:
    text = sheet("a", "a.dxf", thickness="0.125 in") + table(
        "load", on="a", force="1 lbf", at=["1 in", 0, "-2 mm"], direction=[0, 0, 1]
    )
    order = parse_order(text + table("bought", id="b", shape="box", size=[1, 1, 1], mass="1 oz"))
    assert order.part[0].thickness == pytest.approx(3.175)
    assert order.load[0].force == pytest.approx(4.4482216)
    assert order.load[0].at == pytest.approx((25.4, 0, -2))
    assert order.bought[0].mass == pytest.approx(28.349523)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (RELATION.replace('"b"', '"c"') + 'through = ["a"]\n', "'a' is one of the two sides already"),
        ('[[relation]]\nkind = "holds"\npart = "a"\nthing = "a"\nplay = 1\n', "'a' cannot hold itself"),
        (
            '[[relation]]\nkind = "faces-meet"\na = { of = "a", at = [0, 0, 0] }\nb = { of = "x", at = [0, 0, 0] }\n',
            "'x'",
        ),
        (
            '[[relation]]\nkind = "stays-clear"\na = "a"\nb = "a"\n',
            "'a' cannot slide in, be pressed into or stay clear",
        ),
        ('[[rest]]\nof = "x"\nkind = "feet"\npoints = [[0, 0, 0]]\n', "there is no part or thing 'x'"),
    ],
)
def test_relations_that_cannot_be_are_refused(more: str, says: str) -> None:
    with pytest.raises(OrderError, match=says):
        parse_order(PART + PART.replace('"a"', '"c"') + more)


def test_a_gauge_is_the_thickness_of_its_material() -> None:
    text = PART + 'thickness = "16ga"\nmaterial = "stainless-304"\n'
    jsonschema.validate(tomllib.loads(text), schema())
    choices = choices_of(parse_order(text).part[0])
    assert choices.gauge == 16
    assert choices.thickness_mm == pytest.approx(0.0625 * 25.4, abs=0.0015)  # 15 USC 206: 40 oz a square foot


def test_a_bend_named_where_none_is_drawn_is_told(tmp_path: Path) -> None:
    text = sheet("a", "a.dxf", bends=[{"at": [30, 20], "angle_deg": 90, "direction": "up", "radius": 2}])
    order = load_here(write(tmp_path, text, a_dxf=plate([(30.0, 20.0, 5.0)])))
    with pytest.raises(CannotCheck, match="a bend is named at 30, 20, and no bend line is drawn there"):
        _ = order.part("a").shape
