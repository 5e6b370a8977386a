"""Valves: what a build's hydraulic side is made of, and the sentence for every value that cannot be."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest

from dampcell.functions.errors import InputError
from dampcell.functions.flow import Fluid
from dampcell.functions.valves import Face, Oil, Valve, valve_from_pairs

FACE: dict[str, float] = {
    "window_inner_diameter": 18.0,
    "window_outer_diameter": 25.0,
    "open_fraction": 0.6,
    "seat_diameter": 26.0,
    "seat_height": 0.0,
    "throat_area": 60.0,
    "throat_length": 6.0,
    "ports": 4.0,
}


def valve(**changes: float) -> Valve:
    return Valve(Face(**FACE), **{"displaced_diameter": 29.0, **changes})


def test_areas_of_a_face_by_hand() -> None:
    face = Face(**FACE)
    # π/4 · (25² − 18²) = 236.405; the land π/4 · (26² − 25²) = 40.055.
    assert face.closed_area == pytest.approx(0.6 * 236.405, abs=1e-3)
    assert face.open_area == pytest.approx(236.405 + 0.5 * 40.055, abs=1e-3)


def test_ports_are_holes_of_a_quarter_of_the_throat_area_each() -> None:
    throat = Face(**FACE).throat
    # √(4 · 15/π) = 4.3702 mm wide.
    assert throat.diameter == pytest.approx(4.3702, abs=1e-4)
    assert throat.quantity == 4.0
    assert throat.length == 6.0


def test_one_metre_a_second_displaces_as_many_millilitres_as_the_area_has_square_millimetres() -> None:
    # π/4 · (29² − 12²) = 547.42.
    assert valve(rod_diameter=12.0).displaced_area == pytest.approx(547.42, abs=0.01)


def test_an_oil_becomes_thinner_and_lighter_with_temperature() -> None:
    cold, warm = Oil(14.0, 3.8, 860.0).at(20.0), Oil(14.0, 3.8, 860.0).at(60.0)
    assert warm.kinematic_viscosity < cold.kinematic_viscosity
    assert warm.density < cold.density
    assert Oil(14.0, 3.8, 860.0).at(40.0).kinematic_viscosity == pytest.approx(14.0)


def test_a_valve_always_leaks_and_has_only_the_paths_it_was_given() -> None:
    assert set(valve().side_paths(0.0)) == {"leak"}
    full = valve(bleed_diameter=1.0, needle_seat_diameter=3.0)
    assert set(full.side_paths(0.0)) == {"leak", "bleed", "needle"}


def test_the_needle_passes_more_with_every_click_and_nothing_when_closed() -> None:
    full = valve(needle_seat_diameter=3.0, needle_clicks=14.0)
    oil = Fluid(850.0, 15.0)
    flows = [float(full.side_paths(float(click))["needle"].flow(1.0, oil)) for click in range(15)]
    assert flows[0] == 0.0
    assert all(low < high for low, high in pairwise(flows))


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"seat_diameter": 24.0}, "port window must lie within the seat"),
        ({"window_inner_diameter": 25.0}, "port window must lie within the seat"),
        ({"window_inner_diameter": math.nan}, "port window must lie within the seat"),
        ({"open_fraction": 1.2}, r"open fraction: is out of range \(found 1.2\); allowed: 0.001 to 1"),
        ({"seat_height": -0.1}, "seat height: is out of range"),
        ({"throat_area": 0.0}, r"throat area: must be a number greater than 0"),
        ({"throat_length": -1.0}, "throat length: must be a number of 0 or more"),
        ({"ports": 0.5}, "ports: is out of range"),
    ],
)
def test_a_face_refuses(change: dict[str, float], sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        Face(**(FACE | change))


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"displaced_diameter": 0.0}, "displaced diameter: must be a number greater than 0"),
        ({"rod_diameter": 29.0}, "rod diameter: must be smaller than what displaces the oil"),
        ({"bleed_diameter": -1.0}, "bleed diameter: must be a number of 0 or more"),
        ({"bleed_length": -1.0}, "bleed length: must be a number of 0 or more"),
        ({"needle_seat_diameter": -1.0}, "needle seat diameter: must be a number of 0 or more"),
        ({"needle_taper_angle": 180.0}, "needle taper angle: is out of range"),
        ({"needle_travel_per_click": 0.0}, "needle travel per click: must be a number greater than 0"),
        ({"needle_clicks": 0.0}, "needle clicks: must be a number greater than 0"),
        ({"needle_travel_closed": -0.1}, "needle travel closed: must be a number of 0 or more"),
        ({"discharge_coefficient": 1.1}, "discharge coefficient: is out of range"),
        ({"leak_diameter": 0.0}, "leak diameter: must be a number greater than 0"),
        ({"wetting_lift": 0.0}, "wetting lift: must be a number greater than 0"),
        ({"reservoir_pressure": -1.0}, "reservoir pressure: must be a number of 0 or more"),
    ],
)
def test_a_valve_refuses(change: dict[str, float], sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        valve(**change)


def test_an_adjuster_refuses_clicks_that_it_does_not_have() -> None:
    with pytest.raises(InputError, match=r"does not have that click \(found 15\); allowed: 0 to 14 clicks"):
        valve(needle_seat_diameter=3.0, needle_clicks=14.0).side_paths(15.0)
    with pytest.raises(InputError, match=r"this valve has no adjuster \(found 3\)"):
        valve().side_paths(3.0)


def pairs(**changes: Any) -> dict[str, Any]:
    named = {f"{letter}_{name}": value for letter in "ab" for name, value in FACE.items()}
    return {**named, "face": "a", "displaced_diameter": 29.0, **changes}


def test_the_named_face_meets_the_stack() -> None:
    assert valve_from_pairs(pairs(b_seat_diameter=27.0)).face.seat_diameter == 26.0
    assert valve_from_pairs(pairs(b_seat_diameter=27.0, face="b")).face.seat_diameter == 27.0


def test_an_error_of_a_pair_says_where_its_value_stands() -> None:
    missing = r"valve, b seat diameter: is missing, and face b meets the stack"
    with pytest.raises(InputError, match=missing):
        valve_from_pairs(pairs(face="b", b_seat_diameter=None))
    with pytest.raises(InputError, match=r"valve, face a, open fraction: is out of range \(found 2\)"):
        valve_from_pairs(pairs(a_open_fraction=2.0))
    with pytest.raises(InputError, match="valve, rod diameter: must be smaller"):
        valve_from_pairs(pairs(rod_diameter=30.0))
