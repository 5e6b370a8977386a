"""Properties of one plate, and what its functions refuse."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dampcell.functions.errors import InputError, ValidityError
from dampcell.functions.plates import (
    Plate,
    flexural_rigidity,
    plate_deflection,
    plate_stiffness,
    plate_stress,
)

quick = settings(max_examples=20, deadline=None, derandomize=True)


@st.composite
def plates(draw: st.DrawFn) -> tuple[float, float, float, float]:
    """Outer and clamp diameter, thickness, and load circle of a shim."""
    clamp = draw(st.floats(5.0, 20.0))
    outer = clamp * draw(st.floats(1.1, 4.0))
    load = clamp + (outer - clamp) * draw(st.floats(0.2, 1.0))
    return outer, clamp, draw(st.floats(0.05, 0.5)), min(load, outer)


@quick
@given(plates(), st.floats(1.1, 3.0))
def test_stiffness_goes_with_the_cube_of_the_thickness(
    plate: tuple[float, float, float, float], factor: float
) -> None:
    outer, clamp, thickness, load = plate
    thin = plate_stiffness(outer, clamp, thickness, load_diameter=load)
    thick = plate_stiffness(outer, clamp, factor * thickness, load_diameter=load)
    assert thick == pytest.approx(factor**3 * thin, rel=1e-9)


@quick
@given(plates(), st.floats(1.0, 500.0))
def test_stiffness_goes_with_the_modulus(plate: tuple[float, float, float, float], modulus: float) -> None:
    outer, clamp, thickness, load = plate
    unit = plate_stiffness(outer, clamp, thickness, load_diameter=load, modulus=1.0)
    found = plate_stiffness(outer, clamp, thickness, load_diameter=load, modulus=modulus)
    assert found == pytest.approx(modulus * unit, rel=1e-9)


@quick
@given(plates(), st.floats(0.1, 10.0))
def test_stiffness_of_a_scaled_plate_scales_with_its_size(
    plate: tuple[float, float, float, float], factor: float
) -> None:
    """All dimensions times n make the stiffness times n: by the dimensions of E t³ / d²."""
    outer, clamp, thickness, load = plate
    one = plate_stiffness(outer, clamp, thickness, load_diameter=load)
    scaled = plate_stiffness(factor * outer, factor * clamp, factor * thickness, load_diameter=factor * load)
    assert scaled == pytest.approx(factor * one, rel=1e-8)


@quick
@given(plates())
def test_stiffness_is_load_over_deflection(plate: tuple[float, float, float, float]) -> None:
    outer, clamp, thickness, load = plate
    deflection = plate_deflection(outer, clamp, thickness, load_diameter=load, load=7.0)
    stiffness = plate_stiffness(outer, clamp, thickness, load_diameter=load)
    assert 7.0 / deflection == pytest.approx(stiffness, rel=1e-12)


@quick
@given(plates(), st.floats(0.0, 1.0))
def test_load_and_reading_circle_may_be_exchanged(
    plate: tuple[float, float, float, float], share: float
) -> None:
    """Maxwell's theorem."""
    outer, clamp, thickness, load = plate
    at = min(clamp + (outer - clamp) * (0.1 + 0.9 * share), outer)
    there = plate_deflection(outer, clamp, thickness, load_diameter=load, load=1.0, at_diameter=at)
    back = plate_deflection(outer, clamp, thickness, load_diameter=at, load=1.0, at_diameter=load)
    assert there == pytest.approx(back, rel=1e-9)


@quick
@given(plates())
def test_deflection_rises_outward_and_turns_with_the_load(plate: tuple[float, float, float, float]) -> None:
    outer, clamp, thickness, load = plate
    up = [
        plate_deflection(outer, clamp, thickness, load_diameter=load, load=5.0, at_diameter=at)
        for at in np.linspace(clamp, outer, 9)
    ]
    down = plate_deflection(outer, clamp, thickness, load_diameter=load, load=-5.0)
    assert up[0] == pytest.approx(0.0, abs=1e-12)
    assert np.all(np.diff(up) > 0.0)
    assert down == -plate_deflection(outer, clamp, thickness, load_diameter=load, load=5.0)


@quick
@given(plates())
def test_stress_goes_with_load_and_inverse_square_of_thickness(
    plate: tuple[float, float, float, float],
) -> None:
    outer, clamp, thickness, load = plate
    one = plate_stress(outer, clamp, thickness, load_diameter=load, load=1.0)
    other = plate_stress(outer, clamp, 2.0 * thickness, load_diameter=load, load=3.0)
    assert other == pytest.approx(0.75 * one, rel=1e-12)


def test_narrow_plate_bends_like_a_beam() -> None:
    """A plate far wider than its overhang is a clamped beam: k = 3 E' I / L³ with E' = E/(1 − ν²).

    By hand for the radii 1000 and 1010 mm, within the 1.5 % by which the circumference grows.
    """
    k = plate_stiffness(2020.0, 2000.0, 1.0, load_diameter=2020.0)
    beam = 2.0 * np.pi * 1005.0 * 3.0 * 206e3 / 0.91 / 12.0 / 10.0**3
    assert k == pytest.approx(beam, rel=0.015)


def test_several_plates_at_once_are_each_by_itself() -> None:
    radii, loads = np.linspace(6.0, 11.0, 7), np.array([7.0, 10.0])
    outer = np.array([11.0, 13.0, 15.0])
    together = Plate(6.0, outer[:, None, None]).deflection(radii, loads)
    for found, radius in zip(together, outer, strict=True):
        assert np.array_equal(found, Plate(6.0, float(radius)).deflection(radii, loads))


GOOD: dict[str, Any] = {
    "outer_diameter": 30.0,
    "clamp_diameter": 12.0,
    "thickness": 0.2,
    "load_diameter": 26.0,
}


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"thickness": 0.0}, "thickness: must be greater than 0 (found 0); allowed: above 0 mm."),
        ({"thickness": -0.2}, "thickness: must be greater than 0 (found -0.2); allowed: above 0 mm."),
        ({"thickness": float("nan")}, "thickness: must be greater than 0 (found nan); allowed: above 0 mm."),
        ({"outer_diameter": -1.0}, "outer_diameter: must be greater than 0 (found -1); allowed: above 0 mm."),
        ({"clamp_diameter": 0.0}, "clamp_diameter: must be greater than 0 (found 0); allowed: above 0 mm."),
        ({"load_diameter": 0.0}, "load_diameter: must be greater than 0 (found 0); allowed: above 0 mm."),
        ({"modulus": 0.0}, "modulus: must be greater than 0 (found 0); allowed: above 0 GPa."),
        ({"poisson": 0.5}, "poisson: is no Poisson's ratio (found 0.5); allowed: 0 to below 0.5."),
        ({"poisson": -0.1}, "poisson: is no Poisson's ratio (found -0.1); allowed: 0 to below 0.5."),
        (
            {"outer_diameter": 12.0},
            "outer_diameter: must be larger than the clamp (found 12); allowed: above 12 mm.",
        ),
    ],
)
def test_a_plate_that_cannot_be_is_refused(wrong: dict[str, float], sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        plate_stiffness(**(GOOD | wrong))
    assert str(caught.value) == sentence


@pytest.mark.parametrize("circle", [31.0, 12.0, 11.0])
def test_a_load_circle_off_the_free_part_is_refused(circle: float) -> None:
    with pytest.raises(InputError) as caught:
        plate_stiffness(**(GOOD | {"load_diameter": circle}))
    assert str(caught.value) == (
        "load_diameter: the load circle must lie between the clamp and the edge of the face shim "
        f"(found {circle:g}); allowed: above 12 and up to 30 mm."
    )


def test_a_load_circle_at_the_clamp_is_outside_the_theory() -> None:
    with pytest.raises(ValidityError) as caught:
        plate_stiffness(**(GOOD | {"load_diameter": 12.001}))
    assert str(caught.value) == (
        "load_diameter: the load circle is too near the clamp for plate theory (found 12.001); "
        "allowed: 12.012 mm or more."
    )


@pytest.mark.parametrize("at", [11.9, 30.1])
def test_a_reading_circle_off_the_plate_is_refused(at: float) -> None:
    with pytest.raises(InputError) as caught:
        plate_deflection(**GOOD, load=10.0, at_diameter=at)
    assert str(caught.value) == f"at_diameter: is not on the plate (found {at}); allowed: 12 to 30 mm."


@pytest.mark.parametrize("wrong", [{"thickness": 0.0}, {"poisson": 0.7}, {"outer_diameter": 10.0}])
def test_stress_refuses_what_the_stiffness_refuses(wrong: dict[str, float]) -> None:
    with pytest.raises(InputError) as by_stiffness:
        plate_stiffness(**(GOOD | wrong))
    with pytest.raises(InputError) as by_stress:
        plate_stress(**(GOOD | wrong), load=10.0)
    assert str(by_stress.value) == str(by_stiffness.value)


def test_rigidity_by_hand() -> None:
    """206,000 MPa · 0.2³ mm³ / (12 · 0.91) = 150.916 N·mm."""
    assert flexural_rigidity(0.2) == pytest.approx(206000.0 * 0.008 / 10.92, rel=1e-12)
