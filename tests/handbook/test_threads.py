"""Threads against ISO 724, ASME B1.1 (through a package) and the tap-drill tables of published handbooks."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from screw_thread_lib.data.ASME import ASME_M_6g6H_dict, ASME_UN_2A2B_dict

from lintsvc.handbook.threads import Thread, thread, threads

INCH = 25.4


@pytest.mark.parametrize("found", threads(), ids=lambda x: x.name)
def test_every_thread_is_sound(found: Thread) -> None:
    assert found.source.text and found.tap_drill.source.text
    # A tap drill leaves 60 to 85 % of the handbook's full thread; far from it, a row is mistyped.
    assert 65 < found.percent_of_thread(found.tap_drill.value) < 90
    assert found.minor_least.value == pytest.approx(found.minor_mm, abs=0.02)
    if found.minor_most is not None and found.minor_most.source.kind != "memory":
        assert found.minor_least.value < found.tap_drill.value < found.minor_most.value
    assert thread(found.name) is found


@pytest.mark.parametrize(
    ("name", "minor"),
    # Minor diameters read in a tool catalogue's reprint of UNI 4535-64 (the values of ISO 724).
    [
        *(("M2", 1.567), ("M2.5", 2.013), ("M3", 2.459), ("M4", 3.242), ("M5", 4.134)),
        *(("M6", 4.917), ("M8", 6.647), ("M10", 8.376), ("M12", 10.106)),
    ],
)
def test_basic_minor_diameter_is_that_of_iso_724(name: str, minor: float) -> None:
    assert thread(name).minor_mm == pytest.approx(minor, abs=0.001)


@pytest.mark.parametrize(
    ("name", "drill"),
    # Mechanical Engineer's Data Handbook, p. 299.
    [("M3", 2.5), ("M4", 3.3), ("M5", 4.2), ("M6", 5.0), ("M8", 6.8), ("M10", 8.5), ("M12", 10.2)],
)
def test_metric_tap_drill(name: str, drill: float) -> None:
    found = thread(name).tap_drill
    assert found.value == drill and found.source.kind == "handbook"


def test_quarter_twenty_with_a_number_7_drill() -> None:
    # ASME B1.1-2019: D1 0.196 to 0.207 in, #7 = 0.201 in. The tables' basis (1.299 P) gives 75.4 %,
    # the formula beside them (1.0825 P) 90.5 %: both are published, so each is asked for by name.
    found = thread("1/4-20")
    assert found.tap_drill.value / INCH == pytest.approx(0.201, abs=1e-9)
    assert found.minor_least.value / INCH == pytest.approx(0.196, abs=1e-9)
    assert found.minor_most is not None and found.minor_most.value / INCH == pytest.approx(0.207, abs=1e-9)
    assert found.percent_of_thread(0.201 * INCH) == pytest.approx(75.4, abs=0.1)
    assert found.percent_of_thread(0.201 * INCH, "formula") == pytest.approx(90.5, abs=0.1)


def test_2_56_with_a_number_50_drill_is_69_percent() -> None:
    # Machinery's Handbook, 31st ed., p. 2155, Table 2.
    assert thread("#2-56").percent_of_thread(0.0700 * INCH) == pytest.approx(69, abs=0.8)


@pytest.mark.parametrize("name", sorted(ASME_UN_2A2B_dict))
def test_unified_thread_agrees_with_asme_b1_1_in_a_package(name: str) -> None:
    row = ASME_UN_2A2B_dict[name]
    plain = "#" + name if name.startswith("10-") else name
    if plain not in {x.name for x in threads()}:
        with pytest.raises(ValueError, match="there is no thread"):
            thread(plain)
        return
    found = thread(plain)
    assert found.diameter_mm / INCH == pytest.approx(row["dbsc"], abs=1e-9)
    assert found.pitch_diameter_mm / INCH == pytest.approx(row["D2min"], abs=0.0001)
    assert found.minor_least.value / INCH == pytest.approx(row["D1min"], abs=1e-9)
    assert found.minor_most is not None and found.minor_most.value / INCH == pytest.approx(row["D1max"], abs=1e-9)


@pytest.mark.parametrize("name", ["M8-1.25", "M12-1.75"])
def test_metric_thread_agrees_with_asme_b1_13_in_a_package(name: str) -> None:
    row = ASME_M_6g6H_dict[name]
    found = thread(name)
    assert found.pitch_diameter_mm == pytest.approx(row["D2min"] * INCH, abs=0.001)
    assert found.minor_mm == pytest.approx(row["D1min"] * INCH, abs=0.001)
    assert found.minor_most is not None and found.minor_most.value == pytest.approx(row["D1max"] * INCH, abs=0.001)


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        *(("M6", "M6x1"), ("m6x1.0", "M6x1"), ("M6 × 1 - 6H", "M6x1"), ("M6x0.75", "M6x0.75")),
        *(("M5 tapped", "M5x0.8"), ("M2,5", "M2.5x0.45"), ("M8*1", "M8x1"), ("M4-0.7", "M4x0.7")),
        *(('1/4"-20', "1/4-20"), ("1/4-20UNC-2B", "1/4-20"), ("1/4 - 28 UNF", "1/4-28")),
        *(("#10-32", "#10-32"), ("10-32 UNF", "#10-32"), ("No.10-24", "#10-24")),
    ],
)
def test_thread_is_known_however_it_is_written(said: str, meant: str) -> None:
    assert thread(said).name == meant


@pytest.mark.parametrize("name", ["M7.3", "M6x0.9", "1/4-19", "#10-33", "", "bolt", "M", "-", "1/4-20-20"])
def test_unknown_thread_names_some_that_are_known(name: str) -> None:
    with pytest.raises(ValueError, match=r"the handbook; it has .*[0-9]"):
        thread(name)


def test_unknown_pitch_names_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r"it has M6x1, M6x0\.75$"):
        thread("M6x0.9")


@given(st.text(max_size=20))
def test_any_text_gives_a_thread_or_a_clear_error(text: str) -> None:
    try:
        assert thread(text) in threads()
    except ValueError as error:
        assert "there is no thread" in str(error)


@given(st.sampled_from(threads()), st.floats(1.0, 100.0), st.sampled_from(["table", "formula"]))
def test_percent_and_hole_are_inverse(found: Thread, percent: float, basis) -> None:  # type: ignore[no-untyped-def]
    assert found.percent_of_thread(found.hole_for_percent(percent, basis), basis) == pytest.approx(percent)


@given(st.sampled_from(threads()))
def test_stress_area_lies_between_core_and_pitch_circle(found: Thread) -> None:
    core = math.pi / 4 * found.minor_mm**2
    pitch = math.pi / 4 * found.pitch_diameter_mm**2
    assert core < found.stress_area_mm2.value < pitch
