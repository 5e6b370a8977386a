"""Flow paths: the law that all openings share, its limits, and what it refuses."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions.errors import InputError
from dampcell.functions.flow import (
    AnnularGap,
    Fluid,
    Hole,
    Opening,
    Orifice,
    critical_reynolds_flow,
)
from dampcell.functions.openings import Curtain, Needle

OIL = Fluid(density=850.0, kinematic_viscosity=15.0)

lengths = st.floats(0.05, 30.0)
openings = st.one_of(
    st.builds(Hole, lengths, st.floats(0.0, 50.0), st.floats(1.0, 8.0)),
    st.builds(Orifice, lengths, st.floats(1.0, 8.0), discharge_coefficient=st.floats(0.5, 0.9)),
    st.builds(
        AnnularGap, st.floats(2.0, 50.0), st.floats(0.005, 0.2), st.floats(0.5, 30.0), st.floats(0.0, 1.0)
    ),
    st.builds(
        Needle, lengths, st.floats(5.0, 120.0), st.floats(0.02, 0.2), st.just(20.0), st.floats(1.0, 20.0)
    ),
    st.builds(Curtain, st.floats(5.0, 50.0), st.floats(0.001, 2.0), st.floats(0.0, 2.0)),
)
flows = st.floats(1e-6, 1e4)


@given(openings)
def test_no_flow_means_no_pressure_and_no_pressure_means_no_flow(path: Opening) -> None:
    assert path.pressure(0.0, OIL) == 0.0
    assert path.flow(0.0, OIL) == 0.0


@given(openings, flows)
def test_flow_and_pressure_are_inverse_to_each_other(path: Opening, flow: float) -> None:
    assert float(path.flow(path.pressure(flow, OIL), OIL)) == pytest.approx(flow, rel=1e-9)


@given(openings, flows)
def test_the_other_direction_gives_the_same_with_the_other_sign(path: Opening, flow: float) -> None:
    assert path.pressure(-flow, OIL) == -path.pressure(flow, OIL)
    assert path.flow(-flow, OIL) == -path.flow(flow, OIL)


@given(openings)
def test_pressure_rises_strictly_and_without_a_jump(path: Opening) -> None:
    flow = np.geomspace(1e-6, 1e4, 400)
    pressure = path.pressure(flow, OIL)
    steps = pressure[1:] / pressure[:-1]
    ratio = flow[1] / flow[0]
    # Between proportional (laminar) and square (turbulent) at every step.
    assert np.all(steps > ratio * (1.0 - 1e-9))
    assert np.all(steps < ratio**2 * (1.0 + 1e-9))


@given(openings, st.floats(1.1, 30.0))
def test_slow_flow_is_proportional_to_viscosity_and_blind_to_density(path: Opening, factor: float) -> None:
    slow = 1e-9 * float(path.flow(1.0, OIL))
    thicker = Fluid(OIL.density, OIL.kinematic_viscosity * factor)
    assert float(path.pressure(slow, thicker) / path.pressure(slow, OIL)) == pytest.approx(factor, rel=1e-4)
    denser = Fluid(OIL.density * factor, OIL.kinematic_viscosity / factor)
    assert float(path.pressure(slow, denser) / path.pressure(slow, OIL)) == pytest.approx(1.0, rel=1e-4)


@given(openings, st.floats(1.1, 30.0))
def test_fast_flow_is_proportional_to_density_and_blind_to_viscosity(path: Opening, factor: float) -> None:
    a, b = path.coefficients(OIL)
    fast = 1e6 * float(a / b)
    thicker = Fluid(OIL.density, OIL.kinematic_viscosity * factor)
    assert float(path.pressure(fast, thicker) / path.pressure(fast, OIL)) == pytest.approx(1.0, rel=1e-4)
    denser = Fluid(OIL.density * factor, OIL.kinematic_viscosity)
    assert float(path.pressure(fast, denser) / path.pressure(fast, OIL)) == pytest.approx(factor, rel=1e-4)


@given(openings, flows)
def test_discharge_coefficient_is_the_flow_over_that_of_a_free_jet(path: Opening, flow: float) -> None:
    area = float(path._shape()[0])
    jet = area * math.sqrt(2.0 * float(path.pressure(flow, OIL)) * 1e5 / OIL.density)
    assert float(path.discharge_coefficient_at(flow, OIL)) == pytest.approx(flow / jet, rel=1e-9)


def test_arrays_keep_their_shape() -> None:
    flow = np.linspace(-5.0, 5.0, 6).reshape(2, 3)
    assert Hole(1.5, 5.0).pressure(flow, OIL).shape == (2, 3)
    assert Hole(1.5, 5.0).flow(flow, OIL).shape == (2, 3)


def test_equal_holes_share_the_flow() -> None:
    one, four = Hole(2.0, 6.0), Hole(2.0, 6.0, quantity=4)
    assert float(four.pressure(40.0, OIL)) == pytest.approx(float(one.pressure(10.0, OIL)), rel=1e-12)


def test_a_throat_that_is_not_round_goes_by_its_area_and_hydraulic_diameter() -> None:
    # A slot 0.5 x 20 mm, hydraulic diameter 4·10/41 = 0.9756 mm, 100 mm long, near the parallel-wall
    # formula Δp = 12 μ L Q/(w h³): 12 · 12.75e-3 · 0.1 · 1e-9 / (0.02 · 0.125e-9) = 6.12 Pa at 0.001 ml/s;
    # the two ends of the slot add 5 % of f Re and the ends of the hole 0.4 %.
    slot = Hole(diameter=40.0 / 41.0, length=100.0, area=10.0, friction_constant=96.0)
    assert float(slot.pressure(0.001, OIL)) == pytest.approx(6.12e-5, rel=0.06)


def test_a_longer_hole_resists_more() -> None:
    drops = [float(Hole(1.5, length).pressure(3.0, OIL)) for length in (0.0, 1.0, 5.0, 20.0)]
    assert drops == sorted(set(drops))


def test_turbulent_friction_is_told_only_above_its_onset() -> None:
    bleed = Hole(1.5, 15.0)
    assert float(bleed.friction_excess(10.0, OIL)) == 0.0
    flow = 4500.0 * OIL.kinematic_viscosity * float(bleed._shape()[0]) / 1.5 / 1000.0
    assert float(bleed.reynolds(flow, OIL)) == pytest.approx(4500.0)
    # By hand: f = 0.3164/4500^0.25 = 0.03863, 64/Re = 0.01422, L/D = 10: 0.2441 velocity heads more;
    # the law has 0.1422 + 37.70/4500 + 1.5 = 1.6506; 0.2441/1.6506 = 0.1479.
    assert float(bleed.friction_excess(flow, OIL)) == pytest.approx(0.1479, abs=2e-4)


def test_critical_reynolds_law_has_the_same_turbulent_limit_and_another_creeping_one() -> None:
    orifice = Orifice(1.5)
    fast = critical_reynolds_flow(orifice, 1e4, OIL, critical_reynolds=100.0)
    assert float(fast / orifice.flow(1e4, OIL)) == pytest.approx(1.0, abs=2e-3)
    # 0.01 bar, transition at Re 1000, by hand: v_cr = 1000·15e-6/(0.6110·1.5e-3) = 16.37 m/s,
    # p_cr = 425·16.37² = 113.8 kPa; Cd A = 1.0797e-6 m²; √(2/850) = 0.048507;
    # Q = 1.0797e-6 · 0.048507 · 1000/√113800 = 0.1552e-6 m³/s.
    slow = critical_reynolds_flow(orifice, 0.01, OIL, critical_reynolds=1000.0)
    assert float(slow) == pytest.approx(0.1552, rel=1e-3)


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (
            lambda: Fluid(0.0, 15.0),
            "density: must be a number greater than 0 (found 0); allowed: above 0 kg/m3.",
        ),
        (lambda: Fluid(850.0, math.nan), "kinematic_viscosity: must be a number greater than 0 (found nan)"),
        (lambda: Fluid(850.0, math.inf), "kinematic_viscosity: must be a number greater than 0 (found inf)"),
        (
            lambda: Hole(-1.0, 5.0),
            "diameter: must be a number greater than 0 (found -1); allowed: above 0 mm.",
        ),
        (lambda: Hole(1.0, -5.0), "length: must be a number of 0 or more (found -5); allowed: 0 or more mm."),
        (lambda: Hole(1.0, 5.0, quantity=0.0), "quantity: must be a number greater than 0"),
        (
            lambda: Hole(1.0, 5.0, area=0.0),
            "area: must be a number greater than 0 (found 0); allowed: above 0 mm2.",
        ),
        (lambda: Hole(1.0, 5.0, loss_coefficient=0.0), "loss_coefficient: must be a number greater than 0"),
        (lambda: Hole(1.0, 5.0, friction_constant=0.0), "friction_constant: must be a number greater than 0"),
        (lambda: Orifice(0.0), "diameter: must be a number greater than 0"),
        (
            lambda: Orifice(1.0, discharge_coefficient=1.2),
            "discharge_coefficient: is out of range (found 1.2)",
        ),
        (lambda: AnnularGap(20.0, 0.0, 5.0), "clearance: must be a number greater than 0"),
        (lambda: AnnularGap(20.0, 3.0, 5.0), "clearance: is out of range (found 3); allowed: 0 to 2 mm."),
        (lambda: AnnularGap(20.0, 0.1, 0.0), "length: must be a number greater than 0"),
        (
            lambda: AnnularGap(20.0, 0.1, 5.0, 1.5),
            "eccentricity: is out of range (found 1.5); allowed: 0 to 1.",
        ),
        (
            lambda: AnnularGap(20.0, 0.1, 5.0, loss_coefficient=-1.0),
            "loss_coefficient: must be a number greater",
        ),
        (
            lambda: Hole(1.0, 5.0).pressure(math.nan, OIL),
            "flow: is not a finite number; allowed: a number in ml/s.",
        ),
        (
            lambda: Hole(1.0, 5.0).flow(math.inf, OIL),
            "pressure: is not a finite number; allowed: a number in bar.",
        ),
        (lambda: Hole(1.0, 5.0).reynolds(math.inf, OIL), "flow: is not a finite number"),
        (
            lambda: critical_reynolds_flow(Orifice(1.0), 1.0, OIL, critical_reynolds=0.0),
            "critical_reynolds: must be a number greater than 0",
        ),
    ],
)
def test_impossible_input_is_refused_by_name(build: Callable[[], Any], sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        build()
    assert str(caught.value).startswith(sentence)
