"""Index, classes and labels: behaviour and refusals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions import grades
from dampcell.functions.errors import InputError, ValidityError


@given(st.floats(min_value=2.0, max_value=80.0), st.floats(min_value=1.05, max_value=20.0))
def test_index_falls_as_the_oil_thins_faster(at_100: float, ratio: float) -> None:
    assert grades.viscosity_index(at_100 * ratio * 1.01, at_100) < grades.viscosity_index(
        at_100 * ratio, at_100
    )


@pytest.mark.parametrize("at_100", [2.0, 5.0, 25.0, 70.0, 90.0])
def test_the_reference_oils_have_an_index_of_0_and_100(at_100: float) -> None:
    low, high = grades.index_limits(at_100)
    assert grades.viscosity_index(low, at_100) == pytest.approx(0.0, abs=1e-9)
    assert grades.viscosity_index(high, at_100) == pytest.approx(100.0, abs=1e-9)
    # ... and the two procedures meet there.
    assert grades.viscosity_index(high * (1 + 1e-9), at_100) == pytest.approx(100.0, abs=1e-4)


def test_index_is_not_capped() -> None:
    # By hand: H of 5.5 mm²/s is 33.34, N = ln(33.34/15)/ln 5.5 = 0.46851, (10^N − 1)/0.00715 + 100 = 371.5.
    assert grades.viscosity_index(15.0, 5.5) == pytest.approx(371.5, abs=0.05)


def test_table_and_formula_meet_at_70() -> None:
    below, above = grades.index_limits(70.0), grades.index_limits(70.0 + 1e-9)
    assert above == pytest.approx(below, rel=0.0005)  # table 1 is rounded to whole numbers there


@pytest.mark.parametrize("at_100", [1.99, 0.0, -1.0, math.nan])
def test_index_below_2_is_refused(at_100: float) -> None:
    with pytest.raises(ValidityError, match="the viscosity index is not defined below 2 mm²/s at 100 °C"):
        grades.index_limits(at_100)


def test_index_of_swapped_viscosities_is_refused() -> None:
    with pytest.raises(InputError, match="are the two swapped"):
        grades.viscosity_index(8.86, 73.3)


def test_index_of_an_impossible_viscosity_is_refused() -> None:
    with pytest.raises(ValidityError, match="viscosity_40: is outside the range"):
        grades.viscosity_index(math.inf, 8.0)


@pytest.mark.parametrize(
    ("viscosity", "vg", "beyond"),
    [(16.6, 15, 0.1), (19.7, 22, -0.1), (17.9, 15, 1.4), (18.2, 22, -1.6), (24.3, 22, 0.1), (2.6, 2, 0.18)],
)
def test_the_gaps_between_iso_classes_are_told(viscosity: float, vg: int, beyond: float) -> None:
    found = grades.iso_class(viscosity)
    assert (found.vg, found.inside) == (vg, False)
    assert found.beyond == pytest.approx(beyond, abs=1e-9)


@pytest.mark.parametrize("viscosity", [1.97, 3521.0, 0.0, math.nan, math.inf])
def test_outside_the_iso_classes_is_refused(viscosity: float) -> None:
    with pytest.raises(ValidityError, match=r"is outside the ISO viscosity classes.*1\.98 to 3520"):
        grades.iso_class(viscosity)


@given(st.floats(min_value=4.0, max_value=26.0))
def test_an_engine_oil_has_a_grade_and_sometimes_several(viscosity_100: float) -> None:
    assert len(grades.sae_grades(viscosity_100, "J300")) >= 1


@pytest.mark.parametrize("viscosity_100", [0.0, -1.0, math.nan, math.inf])
def test_a_grade_needs_a_viscosity(viscosity_100: float) -> None:
    with pytest.raises(ValidityError, match="must be above 0"):
        grades.sae_grades(viscosity_100, "J306")


def test_no_agma_number_in_a_gap() -> None:
    assert grades.agma_numbers(60.0) == ()
    assert grades.agma_numbers(10.0) == ()


@pytest.mark.parametrize(
    "label", ["2.5", "2,5", "2.5wt", "2.5 wt.", "2.5 weight", "SAE 2.5W", "2.5-wt", " 2.5W "]
)
def test_a_label_is_read_in_any_spelling(label: str) -> None:
    assert grades.label_range(label) == grades.label_range("2.5")


@pytest.mark.parametrize("label", ["12", "5W-40", "", "light", "5 mm", "1e1", "٥", "nan"])
def test_an_unknown_label_is_refused(label: str) -> None:
    with pytest.raises(InputError) as caught:
        grades.label_range(label)
    assert "a weight is no standard: look at the data sheet" in str(caught.value)
    assert "2.5, 5, 7.5, 10, 15, 20" in str(caught.value)
