"""The picture of a body shows the right faces at the right pixels; its PNG is read by another library."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from parts import reports
from PIL import Image

from lintsvc.model.body import Body
from lintsvc.model.finding import Finding, Where
from lintsvc.reports.colours import LEVEL, PART, rgb
from lintsvc.reports.picture import picture_svg
from lintsvc.reports.picture_body import body_svg
from lintsvc.reports.raster import NO_FACE, draw_faces, png

NS = "{http://www.w3.org/2000/svg}"


def body() -> Body:
    found = reports.housing_part().body
    assert found is not None
    return found


def pixels(svg: str) -> NDArray[np.uint8]:
    """Outside check: pillow reads the PNG."""
    data = re.search(r"base64,([^\"]+)", svg)
    assert data is not None
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(data[1]))))


def hue_like(image: NDArray[np.uint8], colour: str) -> NDArray[np.bool_]:
    """Pixels whose colour points the same way as `colour`, however light or dark."""
    wanted = np.asarray(rgb(colour), float)
    seen = image[..., :3].astype(float)
    cosine = seen @ wanted / np.maximum(np.linalg.norm(seen, axis=2) * np.linalg.norm(wanted), 1e-9)
    found: NDArray[np.bool_] = (cosine > 0.999) & (image[..., 3] > 250)
    return found


def on_faces(*faces: int) -> Finding:
    return reports.thin_wall(where=Where((25.0, 20.0, 6.0), ((5.0, 5.0, 0.0), (45.0, 35.0, 12.0)), faces=faces))


@given(arrays(np.uint8, st.tuples(st.integers(1, 9), st.integers(1, 9), st.just(4))))
def test_png_is_read_back_as_it_was(image: NDArray[np.uint8]) -> None:
    read = Image.open(io.BytesIO(png(image)))
    assert read.mode == "RGBA"
    np.testing.assert_array_equal(np.asarray(read), image)


def test_nearer_face_hides_the_one_behind() -> None:
    square = np.array([[[0, 0, 0], [8, 0, 0], [0, 8, 0]], [[8, 8, 0], [0, 8, 0], [8, 0, 0]]], float)
    near = square * (0.5, 0.5, 1.0) + (0.0, 0.0, 5.0)
    corners = np.concatenate([square, near])
    seen, depth = np.full((8, 8), NO_FACE, np.int32), np.full((8, 8), -np.inf)
    draw_faces(corners, seen, depth, np.inf)
    assert set(seen[:4, :4].ravel()) <= {2, 3}
    assert set(seen[4:, :].ravel()) <= {0, 1}
    assert (depth[:4, :4] == 5.0).all()


def test_area_of_pixels_is_the_area_of_the_triangle() -> None:
    triangle = np.array([[[10.0, 10.0, 0.0], [90.0, 20.0, 0.0], [30.0, 81.0, 0.0]]])
    seen, depth = np.full((100, 100), NO_FACE, np.int32), np.full((100, 100), -np.inf)
    draw_faces(triangle, seen, depth, np.inf)
    # Half the cross product of two sides: |80·71 − 20·10| / 2 = 2740. No edge runs through pixel centres.
    assert (seen == 0).sum() == pytest.approx(2740, rel=0.005)


@given(st.lists(st.floats(-40.0, 90.0), min_size=6, max_size=6))
@example([0.0, 0.0, 50.0, 0.0, 0.0, 30.0])  # sides along the axes
@example([-30.0, 5.2, 80.0, 5.4, 81.0, 5.9])  # a needle, lower than a pixel
@example([0.0, 0.5, 40.0, 0.5, 0.0, 0.5 + 1e-16])  # no area
@example([35.0, 5e-324, 20.0, 0.0, 3.0, 1e-323])  # less area than a number can be divided by
@example([0.0, 0.0, 1e-160, 0.0, 30.0, 1e-160])
def test_every_pixel_whose_middle_lies_in_a_triangle_is_drawn(numbers: list[float]) -> None:
    corners = np.array([[*numbers[i : i + 2], 0.0] for i in (0, 2, 4)])
    seen, depth = np.full((30, 50), NO_FACE, np.int32), np.full((30, 50), -np.inf)
    draw_faces(corners[None], seen, depth, np.inf)
    rows, columns = np.indices(seen.shape) + 0.5
    (x0, y0), (x1, y1), (x2, y2) = corners[:, :2]
    area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
    if abs(area) < 1e-3:
        return
    b = ((columns - x0) * (y2 - y0) - (x2 - x0) * (rows - y0)) / area
    c = ((x1 - x0) * (rows - y0) - (columns - x0) * (y1 - y0)) / area
    share = np.minimum(np.minimum(b, c), 1.0 - b - c)
    assert (seen[share > 1e-6] == 0).all()
    assert (seen[share < -2e-6] == NO_FACE).all()


@pytest.mark.parametrize("pair", [(0, 1), (2, 3), (4, 5), (6, 7), (8, 9), (10, 11)])
def test_faulty_side_is_seen_whichever_it_is(pair: tuple[int, int]) -> None:
    image = pixels(body_svg(body(), [on_faces(*pair)]))
    assert hue_like(image, LEVEL["error"]).mean() > 0.02
    assert hue_like(image, PART).mean() > 0.05


def test_sound_body_has_no_faulty_colour() -> None:
    image = pixels(body_svg(body(), []))
    assert not hue_like(image, LEVEL["error"]).any()
    assert hue_like(image, PART).mean() > 0.15


def test_ring_lies_where_the_finding_is() -> None:
    svg = body_svg(body(), [on_faces(2, 3)])
    ring = next(ET.fromstring(svg).iter(f"{NS}circle"))
    # The middle of a block is drawn in the middle of the picture.
    assert (float(ring.get("cx", "")), float(ring.get("cy", ""))) == (360.0, 240.0)


def test_ring_of_what_lies_behind_is_dashed() -> None:
    def at(point: tuple[float, float, float]) -> Finding:
        return reports.thin_wall(where=Where(point, (point, point)))

    # No faces lit: seen from the front, the right and above.
    svg = body_svg(body(), [at((45.0, 20.0, 6.0)), at((5.0, 20.0, 6.0))])
    rings = [x.get("stroke-dasharray") for x in ET.fromstring(svg).iter(f"{NS}circle") if x.get("stroke-width") == "2"]
    assert rings == [None, "4 3"]


def test_flat_body_and_needle_give_a_picture() -> None:
    for size in ((10.0, 10.0, 0.0), (10.0, 0.0, 0.0), (0.0, 0.0, 0.0)):
        squashed = replace(body(), vertices=(body().vertices - (5.0, 5.0, 0.0)) / (40.0, 30.0, 12.0) * size)
        assert pixels(body_svg(squashed, [on_faces(0)])).shape == (480, 720, 4)


def test_sheet_part_gets_its_flat_and_a_part_without_geometry_gets_none() -> None:
    flat = picture_svg(reports.bracket_part(), [reports.small_hole()])
    assert flat is not None
    assert 'id="highlights"' in flat
    assert picture_svg(replace(reports.housing_part(), body=None), []) is None
