"""Viscosity against temperature, density and blends: behaviour, and an independent solution."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq  # type: ignore[import-untyped,unused-ignore]  # may have no stubs

from dampcell.functions import blends, oils
from dampcell.functions.errors import InputError, NoSolutionError, ValidityError

thin = st.floats(min_value=1.0, max_value=100.0)
ratio = st.floats(min_value=1.05, max_value=20.0)
working = st.floats(min_value=0.0, max_value=120.0)


def z(viscosity: float) -> float:
    return viscosity + 0.7 + math.exp(-1.47 - 1.84 * viscosity - 0.51 * viscosity**2)


def independent(at_40: float, at_100: float, temperature: float) -> float:
    """ASTM D341 solved otherwise: A and B first, natural logarithms, a bracketing root finder."""
    slope = (math.log(math.log(z(at_40))) - math.log(math.log(z(at_100)))) / math.log(373.15 / 313.15)
    height = math.log(math.log(z(at_40))) + slope * math.log(313.15)
    wanted = math.exp(math.exp(height - slope * math.log(temperature + 273.15)))
    return float(brentq(lambda viscosity: z(viscosity) - wanted, 0.1, 1e8, xtol=1e-13, rtol=1e-13))


@given(at_100=thin, ratio=ratio, temperature=working)
def test_viscosity_equals_an_independent_solution(at_100: float, ratio: float, temperature: float) -> None:
    try:
        found = oils.kinematic_viscosity(at_100 * ratio, at_100, temperature)
    except ValidityError:
        assume(False)
    assert found == pytest.approx(independent(at_100 * ratio, at_100, temperature), rel=1e-10)


@given(at_100=thin, ratio=ratio)
def test_the_data_sheet_values_come_back(at_100: float, ratio: float) -> None:
    assert oils.kinematic_viscosity(at_100 * ratio, at_100, 40.0) == pytest.approx(at_100 * ratio, rel=1e-12)
    assert oils.kinematic_viscosity(at_100 * ratio, at_100, 100.0) == pytest.approx(at_100, rel=1e-12)


@given(at_100=st.floats(min_value=3.0, max_value=50.0), ratio=st.floats(min_value=1.5, max_value=10.0))
def test_points_taken_from_a_curve_give_the_curve_back(at_100: float, ratio: float) -> None:
    at_20, at_70 = (oils.kinematic_viscosity(at_100 * ratio, at_100, t) for t in (20.0, 70.0))
    for temperature, wanted in ((40.0, at_100 * ratio), (100.0, at_100)):
        found = oils.fitted_viscosity(20.0, at_20, 70.0, viscosity_2=at_70, temperature=temperature)
        assert found == pytest.approx(wanted, rel=1e-10)
        swapped = oils.fitted_viscosity(70.0, at_70, 20.0, viscosity_2=at_20, temperature=temperature)
        assert swapped == pytest.approx(wanted, rel=1e-10)


@given(
    at_100=st.floats(min_value=3.0, max_value=50.0), ratio=st.floats(min_value=1.2, max_value=10.0), t=working
)
def test_oil_thins_as_it_gets_warmer(at_100: float, ratio: float, t: float) -> None:
    warm, hot = (oils.kinematic_viscosity(at_100 * ratio, at_100, x) for x in (t, t + 5.0))
    assert hot < warm


@given(st.floats(min_value=0.21, max_value=2e7))
def test_double_logarithm_round_trips(viscosity: float) -> None:
    # The second logarithm flattens thick oils, and so costs digits there.
    assert oils.from_double_log(oils.double_log(viscosity)) == pytest.approx(viscosity, rel=1e-11)


@pytest.mark.parametrize(
    ("at_40", "at_100", "temperature", "kind", "sentence"),
    [
        (
            4.0,
            14.0,
            40.0,
            InputError,
            "viscosity at 100 °C must be below that at 40 °C (are the two swapped?)",
        ),
        (14.0, 14.0, 40.0, InputError, "viscosity at 100 °C must be below that at 40 °C"),
        (14.0, 4.0, 201.0, ValidityError, "makes no sense as the temperature of a damper oil"),
        (14.0, 4.0, -61.0, ValidityError, "makes no sense as the temperature of a damper oil"),
        (14.0, 4.0, math.nan, ValidityError, "makes no sense as the temperature of a damper oil"),
        (14.0, 0.2, 40.0, ValidityError, "viscosity_100: is outside the range of ASTM D341"),
        (0.0, 4.0, 40.0, ValidityError, "viscosity_40: is outside the range of ASTM D341"),
        (-14.0, 4.0, 40.0, ValidityError, "viscosity_40: is outside the range of ASTM D341"),
        (math.nan, 4.0, 40.0, ValidityError, "viscosity_40: is outside the range of ASTM D341"),
        (math.inf, 4.0, 40.0, ValidityError, "viscosity_40: is outside the range of ASTM D341"),
        (3e7, 4.0, 40.0, ValidityError, "viscosity_40: is outside the range of ASTM D341"),
        (1.0, 0.4, 200.0, ValidityError, "at this temperature the oil leaves the range of ASTM D341"),
        (1e6, 10.0, -50.0, ValidityError, "at this temperature the oil leaves the range of ASTM D341"),
    ],
)
def test_a_viscosity_that_cannot_be_is_refused(
    at_40: float, at_100: float, temperature: float, kind: type[InputError], sentence: str
) -> None:
    with pytest.raises(kind) as caught:
        oils.kinematic_viscosity(at_40, at_100, temperature)
    assert sentence in str(caught.value)


@pytest.mark.parametrize(
    ("one", "two", "sentence"),
    [
        ((40.0, 68.0), (40.0, 14.0), "the two measurements must be at different temperatures"),
        ((40.0, 68.0), (80.0, 68.0), "viscosity must fall as the oil gets warmer"),
        ((40.0, 14.0), (80.0, 68.0), "allowed: below 14 mm²/s"),
        ((80.0, 68.0), (40.0, 14.0), "allowed: above 68 mm²/s"),
        ((-99.0, 68.0), (40.0, 14.0), "temperature_1: makes no sense"),
        ((40.0, 68.0), (999.0, 14.0), "temperature_2: makes no sense"),
        ((40.0, 0.1), (80.0, 14.0), "viscosity_1: is outside the range"),
        ((40.0, 68.0), (80.0, 0.1), "viscosity_2: is outside the range"),
    ],
)
def test_two_measurements_that_do_not_fit_are_refused(
    one: tuple[float, float], two: tuple[float, float], sentence: str
) -> None:
    with pytest.raises(InputError) as caught:
        oils.fitted_viscosity(*one, two[0], viscosity_2=two[1], temperature=60.0)
    assert sentence in str(caught.value)


def test_extrapolation_is_told_outside_0_to_100_degrees() -> None:
    assert oils.temperature_notes(0.0) == oils.temperature_notes(100.0) == ()
    assert "extrapolated: it can be wrong by 7 %" in oils.temperature_notes(-0.1)[0]
    assert oils.temperature_notes(120.0)[0].endswith("extrapolated")


@given(st.floats(min_value=800.0, max_value=1164.0), st.floats(min_value=-20.0, max_value=145.0))
def test_density_falls_as_it_gets_warmer(density_15: float, temperature: float) -> None:
    assert oils.density(density_15, temperature + 5.0) < oils.density(density_15, temperature)


def test_density_at_15_degrees_is_the_given_one() -> None:
    assert oils.density(870.0, 15.0) == 870.0


@pytest.mark.parametrize(
    ("density_15", "temperature", "sentence"),
    [
        (0.87, 40.0, "allowed: 800 to 1164 kg/m³, written in kg/m³"),
        (799.0, 40.0, "is no density of a lubricating oil"),
        (1165.0, 40.0, "is no density of a lubricating oil"),
        (math.nan, 40.0, "is no density of a lubricating oil"),
        (870.0, 250.0, "makes no sense as the temperature"),
    ],
)
def test_a_density_that_cannot_be_is_refused(density_15: float, temperature: float, sentence: str) -> None:
    with pytest.raises(ValidityError) as caught:
        oils.density(density_15, temperature)
    assert sentence in str(caught.value)


@given(st.lists(st.tuples(st.floats(1.0, 1000.0), st.floats(0.1, 1000.0)), min_size=1, max_size=5))
def test_a_blend_lies_between_its_oils_in_any_order(oils_: list[tuple[float, float]]) -> None:
    viscosities, volumes = [v for v, _ in oils_], [q for _, q in oils_]
    found = blends.blend_viscosity(viscosities, volumes)
    assert min(viscosities) * (1 - 1e-12) <= found <= max(viscosities) * (1 + 1e-12)
    assert blends.blend_viscosity(viscosities[::-1], volumes[::-1]) == pytest.approx(found, rel=1e-12)
    assert blends.blend_viscosity(viscosities, [3.0 * q for q in volumes]) == pytest.approx(found, rel=1e-12)


@given(a=st.floats(1.0, 1000.0), b=st.floats(1.0, 1000.0), share=st.floats(0.01, 0.99))
def test_the_share_for_a_target_gives_that_target(a: float, b: float, share: float) -> None:
    assume(abs(a / b - 1.0) > 0.01)
    target = blends.blend_viscosity([a, b], [share, 1.0 - share])
    assert blends.blend_share(a, b, target) == pytest.approx(share, abs=1e-9)


def test_equal_parts_of_10_and_40_by_hand() -> None:
    # log10 log10 10.7 = 0.012577, log10 log10 40.7 = 0.206716; mean 0.109647, Z = 19.373, ν = 18.673.
    assert blends.blend_viscosity([10.0, 40.0], [1.0, 1.0]) == pytest.approx(18.673, abs=0.001)


def test_the_ends_of_a_blend_are_its_oils() -> None:
    assert blends.blend_share(10.0, 40.0, 10.0) == 1.0
    assert blends.blend_share(10.0, 40.0, 40.0) == 0.0


def test_a_blend_outside_its_oils_has_no_solution() -> None:
    with pytest.raises(NoSolutionError, match="no blend of the two oils has this viscosity") as caught:
        blends.blend_share(10.0, 40.0, 50.0)
    assert "10 to 40 mm²/s" in str(caught.value)


def test_two_equal_oils_are_no_blend() -> None:
    with pytest.raises(InputError, match="the two oils have the same viscosity"):
        blends.blend_share(10.0, 10.0, 10.0)


@pytest.mark.parametrize(
    ("viscosities", "volumes", "sentence"),
    [
        ([], [], "each oil of a blend needs a viscosity and a volume"),
        ([10.0, 20.0], [1.0], "each oil of a blend needs a viscosity and a volume"),
        ([10.0, 20.0], [1.0, 0.0], "oil 2, volume: must be above 0"),
        ([10.0, 20.0], [-1.0, 1.0], "oil 1, volume: must be above 0"),
        ([10.0, 20.0], [1.0, math.nan], "oil 2, volume: must be above 0"),
        ([10.0, 0.0], [1.0, 1.0], "oil 2, viscosity: is outside the range"),
    ],
)
def test_a_blend_that_cannot_be_is_refused(
    viscosities: list[float], volumes: list[float], sentence: str
) -> None:
    with pytest.raises(InputError) as caught:
        blends.blend_viscosity(viscosities, volumes)
    assert sentence in str(caught.value)


def test_a_blending_number_needs_a_viscosity_in_range() -> None:
    with pytest.raises(ValidityError, match="viscosity: is outside the range"):
        blends.blending_number(0.1)
