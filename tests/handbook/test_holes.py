"""Clearance holes and countersinks against ISO 273, BS 4186, ASME B18.2.8, ASME B18.3, ISO 10642, DIN 7991."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lintsvc.handbook.clearance import ClearanceHoles, clearance_hole, clearance_tables, screw_size
from lintsvc.handbook.countersinks import Countersink, cone_depth_mm, countersink, countersinks

INCH = 25.4


@pytest.mark.parametrize(("screw", "hole"), [("M3", 3.4), ("M8", 9.0), ("M10", 11.0), ("M12", 13.5)])
def test_medium_holes_of_iso_273(screw: str, hole: float) -> None:
    found = clearance_hole(screw)
    assert found.value == hole
    assert "ISO 273" in found.source.text and found.source.kind == "standard"


def test_bs_4186_differs_at_m12_and_is_asked_for_by_name() -> None:
    # Machinery's Handbook, 31st ed., p. 2173, Table 8.
    assert clearance_hole("M12", table="bs-4186").value == 14.0


def test_quarter_inch_normal_hole_is_nine_thirty_seconds() -> None:
    # ASME B18.2.8, Machinery's Handbook, 31st ed., p. 1741: normal 9/32, loose 0.297 in at least.
    assert clearance_hole("1/4-20 UNC").value / INCH == pytest.approx(9 / 32, abs=0.001)
    assert clearance_hole("1/4", "loose").value / INCH == pytest.approx(0.297, abs=0.001)


@pytest.mark.parametrize("found", clearance_tables(), ids=lambda x: f"{x.screw} {x.table}")
def test_every_clearance_hole_is_wider_than_its_screw(found: ClearanceHoles) -> None:
    if found.screw.startswith("M"):
        size = float(found.screw[1:])
    elif found.screw.startswith("#"):
        # Number sizes: 0.060 + 0.013 N inch (ASME B1.1).
        size = (0.060 + 0.013 * int(found.screw[1:])) * INCH
    else:
        over, under = found.screw.split("/")
        size = int(over) / int(under) * INCH
    assert size < found.close.value < found.normal.value < found.loose.value < 1.4 * size


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("M6x1", "M6"),
        ("m2,5", "M2.5"),
        ("#10-32", "#10"),
        ("No. 8-32", "#8"),
        ("10-24", "#10"),
        ("1/4-20", "1/4"),
        ("6", "#6"),
    ],
)
def test_screw_size_is_read_from_a_thread(said: str, meant: str) -> None:
    assert screw_size(said) == meant


@given(st.text(max_size=12))
def test_any_text_gives_a_size_or_a_clear_error(text: str) -> None:
    try:
        assert screw_size(text)
    except ValueError as error:
        assert "is no screw size" in str(error)


def test_missing_clearance_hole_lists_what_is_there() -> None:
    with pytest.raises(ValueError, match=r"iso-273 has no clearance hole for 'M11'; it has M2, .*M16"):
        clearance_hole("M11")


def test_quarter_inch_flat_head_of_asme_b18_3() -> None:
    # ASME B18.3-2012, Machinery's Handbook, 31st ed., p. 1816: 1/4 in, 82°, A 0.531, H 0.161 = (A − D)/2/tan 41°.
    found = countersink("1/4")
    assert found.head == "asme-b18.3" and found.angle_deg == 82
    assert found.head_mm / INCH == pytest.approx(0.531, abs=1e-9)
    assert found.height_mm is not None and found.height_mm / INCH == pytest.approx(0.161, abs=1e-9)
    assert cone_depth_mm(0.531, 0.25, 82) == pytest.approx(0.161, abs=0.0015)


def test_m5_heads_of_iso_10642_and_din_7991_differ() -> None:
    assert countersink("M5").head_mm == pytest.approx(11.20)
    assert countersink("M5 DIN 7991").head_mm == pytest.approx(10.0)
    assert countersink("M5 ISO 7046").head == "iso-7721"


@pytest.mark.parametrize("found", countersinks(), ids=lambda x: f"{x.screw} {x.head}")
def test_head_height_is_the_height_of_its_cone(found: Countersink) -> None:
    assert found.head_mm > found.screw_mm
    if found.height_mm is not None:
        cone = cone_depth_mm(found.head_mm, found.screw_mm, found.angle_deg)
        # DIN 7991 states k with the short cylinder above the cone: 0.2 (M3) to 0.5 mm (M12) more.
        tolerance = 0.55 if found.head == "din-7991" else 0.05
        assert found.height_mm == pytest.approx(cone, abs=tolerance)


@given(st.sampled_from(countersinks()), st.floats(1.0, 40.0))
def test_flush_cone_is_shallower_in_a_wider_hole(found: Countersink, hole: float) -> None:
    depth = found.depth_in_hole_mm(hole)
    assert 0 <= depth <= found.head_mm / 2 / math.tan(math.radians(found.angle_deg) / 2)
    assert found.depth_in_hole_mm(hole + 0.1) <= depth


def test_missing_countersink_lists_what_is_there() -> None:
    with pytest.raises(ValueError, match=r"no countersunk head for 'M30' .* it has M3"):
        countersink("M30")
