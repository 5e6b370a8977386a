"""Gas in a damper: limits, what is refused, and what must hold for every gas law."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

import dampcell.functions.cells  # noqa: F401 - importing declares the functions
from dampcell.functions.errors import InputError, ValidityError
from dampcell.functions.fills import bore_area
from dampcell.functions.gases import (
    ATMOSPHERE,
    Reserve,
    aerated_modulus,
    air_effect,
    gap_spring,
    reserve_margin,
    reserve_pressure,
    trapped_air,
)
from dampcell.functions.registry import CellError, evaluate, lookup

exponents = st.floats(1.0, 1.4)
pressures = st.floats(0.0, 200.0)


def sentence(name: str, *arguments: object) -> str:
    found = evaluate(name, arguments).value
    assert isinstance(found, CellError)
    return found.message


# --- trapped air ---------------------------------------------------------------------------------


def test_without_a_force_the_rod_volume_is_the_air() -> None:
    assert trapped_air(rod_diameter=10.0, free_stroke=20.0) == pytest.approx(bore_area(10.0) * 20.0 / 1000.0)


@given(st.floats(8.0, 16.0), st.floats(1.0, 40.0), st.floats(20.0, 2000.0), exponents)
def test_a_force_that_leaves_some_air_means_more_air(
    rod: float, stroke: float, force: float, exponent: float
) -> None:
    with_force = trapped_air(rod_diameter=rod, free_stroke=stroke, hand_force=force, exponent=exponent)
    assert with_force > trapped_air(rod_diameter=rod, free_stroke=stroke)


@given(st.floats(8.0, 16.0), st.floats(1.0, 40.0), st.floats(20.0, 2000.0), exponents)
def test_lost_stroke_of_the_trapped_air_is_the_free_stroke_it_came_from(
    rod: float, stroke: float, force: float, exponent: float
) -> None:
    air = trapped_air(rod_diameter=rod, free_stroke=stroke, hand_force=force, exponent=exponent)
    pressure = 10.0 * force / bore_area(rod)  # N/mm² to bar
    effect = air_effect(air, 100.0, rod, gauge_pressure=pressure, exponent=exponent)
    assert effect.lost_stroke == pytest.approx(stroke)


def test_a_shortfall_is_the_air() -> None:
    assert trapped_air(oil_shortfall=4.5) == 4.5
    assert evaluate("TRAPPED_AIR", [None, None, "4.5 cc"]).value == 4.5


def test_without_a_force_the_cell_says_that_it_is_a_lower_bound() -> None:
    assert evaluate("TRAPPED_AIR", [20, 10]).notes == ("a lower bound, as the force was not given",)
    assert evaluate("TRAPPED_AIR", [20, 10, None, 150]).notes == ()
    assert evaluate("TRAPPED_AIR", ["0 mm", 10]).value == 0.0


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ([], "free stroke or oil shortfall: neither is given; allowed: exactly one of the two."),
        ([20, 10, 4], "free stroke or oil shortfall: both are given; allowed: exactly one of the two."),
        ([20], "rod_diameter: is needed together with the free stroke; allowed: above 0 mm."),
        ([-20, 10], "free_stroke: must not be negative"),
        ([20, -10], "rod_diameter: must be greater than 0"),
        ([None, None, -4], "oil_shortfall: must not be negative"),
        ([20, 10, None, -5], "hand_force: must be greater than 0"),
        (
            [20, 10, None, 50, 1.5],
            "exponent: is outside the range of the formula (found 1.5); allowed: 1 to 1.4.",
        ),
    ],
)
def test_signs_of_air_that_cannot_be_are_refused(arguments: list[object], expected: str) -> None:
    assert sentence("TRAPPED_AIR", *arguments).startswith(expected)


# --- aerated oil ---------------------------------------------------------------------------------


@given(pressures, st.floats(1e-6, 0.3), exponents)
def test_air_makes_oil_softer_and_pressure_brings_it_back(
    pressure: float, air: float, exponent: float
) -> None:
    soft = aerated_modulus(pressure, air, 1700.0, exponent=exponent)
    assert 0.0 < soft < 1700.0
    assert aerated_modulus(pressure + 10.0, air, 1700.0, exponent=exponent) > soft
    assert aerated_modulus(pressure, 2.0 * air, 1700.0, exponent=exponent) < soft


@given(pressures, st.floats(0.0, 0.3), exponents)
def test_the_modulus_is_the_slope_of_volume_against_pressure(
    pressure: float, air: float, exponent: float
) -> None:
    """Independent check: E = −V dp/dV by differences of V = exp(−p/E_l) + a (p_a/p)^(1/n), in MPa.

    The oil's own volume follows its modulus exactly here; the formula takes it as 1, so the two
    agree within p/E_l, below 1.2 % up to 200 bar.
    """
    oil = 1700.0

    def volume(absolute: float) -> float:
        return math.exp(-absolute / oil) + air * math.pow(0.101325 / absolute, 1.0 / exponent)

    absolute = (pressure + ATMOSPHERE) / 10.0
    step = 1e-4 * absolute
    slope = (volume(absolute + step) - volume(absolute - step)) / (2.0 * step)
    expected = -volume(absolute) / slope
    assert aerated_modulus(pressure, air, oil, exponent=exponent) == pytest.approx(expected, rel=0.013)


def test_without_air_nothing_is_lost() -> None:
    effect = air_effect(0.0, 100.0, 10.0, gauge_pressure=50.0)
    assert effect.lost_stroke == 0.0
    assert effect.modulus_ratio == 1.0


@given(st.floats(0.1, 10.0), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_a_precharge_takes_away_lost_stroke(air: float, precharge: float, more: float) -> None:
    pressure = precharge + more
    charged = air_effect(air, 100.0, 10.0, gauge_pressure=pressure, precharge=precharge)
    assert 0.0 <= charged.lost_stroke <= air_effect(air, 100.0, 10.0, gauge_pressure=pressure).lost_stroke


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ([-1, 100, 10, 20], "trapped_air: must not be negative"),
        ([1, -100, 10, 20], "oil_volume: must be greater than 0"),
        ([1, 100, -10, 20], "rod_diameter: must be greater than 0"),
        ([1, 100, 10, -2], "gauge_pressure: must not be negative"),
        ([1, 100, 10, 20, -1], "precharge: must not be negative"),
        (
            [1, 100, 10, 2, 5],
            "gauge_pressure: is below the precharge, which acts from the start (found 2); allowed: 5 bar",
        ),
        ([1, 100, 10, 20, 0, 0.9], "exponent: is outside the range of the formula"),
        ([1, 100, 10, 20, 0, 1, -5], "bulk_modulus: must be greater than 0"),
        ([1, 100, 10, "20 bara"], "gauge_pressure: gauge and absolute pressure are two arguments"),
    ],
)
def test_an_effect_of_air_that_cannot_be_is_refused(arguments: list[object], expected: str) -> None:
    assert sentence("AIR_EFFECT", *arguments).startswith(expected)


def test_an_air_ratio_below_zero_is_refused() -> None:
    with pytest.raises(InputError, match="trapped_air: must not be negative"):
        aerated_modulus(20.0, -0.1)


# --- reserve -------------------------------------------------------------------------------------

reserves = st.builds(
    Reserve,
    volume=st.floats(60.0, 200.0),
    rod_diameter=st.floats(8.0, 16.0),
    stroke=st.floats(20.0, 150.0),
    oil_volume=st.floats(50.0, 300.0),
    temperature_rise=st.floats(0.0, 80.0),
)


@given(reserves, st.floats(0.0, 15.0))
def test_a_fast_stroke_ends_at_a_higher_pressure_than_a_slow_one(reserve: Reserve, precharge: float) -> None:
    slow = reserve_pressure(reserve, precharge, 1.0)
    assert reserve_pressure(reserve, precharge, 1.4) > slow > precharge


@given(reserves, st.floats(0.0, 15.0), st.floats(0.1, 5.0))
def test_pressure_rises_and_margin_falls_with_everything_the_reserve_has_to_take(
    reserve: Reserve, precharge: float, more: float
) -> None:
    def harder(**sizes: float) -> Reserve:
        given_sizes = {name: getattr(reserve, name) for name in reserve.__slots__}
        return Reserve(**{**given_sizes, **sizes})

    for worse in (
        harder(stroke=reserve.stroke + more),
        harder(temperature_rise=reserve.temperature_rise + more),
        harder(volume=reserve.volume - more),
    ):
        assert reserve_margin(worse) < reserve_margin(reserve)
        assert reserve_pressure(worse, precharge) > reserve_pressure(reserve, precharge)


@given(reserves, st.floats(0.0, 15.0))
def test_a_slow_stroke_obeys_the_ideal_gas_law(reserve: Reserve, precharge: float) -> None:
    end = reserve_pressure(reserve, precharge, 1.0) + ATMOSPHERE
    start = precharge + ATMOSPHERE
    hot = 1.0 + reserve.temperature_rise / 293.15
    assert end * reserve_margin(reserve) == pytest.approx(start * reserve.volume * hot)


def test_a_reserve_that_cannot_take_rod_and_warm_oil_is_refused_and_its_margin_is_negative() -> None:
    # π/4·12²·100 = 11.31 ml of rod into 10 ml of gas.
    assert sentence("RESERVE_PRESSURE", 10, 5, 12, 100) == (
        "reserve_volume: is too small: the rod takes 11.3 ml and the warm oil 0 ml, so the rod would stop "
        "before its end (found 10); allowed: above 11.31 ml."
    )
    outcome = evaluate("RESERVE_MARGIN", [10, 12, 100])
    assert outcome.value == pytest.approx(-1.3097, abs=1e-4)
    assert outcome.notes == (
        "the reserve is too small by 1.31 ml, so the rod would stop hard: do not ride it",
    )


def test_a_small_margin_is_noted() -> None:
    assert evaluate("RESERVE_MARGIN", [12, 12, 100]).notes == (
        "only 0.69 ml of gas are left at full stroke, less than a tenth of the reserve",
    )
    assert evaluate("RESERVE_MARGIN", [60, 12, 100]).notes == ()


def test_the_exponent_is_always_told() -> None:
    assert evaluate("RESERVE_PRESSURE", [60, 10, 12, 100]).notes == ("gas exponent 1.4 (fast)",)
    assert evaluate("RESERVE_PRESSURE", [60, 10, 12, 100, 0, 0, 1]).notes == ("gas exponent 1 (slow)",)
    assert evaluate("AIR_EFFECT", [1, 100, 10, 20, 0, 1.2]).notes == ("gas exponent 1.2",)
    assert evaluate("AIR_SPRING", [40, 120, 43, 120]).notes == ("gas exponent 1.4 (fast)",)


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ([-60, 10, 12, 100], "reserve_volume: must be greater than 0"),
        ([60, -10, 12, 100], "precharge: must not be negative"),
        ([60, 10, -12, 100], "rod_diameter: must be greater than 0"),
        ([60, 10, 12, -100], "stroke: must be greater than 0"),
        ([60, 10, 12, 100, -1], "oil_volume: must not be negative"),
        (
            [60, 10, 12, 100, 0, 40],
            "oil_volume: is needed together with the temperature rise; allowed: above 0 ml.",
        ),
        (
            [60, 10, 12, 100, 100, 200],
            "temperature_rise: is outside the range of the formula (found 200); allowed: -60 to 150 K.",
        ),
        ([60, 10, 12, 100, 0, 0, 1.67], "exponent: is outside the range of the formula"),
        ([60, 10, 12, 100, 100, 40, 1.4, 700], "density_15: is no density of a lubricating oil"),
        ([60, 10, 12, 100, 100, "40 °C"], "temperature_rise: is a temperature difference: write it in K"),
    ],
)
def test_a_reserve_that_cannot_be_is_refused(arguments: list[object], expected: str) -> None:
    assert sentence("RESERVE_PRESSURE", *arguments).startswith(expected)


def test_cautions_stand_in_the_help_of_everything_under_pressure() -> None:
    for name in ("RESERVE_PRESSURE", "RESERVE_MARGIN", "AIR_SPRING", "TRAPPED_AIR"):
        assert "Caution: " in lookup(name).description
        assert "maker's manual" in lookup(name).description


# --- air spring ----------------------------------------------------------------------------------


@given(st.floats(20.0, 50.0), st.floats(60.0, 200.0), st.floats(50.0, 200.0), exponents)
def test_a_smaller_gap_ends_at_a_higher_pressure(
    bore: float, gap: float, stroke: float, exponent: float
) -> None:
    wide = gap_spring(bore, gap, bore + 4.0, stroke=stroke, exponent=exponent)
    narrow = gap_spring(bore, 0.8 * gap, bore + 4.0, stroke=stroke, exponent=exponent)
    assert narrow.gauge_pressure > wide.gauge_pressure > 0.0
    assert narrow.compression_ratio > wide.compression_ratio > 1.0


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ([-40, 120, 43, 120], "tube_inner_diameter: must be greater than 0"),
        ([40, -120, 43, 120], "air_gap: must be greater than 0"),
        ([40, 120, -43, 120], "slider_diameter: must be greater than 0"),
        ([40, 120, 43, -120], "stroke: must be greater than 0"),
        ([40, 120, 43, 120, 200], "hardware_volume: is larger than the space it stands in"),
        ([40, 120, 43, 120, 0, -1], "precharge: must not be negative"),
        ([40, 120, 43, 120, 0, 0, 2], "exponent: is outside the range of the formula"),
    ],
)
def test_an_air_spring_that_cannot_be_is_refused(arguments: list[object], expected: str) -> None:
    assert sentence("AIR_SPRING", *arguments).startswith(expected)


def test_no_air_at_full_stroke_is_refused() -> None:
    full = bore_area(40.0) * 120.0 / 1000.0
    with pytest.raises(InputError, match="air volume at full stroke: must be greater than 0"):
        gap_spring(40.0, 120.0, 43.0, stroke=120.0, hardware_volume=full)


def test_a_validity_error_is_not_available_in_a_cell() -> None:
    assert ValidityError.code == "#N/A"
    error = evaluate("AIR_EFFECT", [1, 100, 10, 20, 0, 2]).value
    assert isinstance(error, CellError)
    assert error.code == "#N/A"
