"""Damaged bytes give a Part or Unreadable, and nothing else."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from parts import meshfiles as made
from parts.reading import read_bytes

from lintsvc.model.part import Unreadable

VERTICES, FACES = made.box()
MODEL = made.model_xml(
    f'<object id="1">{made.mesh_xml(VERTICES, FACES)}</object>'
    '<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/></components></object>',
    '<item objectid="2"/>',
)
FILES = {
    "binary stl": made.binary_stl(VERTICES, FACES),
    "ascii stl": made.ascii_stl(VERTICES, FACES).encode(),
    "obj": made.obj(VERTICES, [*made.QUADS, *FACES.tolist()], name="part").encode(),
    "ascii ply": made.ply(VERTICES, [*made.QUADS, *FACES.tolist()]),
    "binary ply": made.ply(VERTICES, [*made.QUADS, *FACES.tolist()], form="binary_big_endian"),
    "3mf": made.threemf(MODEL),
    "glb": made.glb(*made.gltf_root(VERTICES, FACES)),
    "gltf": made.gltf(*made.gltf_root(VERTICES, FACES)),
}

damage = st.lists(
    st.tuples(
        st.sampled_from(["flip", "cut", "insert", "double", "swap"]),
        st.floats(0, 1),
        st.binary(min_size=1, max_size=8),
    ),
    min_size=1,
    max_size=4,
)


def damaged(data: bytes, steps: list[tuple[str, float, bytes]]) -> bytes:
    for kind, place, more in steps:
        at = int(place * len(data))
        if kind == "flip":
            data = data[:at] + more + data[at + len(more) :]
        elif kind == "cut":
            data = data[:at] + data[at + 7 * len(more) :]
        elif kind == "insert":
            data = data[:at] + more + data[at:]
        elif kind == "double":
            data = data[:at] + data[max(0, at - 40) :]
        else:
            data = data[at:] + data[:at] if len(more) == 8 else data[:at]
    return data


def check(folder: Path, data: bytes) -> None:
    try:
        part = read_bytes(folder, data)
    except Unreadable as error:
        assert error.why
        return
    body = part.body
    assert body is not None
    assert np.isfinite(body.vertices).all()
    assert body.faces.dtype == np.int32
    assert body.faces.min() >= 0
    assert body.faces.max() < len(body.vertices)
    assert all(math.isfinite(x) for x in part.size_mm)
    assert 0 < max(part.size_mm) <= 1e6


@pytest.mark.parametrize("name", FILES)
@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(steps=damage)
def test_damaged_file_is_read_or_refused(tmp_path: Path, name: str, steps: list[tuple[str, float, bytes]]) -> None:
    check(tmp_path, damaged(FILES[name], steps))


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(steps=damage)
def test_damaged_model_in_a_sound_package(tmp_path: Path, steps: list[tuple[str, float, bytes]]) -> None:
    # Damage to the package itself is mostly caught by its sums; this gets past them.
    check(tmp_path, made.threemf(damaged(MODEL.encode(), steps)))


@settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(
    head=st.sampled_from(
        [b"", b"solid x\n", b"ply\nformat ascii 1.0\n", b"glTF\x02\0\0\0", b"PK\x03\x04", b"v 1 2 3\n", b"{"]
    ),
    rest=st.binary(max_size=400),
)
def test_noise_behind_a_true_beginning(tmp_path: Path, head: bytes, rest: bytes) -> None:
    check(tmp_path, head + rest)
