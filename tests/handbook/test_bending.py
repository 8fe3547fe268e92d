"""Bending arithmetic against worked examples of published handbooks, and its own properties."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lintsvc.handbook import bending
from lintsvc.handbook.bending import BendIn
from lintsvc.handbook.materials import materials

INCH = 25.4
angles = st.floats(0.5, 180.0)
sizes = st.floats(0.1, 20.0)
ks = st.floats(0.05, 0.5)


def test_machinerys_handbook_bracket_is_5_545_inches_long() -> None:
    # Machinery's Handbook, 31st ed., p. 1421, eq. 33 and Fig. 13: soft steel, T = 0.125 in, a bend of 180°
    # at R = 0.375 and one of 60° at R = 0.625, straight 3.5 in; L1 = 1.338, L2 = 0.707, total 5.545 in.
    t = 0.125 * INCH
    k = bending.k_factor("steel-mild", 0.375 * INCH, t)
    assert k.source.kind == "handbook" and "eq. 33" in k.source.text
    first = bending.bend_allowance(180, 0.375 * INCH, t, k.value) / INCH
    second = bending.bend_allowance(60, 0.625 * INCH, t, k.value) / INCH
    assert first == pytest.approx(1.338, abs=0.001)
    assert second == pytest.approx(0.707, abs=0.001)
    assert first + second + 3.5 == pytest.approx(5.545, abs=0.001)


def test_faa_channel_has_flats_of_80_160_80_hundredths() -> None:
    # FAA-H-8083-31, ch. 4, bending a U-channel: 0.040 in 2024-T3, R = 0.16, outside legs 1.00, 2.00, 1.00;
    # setback 0.20, flats 0.80, 1.60, 0.80 in.
    t, r = 0.040 * INCH, 0.16 * INCH
    bends = [BendIn(90, r, 0.4469), BendIn(90, r, 0.4469)]
    assert bending.outside_setback(90, r, t) / INCH == pytest.approx(0.20, abs=1e-9)
    flats = bending.straight_lengths([INCH, 2 * INCH, INCH], bends, t)
    assert [x / INCH for x in flats] == pytest.approx([0.80, 1.60, 0.80], abs=0.001)


def test_faa_formula_agrees_with_its_own_k() -> None:
    # FAA AC 43.13-1B: (0.01743 R + 0.0078 T) a degree; K = 0.0078 · 180/pi = 0.447.
    t, r = 0.040, 0.16
    assert bending.faa_allowance(90, r, t).value == pytest.approx(0.2791, abs=0.0001)
    assert bending.bend_allowance(90, r, t, 0.0078 * 180 / math.pi) == pytest.approx(0.2791, abs=0.001)


def test_plain_formula_by_hand() -> None:
    # t = 2, R = 2, K = 0.44, 90°, legs 50 + 30 outside: BA 4.524, OSSB 4.000, BD 3.476, flat 76.524 (computed).
    assert bending.bend_allowance(90, 2, 2, 0.44) == pytest.approx(4.524, abs=0.001)
    assert bending.outside_setback(90, 2, 2) == pytest.approx(4.0, abs=1e-12)
    assert bending.bend_deduction(90, 2, 2, 0.44) == pytest.approx(3.476, abs=0.001)
    assert bending.flat_length([50, 30], [BendIn(90, 2, 0.44)], 2) == pytest.approx(76.524, abs=0.001)


@pytest.mark.parametrize(
    ("material", "t_in", "ratio"),
    [
        # Aluminum Design Manual (2005), p. VII-78, Table 3-1, and the Aluminum Association table of cold bends.
        ("aluminium-5052-h32", 1 / 32, 0.0),
        ("aluminium-5052-h32", 1 / 16, 1.0),
        ("aluminium-5052-h32", 1 / 8, 1.5),
        ("aluminium-6061-t6", 1 / 16, 1.5),
        ("aluminium-6061-t6", 1 / 8, 2.5),
        ("aluminium-6061-t6", 1 / 4, 3.5),
        ("aluminium-3003-h14", 1 / 16, 0.0),
        ("aluminium-3003-h14", 1 / 8, 1.0),
    ],
)
def test_least_bend_radius_of_the_aluminum_association(material: str, t_in: float, ratio: float) -> None:
    found = bending.least_bend_radius(material, t_in * INCH)
    assert found.value == pytest.approx(ratio * t_in * INCH, abs=1e-12)
    assert found.source.kind == "handbook"


def test_6061_t6_at_an_eighth_needs_five_sixteenths() -> None:
    # Aluminum Association: 6061-T6, 1/8 in, 2.5 t = 0.3125 in.
    assert bending.least_bend_radius("aluminium-6061-t6", 3.175).value / INCH == pytest.approx(0.3125)


def test_thickness_between_columns_counts_to_the_thicker() -> None:
    assert bending.least_bend_radius("aluminium-5052-h32", 2.5).value == pytest.approx(1.5 * 2.5)
    # A sheet sold as 1/16 in is 1.6 mm in metric stock.
    assert bending.least_bend_radius("aluminium-5052-h32", 1.6).value == pytest.approx(1.6)


def test_radii_of_other_metals_are_common_practice() -> None:
    assert bending.least_bend_radius("steel-mild", 2.0, family="steel").source.kind == "common-practice"
    assert bending.least_bend_radius("stainless-304", 2.0).value > 0


@pytest.mark.parametrize("id", ["acrylic", "unobtainium"])
def test_no_radius_is_made_up_for_what_the_table_lacks(id: str) -> None:
    with pytest.raises(ValueError, match="no least bend radius is known"):
        bending.least_bend_radius(id, 2.0)


def test_too_thick_for_the_table_says_so() -> None:
    with pytest.raises(ValueError, match="at 20 mm"):
        bending.least_bend_radius("aluminium-5052-h32", 20.0)


@pytest.mark.parametrize("found", [x for x in materials() if x.bendable], ids=lambda x: x.id)
def test_every_bendable_material_has_a_k_and_a_radius(found) -> None:  # type: ignore[no-untyped-def]
    k = bending.k_factor(found.id, 2.0, 2.0, family=found.family)
    assert 0.3 < k.value <= 0.5
    assert k.source.kind in ("handbook", "common-practice")
    assert bending.least_bend_radius(found.id, 2.0, family=found.family).value >= 0


def test_shop_k_wins_and_is_named() -> None:
    found = bending.k_factor("steel-mild", 2.0, 2.0, 0.38)
    assert (found.value, found.source.kind) == (0.38, "shop")


@pytest.mark.parametrize("k", [0.0, 1.0, -0.3, 7.0])
def test_silly_k_is_refused(k: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        bending.k_factor("steel-mild", 2.0, 2.0, k)


def test_unknown_metal_falls_back_to_a_recalled_formula_that_says_so() -> None:
    found = bending.k_factor("titanium", 2.0, 2.0)
    assert found.source.kind == "memory"


def test_v_die_leg_is_0_707_of_the_opening() -> None:
    # Geometry of a 90° leg on the die's shoulder: V/2 / cos 45°.
    assert bending.shortest_flange(16.0).value == pytest.approx(0.7071 * 16, abs=0.001)


@given(angles, sizes, sizes, ks)
def test_allowance_grows_with_angle_radius_thickness_and_k(angle: float, radius: float, t: float, k: float) -> None:
    length = bending.bend_allowance(angle, radius, t, k)
    assert math.radians(angle) * radius < length < math.radians(angle) * (radius + t)
    assert bending.bend_allowance(angle, radius * 1.1, t, k) > length
    assert bending.bend_allowance(angle, radius, t * 1.1, k) > length


@given(st.floats(0.5, 90.0), sizes, sizes, ks)
def test_outside_way_round_a_bend_is_never_shorter(angle: float, radius: float, t: float, k: float) -> None:
    assert bending.bend_deduction(angle, radius, t, k) >= -1e-9


@given(angles, sizes, sizes, ks, st.floats(0.0, 100.0))
def test_two_half_bends_are_one(angle: float, radius: float, t: float, k: float, size: float) -> None:
    whole = bending.bend_allowance(angle, radius, t, k)
    assert 2 * bending.bend_allowance(angle / 2, radius, t, k) == pytest.approx(whole)


bend = st.builds(BendIn, angles, sizes, ks)


@given(st.lists(st.tuples(st.floats(1.0, 200.0), bend), min_size=1, max_size=5), st.floats(1.0, 200.0), sizes)
def test_flat_to_finished_and_back(pieces: list[tuple[float, BendIn]], last: float, t: float) -> None:
    bends = [x for _, x in pieces]
    between = [size for size, _ in pieces] + [last]
    outside = bending.outside_sizes(between, bends, t)
    assert bending.flat_length(outside, bends, t) == pytest.approx(sum(between), abs=1e-6)
    # The straight pieces and the allowances make up the flat, too.
    allowances = sum(bending.bend_allowance(x.angle_deg, x.radius_mm, t, x.k) for x in bends)
    assert sum(bending.straight_lengths(outside, bends, t)) + allowances == pytest.approx(sum(between), abs=1e-6)


def test_counts_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="2 bends part a strip into 3 lengths, not 2"):
        bending.flat_length([10, 10], [BendIn(90, 1, 0.4)] * 2, 1)


@pytest.mark.parametrize("angle", [-1.0, 181.0])
def test_setback_of_an_impossible_angle_is_refused(angle: float) -> None:
    with pytest.raises(ValueError, match="0 to 180"):
        bending.outside_setback(angle, 1, 1)


def test_hem_is_measured_to_its_outermost_point() -> None:
    assert bending.outside_setback(180, 1.0, 2.0) == pytest.approx(3.0)
