"""Damaged and random DXF and SVG give a Part or Unreadable, and nothing else."""

from __future__ import annotations

import functools
import io
import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from parts import flatfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Unreadable

many = settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)

SPLINE = made.entity(
    "SPLINE", (71, 2), *((40, k) for k in (0, 0, 0, 1, 1, 1)), *((10 + c, v) for v in (0, 9, 4) for c in (0, 10))
)
DXF = made.dxf(
    made.rectangle(50, 50)
    + made.circle(20, 20, 5, (230, -1))
    + made.polyline([(0, 0, 0.5), (9, 0), (9, 9, -2)])
    + SPLINE
    + made.entity("ELLIPSE", (10, 1), (20, 2), (11, 5), (21, 1), (40, 0.3), (41, 0), (42, 5))
    + made.insert("B", (41, 2), (50, 30), (70, 2), (44, 30), layer="BEND_UP")
    + made.entity("TEXT", (10, 1), (20, 2), (40, 3), (1, "UP 90%%d R1")),
    blocks=made.block("B", made.line((0, 0), (1, 1)) + made.insert("C")) + made.block("C", made.circle(0, 0, 1)),
    layers=made.layer_row("BEND_UP", (62, 3), (6, "DASHED")),
)
SVG = made.svg(
    "<style>.b{stroke:#f00;fill:none}</style><defs><symbol id='s' viewBox='0 0 9 9'><circle r='3'/></symbol></defs>"
    "<g id='bend up' transform='rotate(30) scale(2 1)'>"
    "<path class='b' d='M0 0L9 0c1 2 3 4 5 6a3,3 0 01-6 2q1 1 2 2z'/></g>"
    "<use xlink:href='#s' x='5' width='20' height='20'/><rect x='1' y='2' width='30' height='20' rx='3'/>"
    "<polygon points='1,2 3,4 5,0'/><text x='3' y='4'>UP 90° R2</text><ellipse rx='4' ry='5'/>"
)

damage = st.lists(
    st.tuples(
        st.sampled_from(["put", "cut", "insert", "end", "repeat"]),
        st.floats(0, 1),
        st.one_of(
            st.binary(min_size=1, max_size=8),
            st.sampled_from(
                [b"1e308", b"-1", b"nan", b"0", b"99999999999", b"\n", b"\n0\nINSERT\n2\nB\n", b"<use/>", b"'"]
            ),
        ),
    ),
    min_size=1,
    max_size=4,
)


def damaged(data: bytes, steps: list[tuple[str, float, bytes]]) -> bytes:
    for kind, place, more in steps:
        at = int(place * len(data))
        if kind == "put":
            data = data[:at] + more + data[at + len(more) :]
        elif kind == "cut":
            data = data[:at] + data[at + 5 * len(more) :]
        elif kind == "insert":
            data = data[:at] + more + data[at:]
        elif kind == "end":
            data = data[:at]
        else:
            data = data[:at] + data[max(0, at - 60) :]
    return data


def check(folder: Path, data: bytes) -> None:
    try:
        part = read_bytes(folder, data)
    except Unreadable as error:
        assert error.why
        assert len(str(error)) < 1000
        return
    # Damage may turn a flat into another format's text; only flats are looked at here.
    if part.sheet is None:
        return
    assert [x.number for x in part.sheet.entities] == list(range(len(part.sheet.entities)))
    for entity in made.drawn(part):
        for shape in entity.shapes:
            assert all(math.isfinite(x) for point in made.points_of(shape, 4) for x in point)
    assert all(math.isfinite(x) and x >= 0 for x in part.size_mm)


@pytest.mark.parametrize("text", [DXF, SVG], ids=["dxf", "svg"])
@many
@given(steps=damage)
def test_damaged_file_is_read_or_refused(tmp_path: Path, text: str, steps: list[tuple[str, float, bytes]]) -> None:
    check(tmp_path, damaged(text.encode(), steps))


@many
@given(steps=damage)
def test_damaged_binary_dxf_is_read_or_refused(tmp_path: Path, steps: list[tuple[str, float, bytes]]) -> None:
    check(tmp_path, damaged(binary(), steps))


@functools.cache
def binary() -> bytes:
    """A binary DXF as ezdxf writes it."""
    import ezdxf

    document = ezdxf.new("R2000")
    document.modelspace().add_lwpolyline([(0, 0, 0.4), (9, 1, 0), (8, 8, 0)], format="xyb", close=True)
    document.modelspace().add_circle((3, 3), 1)
    stream = io.BytesIO()
    document.write(stream, fmt="bin")
    return stream.getvalue()


numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True, width=64),
    st.floats(-100, 100),
    st.sampled_from([0.0, 1e-300, 1e300, -1e9, 1.0]),
)


@many
@given(
    kind=st.sampled_from(
        ["LINE", "ARC", "CIRCLE", "ELLIPSE", "LWPOLYLINE", "SPLINE", "INSERT", "POLYLINE", "MTEXT", "HATCH"]
    ),
    pairs=st.lists(
        st.tuples(
            st.sampled_from([1, 8, 10, 20, 30, 11, 21, 31, 38, *range(40, 46), 50, 51, 62, *range(70, 75), 210, 230]),
            numbers,
        ),
        max_size=24,
    ),
)  # fmt: skip
def test_entities_of_any_numbers_are_read_or_refused(tmp_path: Path, kind: str, pairs: list[tuple[int, float]]) -> None:
    entity = made.entity(kind, *(((2, "B"),) if kind == "INSERT" else ()), *((c, repr(v)) for c, v in pairs))
    text = made.dxf(made.rectangle(9, 9) + entity, blocks=made.block("B", made.circle(0, 0, 1)))
    check(tmp_path, text.encode())


@many
@given(data=st.text(alphabet="MmLlHhVvCcSsQqTtAaZz0123456789 ,.-+e#\n", max_size=80))
def test_any_path_data_is_read_or_refused(tmp_path: Path, data: str) -> None:
    check(tmp_path, made.svg(f"<rect width='9' height='9'/><path d='{data}'/>").encode())


@many
@given(
    transform=st.lists(
        st.tuples(st.sampled_from(["matrix", "scale", "rotate", "translate", "skewX"]), st.lists(numbers, max_size=6)),
        max_size=4,
    )
)
def test_any_transform_is_read_or_refused(tmp_path: Path, transform: list[tuple[str, list[float]]]) -> None:
    text = " ".join(f"{name}({' '.join(map(repr, values))})" for name, values in transform)
    check(tmp_path, made.svg(f"<rect width='9' height='9'/><circle r='4' transform='{text}'/>").encode())
