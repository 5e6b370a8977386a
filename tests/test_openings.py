"""The needle adjuster and the gap under a lifted shim: geometry, order, refusals."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions.errors import InputError, NoSolutionError
from dampcell.functions.flow import Fluid
from dampcell.functions.openings import Curtain, Needle, needle_area

OIL = Fluid(density=850.0, kinematic_viscosity=15.0)


def dial(clicks_open: float, **changes: float) -> Needle:
    return Needle(3.0, 20.0, 0.1, 14.0, clicks_open, **changes)


def test_needle_area_is_that_of_the_narrowest_frustum() -> None:
    # Independent: search the point of the cone nearest to the seat's edge, then the frustum's lateral area.
    seat, angle, travel = 3.0, 30.0, 0.5
    half = math.radians(0.5 * angle)
    along = np.linspace(-2.0, 2.0, 400_001)  # depth below the seat's edge [mm]
    cone = 0.5 * seat - (travel + along) * math.tan(half)
    way = np.hypot(0.5 * seat - cone, along)
    nearest = int(np.argmin(way))
    area = math.pi * (0.5 * seat + cone[nearest]) * way[nearest]
    found, width = needle_area(seat, angle, travel)
    assert found == pytest.approx(area, rel=1e-6)
    assert width == pytest.approx(2.0 * way[nearest], rel=1e-6)


@given(st.floats(0.5, 10.0), st.floats(5.0, 170.0))
def test_needle_area_grows_with_travel_up_to_the_bore(seat: float, angle: float) -> None:
    pairs = [needle_area(seat, angle, travel) for travel in np.linspace(0.0, 30.0 * seat, 500)]
    areas, widths = np.array(pairs).T
    assert np.all(np.diff(areas) >= 0.0)
    assert np.all(np.diff(widths) >= 0.0)
    assert areas[0] == 0.0
    assert areas[-1] == pytest.approx(0.25 * math.pi * seat**2, rel=1e-12)


def test_each_click_lets_more_through() -> None:
    through = [float(dial(click).flow(1.0, OIL)) for click in range(15)]
    assert through == sorted(set(through))


def test_a_fully_closed_needle_passes_nothing() -> None:
    assert float(dial(0.0).flow(5.0, OIL)) == 0.0
    assert float(dial(0.0).pressure(0.0, OIL)) == 0.0
    with pytest.raises(NoSolutionError, match="the path is closed: no pressure passes this flow"):
        dial(0.0).pressure(1.0, OIL)


def test_a_needle_with_travel_left_at_its_closed_click_still_passes_oil() -> None:
    assert float(dial(0.0, travel_closed=0.1).flow(1.0, OIL)) == float(dial(1.0).flow(1.0, OIL)) > 0.0


def test_curtain_takes_one_lift_for_each_flow() -> None:
    lifts = np.array([0.0, 0.05, 0.2])
    together = Curtain(24.0, lifts, 1.0).flow(np.array([3.0, 3.0, 3.0]), OIL)
    single = [float(Curtain(24.0, lift, 1.0).flow(3.0, OIL)) for lift in lifts]
    assert together.tolist() == single
    assert single[0] == 0.0


def test_a_shut_curtain_has_no_reynolds_number_and_passes_no_flow() -> None:
    shut = Curtain(24.0, np.array([0.0, 0.1]))
    assert shut.reynolds(0.0, OIL).tolist() == [0.0, 0.0]
    assert shut.pressure(0.0, OIL).tolist() == [0.0, 0.0]


def test_low_lift_is_laminar_with_the_cube_of_the_lift_and_high_lift_linear() -> None:
    thin = [float(Curtain(24.0, lift, 1.0).flow(0.01, OIL)) for lift in (0.002, 0.004)]
    assert thin[1] / thin[0] == pytest.approx(8.0, rel=0.01)
    wide = [float(Curtain(24.0, lift, 1.0).flow(500.0, OIL)) for lift in (1.0, 2.0)]
    assert wide[1] / wide[0] == pytest.approx(2.0, rel=0.01)


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (
            lambda: dial(15.0),
            "clicks_open: the adjuster does not have that click (found 15); allowed: 0 to 14 clicks",
        ),
        (lambda: dial(-1.0), "clicks_open: the adjuster does not have that click (found -1)"),
        (lambda: dial(math.nan), "clicks_open: the adjuster does not have that click"),
        (lambda: dial(3.0, travel_closed=-0.1), "travel_closed: must be a number of 0 or more"),
        (lambda: dial(3.0, discharge_coefficient=0.0), "discharge_coefficient: is out of range"),
        (lambda: Needle(0.0, 20.0, 0.1, 14.0, 3.0), "seat_diameter: must be a number greater than 0"),
        (lambda: Needle(3.0, 0.0, 0.1, 14.0, 3.0), "taper_angle: must be a number greater than 0"),
        (
            lambda: Needle(3.0, 180.0, 0.1, 14.0, 3.0),
            "taper_angle: is out of range (found 180); allowed: 0 to 179 deg.",
        ),
        (lambda: Needle(3.0, 20.0, 0.0, 14.0, 3.0), "travel_per_click: must be a number greater than 0"),
        (lambda: Needle(3.0, 20.0, 0.1, 0.0, 0.0), "clicks: must be a number greater than 0"),
        (lambda: needle_area(3.0, 20.0, -0.1), "travel: must be a number of 0 or more"),
        (lambda: Curtain(0.0, 0.1), "diameter: must be a number greater than 0"),
        (lambda: Curtain(24.0, 0.1, -1.0), "land_width: must be a number of 0 or more"),
        (lambda: Curtain(24.0, -0.1), "lift: must not be negative; allowed: 0 mm or more."),
        (lambda: Curtain(24.0, math.nan), "lift: is not a finite number; allowed: a number in mm."),
        (lambda: Curtain(24.0, 0.1, discharge_coefficient=2.0), "discharge_coefficient: is out of range"),
    ],
)
def test_impossible_input_is_refused_by_name(build: Callable[[], Any], sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        build()
    assert str(caught.value).startswith(sentence)
