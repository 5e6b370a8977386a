"""Units and old scales of viscosity: round trips, spellings and refusals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions import scales
from dampcell.functions.errors import InputError, ValidityError

SCALES = ["cSt", "mm2/s", "mm²/s", "m2/s", "St", "cP", "mPa.s", "Pa*s", "SUS", "°E", "Redwood 1"]


@given(
    viscosity=st.floats(min_value=50.0, max_value=4000.0),
    scale=st.sampled_from([*SCALES, "SFS"]),
    temperature=st.sampled_from([50.0, 98.9]),
)
def test_every_scale_round_trips(viscosity: float, scale: str, temperature: float) -> None:
    there = scales.convert_viscosity(viscosity, "cSt", scale, density=860.0, temperature=temperature).value
    back = scales.convert_viscosity(there, scale, "cSt", density=860.0, temperature=temperature).value
    assert back == pytest.approx(viscosity, rel=1e-9)


@given(viscosity=st.floats(min_value=3.7, max_value=4000.0), scale=st.sampled_from(SCALES))
def test_a_thicker_oil_reads_more_on_every_scale(viscosity: float, scale: str) -> None:
    thin, thick = (
        scales.convert_viscosity(x, "cSt", scale, density=860.0).value for x in (viscosity, viscosity * 1.01)
    )
    assert thick > thin


@given(viscosity=st.floats(min_value=2.0, max_value=60.0))
def test_thin_oils_round_trip_in_universal_seconds(viscosity: float) -> None:
    seconds = scales.saybolt_universal_seconds(viscosity, 20.0)
    back = scales.convert_viscosity(seconds, "ssu", "mm²/s", temperature=20.0).value
    assert back == pytest.approx(viscosity, rel=1e-9)


@pytest.mark.parametrize(
    ("spelling", "same"),
    [
        ("CST", "mm²/s"),
        ("cs", "mm²/s"),
        ("centistokes", "mm²/s"),
        ("ssu", "SUS"),
        ("Saybolt Universal", "SUS"),
        ("sus", "SUS"),
        ("SSF", "SFS"),
        ("engler", "°E"),
        ("ºe", "°E"),
        ("redwood no. 1", "Redwood 1"),
        ("REDWOOD1", "Redwood 1"),
        ("cps", "mPa·s"),
        ("mPa s", "cP"),
        ("centipoise", "cP"),
    ],
)
def test_a_unit_is_known_by_its_other_names(spelling: str, same: str) -> None:
    one, other = (
        scales.convert_viscosity(100.0, "cSt", unit, density=900.0).value for unit in (spelling, same)
    )
    assert one == other


def test_dynamic_is_kinematic_times_density() -> None:
    assert scales.convert_viscosity(14.0, "cSt", "cP", density=850.0).value == pytest.approx(11.9)
    assert scales.convert_viscosity(11.9, "cP", "cSt", density=850.0).value == pytest.approx(14.0)
    assert scales.convert_viscosity(100.0, "cP", "Pa·s").value == pytest.approx(0.1)
    assert scales.convert_viscosity(1.0, "St", "cSt").value == pytest.approx(100.0)


def test_between_two_old_scales_by_way_of_their_viscosities() -> None:
    # The table pairs 263 °E with 1980 mm²/s; Saybolt at 100 °F is 4.632 times the viscosity that far up.
    found = scales.convert_viscosity(263.0, "°E", "SUS", temperature=37.78)
    assert found.value == pytest.approx(1980.0 * 4.632, rel=2e-4)


def test_redwood_by_hand() -> None:
    # 64 s: 0.260·64 − 179/64 = 13.843; 400 s: 0.247·400 − 50/400 = 98.675.
    assert scales.redwood_seconds(13.843125) == pytest.approx(64.0, rel=1e-9)
    assert scales.convert_viscosity(400.0, "Redwood 1", "cSt").value == pytest.approx(98.675)
    assert scales.convert_viscosity(64.0, "Redwood 1", "cSt").value == pytest.approx(13.843125)


def test_notes_tell_what_was_assumed_and_what_is_approximate() -> None:
    assert "taken at 37.8 °C (100 °F)" in scales.convert_viscosity(50.0, "cSt", "SUS").notes[0]
    assert "taken at 50 °C (122 °F)" in scales.convert_viscosity(50.0, "SFS", "cSt").notes[0]
    assert scales.convert_viscosity(50.0, "cSt", "SUS", temperature=40.0).notes == ()
    assert "Engler degrees are approximate" in scales.convert_viscosity(50.0, "cSt", "°E").notes[0]
    both = scales.convert_viscosity(50.0, "°E", "Redwood 1").notes
    assert "Engler" in both[0]
    assert "Redwood" in both[1]


@pytest.mark.parametrize(
    ("value", "source", "target", "sentence"),
    [
        (14.0, "cSt", "cP", "density: is needed between kinematic and dynamic viscosity"),
        (14.0, "cP", "SUS", "density: is needed between kinematic and dynamic viscosity"),
        (14.0, "cts", "cP", 'from_unit: is no unit of viscosity: did you mean "cSt"?'),
        (14.0, "cSt", "mm", "to_unit: is no unit of viscosity"),
        (14.0, "", "cP", "from_unit: is no unit of viscosity"),
        (14.0, "wt", "cP", "from_unit: a weight is no viscosity"),
        (0.0, "cSt", "SUS", "value: must be above 0 (found 0); allowed: above 0 cSt"),
        (-1.0, "cSt", "cSt", "value: must be above 0"),
        (math.nan, "cSt", "SUS", "value: must be above 0"),
        (math.inf, "cSt", "SUS", "value: must be above 0"),
    ],
)
def test_a_conversion_that_cannot_be_is_refused(
    value: float, source: str, target: str, sentence: str
) -> None:
    with pytest.raises(InputError) as caught:
        scales.convert_viscosity(value, source, target)
    assert sentence in str(caught.value)


@pytest.mark.parametrize(
    ("value", "source", "target", "temperature", "sentence"),
    [
        (1.8, "cSt", "SUS", 40.0, "Saybolt universal seconds are not defined for an oil so thin"),
        (31.0, "SUS", "cSt", 40.0, "is outside the range of Saybolt seconds"),
        (1e9, "SUS", "cSt", 40.0, "is outside the range of Saybolt seconds"),
        (47.9, "cSt", "SFS", 50.0, "Saybolt Furol seconds are not defined for an oil so thin"),
        (49.9, "cSt", "SFS", 98.9, "Saybolt Furol seconds are not defined for an oil so thin"),
        (24.0, "SFS", "cSt", 50.0, "is outside the range of Saybolt seconds"),
        (100.0, "cSt", "SFS", 40.0, "Saybolt Furol seconds are defined at two temperatures only"),
        (0.9, "cSt", "°E", 40.0, "is outside the table of Engler degrees"),
        (4401.0, "cSt", "°E", 40.0, "is outside the table of Engler degrees"),
        (0.9, "°E", "cSt", 40.0, "allowed: 1 to 584 °E"),
        (3.0, "cSt", "Redwood 1", 40.0, "Redwood No. 1 seconds are not defined for an oil so thin"),
        (33.0, "Redwood 1", "cSt", 40.0, "is below the range of Redwood No. 1 seconds"),
        (50.0, "cSt", "SUS", 300.0, "temperature: makes no sense as the temperature of a damper oil"),
    ],
)
def test_outside_the_range_of_a_scale_is_refused(
    value: float, source: str, target: str, temperature: float, sentence: str
) -> None:
    with pytest.raises(ValidityError) as caught:
        scales.convert_viscosity(value, source, target, temperature=temperature)
    assert sentence in str(caught.value)


@pytest.mark.parametrize("density", [0.86, 499.0, 2001.0, math.nan])
def test_a_density_in_another_unit_is_refused(density: float) -> None:
    with pytest.raises(InputError, match="is no density of an oil in kg/m³"):
        scales.convert_viscosity(14.0, "cSt", "cP", density=density)
