"""Blocks are put in place with scale, turning and mirroring, and refused before they can flood memory."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from parts import flatfiles as made
from parts.reading import read_bytes, read_file

from lintsvc.model.part import Part, Unreadable
from lintsvc.model.sheet import Arc, Circle, Polyline


def read(folder: Path, entities: str, blocks: str = "", layers: str = "") -> Part:
    return read_bytes(folder, made.dxf(entities, blocks=blocks, layers=layers))


def test_circle_in_an_evenly_scaled_insert_stays_a_circle(tmp_path: Path) -> None:
    part = read(
        tmp_path,
        made.insert("HOLE", (10, 100), (20, 50), (41, 2), (42, 2), (43, 2), (50, 90)),
        made.block("HOLE", made.circle(3, 0, 2), base=(1, 0)),
    )
    shape = made.only(part)
    assert isinstance(shape, Circle)
    assert shape.centre == pytest.approx((100, 54))
    assert shape.radius_mm == pytest.approx(4)


def test_circle_in_a_mirrored_insert_stays_a_circle(tmp_path: Path) -> None:
    part = read(tmp_path, made.insert("HOLE", (41, -1)), made.block("HOLE", made.circle(3, 1, 2)))
    assert made.only(part) == Circle((-3, 1), 2)


def test_arc_in_a_mirrored_insert_keeps_its_ends(tmp_path: Path) -> None:
    arc = made.entity("ARC", (10, 0), (20, 0), (40, 5), (50, 0), (51, 90))
    shape = made.only(read(tmp_path, made.insert("A", (41, -1)), made.block("A", arc)))
    assert isinstance(shape, Arc)
    np.testing.assert_allclose(made.ends_of(shape), [(0, 5), (-5, 0)], atol=1e-12)


def test_circle_in_an_unevenly_scaled_insert_is_an_ellipse(tmp_path: Path) -> None:
    part = read(tmp_path, made.insert("HOLE", (41, 3)), made.block("HOLE", made.circle(0, 0, 2)))
    shape = made.only(part)
    assert isinstance(shape, Polyline)
    angle = np.linspace(0, math.tau, 2000)
    true = np.column_stack([6 * np.cos(angle), 2 * np.sin(angle)])
    assert made.furthest(true, [shape]) <= 0.005 + 1e-9


def test_array_repeats_the_block(tmp_path: Path) -> None:
    part = read(tmp_path, made.insert("H", (70, 3), (71, 2), (44, 10), (45, 20)), made.block("H", made.circle(0, 0, 1)))
    centres = {s.centre for e in made.drawn(part) for s in e.shapes if isinstance(s, Circle)}
    assert centres == {(x, y) for x in (0, 10, 20) for y in (0, 20)}


def test_layer_0_in_a_block_takes_the_layer_of_the_insert(tmp_path: Path) -> None:
    part = read(
        tmp_path,
        made.rectangle(50, 50) + made.insert("B", layer="BEND_UP"),
        made.block("B", made.line((0, 20), (50, 20)) + made.line((0, 30), (50, 30), layer="ETCH")),
    )
    assert [(x.layer, x.role) for x in made.drawn(part)[4:]] == [("BEND_UP", "bend"), ("ETCH", "engrave")]


def test_colour_by_block_is_that_of_the_insert(tmp_path: Path) -> None:
    part = read(
        tmp_path,
        made.insert("B", (62, 3)),
        made.block("B", made.line((0, 0), (9, 0), (62, 0)) + made.line((0, 1), (9, 1))),
        made.layer_row("0", (62, 5)),
    )
    assert [x.colour for x in made.drawn(part)] == [3, 3]


def test_missing_block_is_noticed(tmp_path: Path) -> None:
    part = read(tmp_path, made.rectangle(50, 50) + made.insert("NOWHERE"))
    assert "NOWHERE" in made.notes(part, "recovered")[0]


def test_block_in_another_file_is_noticed(tmp_path: Path) -> None:
    part = read(tmp_path, made.rectangle(50, 50) + made.insert("X"), made.block("X", "", flags=4))
    assert "another file" in made.notes(part, "recovered")[0]


@pytest.mark.parametrize(
    ("blocks", "word"),
    [
        (made.block("A", made.insert("A")), "contains itself"),
        (made.block("A", made.insert("B")) + made.block("B", made.insert("a")), "contains itself"),
        (
            made.block("A", made.insert("L0") * 2)
            + "".join(made.block(f"L{i}", made.insert(f"L{i + 1}") * 2) for i in range(30))
            + made.block("L30", made.circle(0, 0, 1)),
            "limit",
        ),
        (made.block("A", made.insert("E", (70, 30000), (71, 30000))) + made.block("E", ""), "limit"),
        ("".join(made.block("A" if not i else f"D{i}", made.insert(f"D{i + 1}")) for i in range(50)), "deep"),
    ],
    ids=["itself", "each other", "doubling", "empty array", "deep"],
)
def test_blocks_without_end_are_refused(tmp_path: Path, blocks: str, word: str) -> None:
    with pytest.raises(Unreadable, match=word):
        read(tmp_path, made.rectangle(50, 50) + made.insert("A"), blocks)


@given(
    seed=st.integers(0, 10_000),
    scale=st.sampled_from([(1, 1), (2, 2), (-1, 1), (1.5, -1.5), (0.5, 2)]),
    down=st.booleans(),
)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
def test_nested_inserts_lie_where_ezdxf_puts_them(
    tmp_path: Path, seed: int, scale: tuple[float, float], down: bool
) -> None:
    """ezdxf resolves the same file by its own way (`recursive_decompose`)."""
    import ezdxf
    from ezdxf.disassemble import recursive_decompose
    from ezdxf.path import make_path

    random = np.random.default_rng(seed)
    document = ezdxf.new("R2010")
    inner, outer = document.blocks.new("INNER", (1, 2)), document.blocks.new("OUTER", (3, -1))
    inner.add_line((0, 0), (7, 3))
    inner.add_circle((4, 4), 1.5)
    inner.add_arc((0, 0), 6, 10, 130)
    inner.add_lwpolyline([(0, 0, 0.4), (9, 1, 0), (8, 8, -0.7)], format="xyb", close=True)
    inner.add_ellipse((2, 2), (3, 1), 0.4, 0.3, 4)
    x, y, turn = random.uniform(-20, 20, 3)
    outer.add_blockref("INNER", (x, y), {"xscale": scale[0], "yscale": scale[1], "rotation": 9 * turn})
    away = {"extrusion": (0, 0, -1)} if down else {}
    document.modelspace().add_blockref("OUTER", (y, turn), {"rotation": 7 * x, "xscale": 2, "yscale": 2, **away})
    document.saveas(tmp_path / "nested.dxf")

    part = read_file(tmp_path / "nested.dxf", units="mm")
    assert len(made.drawn(part)) == 5
    mine = [s for e in made.drawn(part) for s in e.shapes]
    # Under uneven scale ezdxf takes polylines apart, so all curves are compared together.
    paths = [make_path(e).flattening(0.001) for e in recursive_decompose(document.modelspace())]
    theirs = [Polyline(tuple((p.x, p.y) for p in path)) for path in paths]
    assert made.furthest(np.concatenate([made.points_of(s) for s in theirs]), mine) < 0.01
    assert made.furthest(np.concatenate([made.points_of(s) for s in mine]), theirs) < 0.01
