"""Paths combined: balance to tolerance, order, closed parts, check valves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dampcell.functions.circuits import (
    CheckValve,
    Parallel,
    Series,
    parallel,
    series,
)
from dampcell.functions.errors import InputError, NoSolutionError
from dampcell.functions.flow import AnnularGap, Floats, Fluid, Hole, Orifice, Path
from dampcell.functions.openings import Curtain, Needle
from dampcell.functions.roots import increasing_root

OIL = Fluid(density=850.0, kinematic_viscosity=15.0)
SHUT = Needle(3.0, 20.0, 0.1, 14.0, 0.0)

simple = st.one_of(
    st.builds(Hole, st.floats(0.1, 10.0), st.floats(0.0, 50.0)),
    st.builds(Orifice, st.floats(0.1, 10.0)),
    st.builds(AnnularGap, st.floats(5.0, 50.0), st.floats(0.005, 0.2), st.floats(0.5, 30.0)),
    st.builds(
        CheckValve,
        st.builds(Hole, st.floats(1.0, 6.0), st.just(2.0)),
        st.floats(0.0, 3.0),
        st.just(Orifice(0.2)),
    ),
)
circuits = st.recursive(
    simple,
    lambda parts: st.one_of(
        st.lists(parts, min_size=1, max_size=3).map(lambda paths: parallel(*paths)),
        st.lists(parts, min_size=1, max_size=3).map(lambda paths: series(*paths)),
    ),
    max_leaves=4,
)


@settings(max_examples=40, deadline=None)
@given(circuits, st.floats(1e-4, 1e3), st.sampled_from((1.0, -1.0)))
def test_any_circuit_gives_back_the_flow_it_was_solved_for(path: Path, flow: float, sign: float) -> None:
    pressure = path.pressure(sign * flow, OIL)
    assert float(path.flow(pressure, OIL)) == pytest.approx(sign * flow, rel=1e-8)


@settings(max_examples=25, deadline=None)
@given(circuits)
def test_any_circuit_rises_strictly_through_zero(path: Path) -> None:
    side = np.geomspace(1e-3, 1e3, 8)
    flow = np.concatenate((-side[::-1], [0.0], side))
    pressure = path.pressure(flow, OIL)
    assert np.all(np.diff(pressure) > 0.0)
    assert pressure[8] == 0.0
    assert path.flow(0.0, OIL) == 0.0


def valve() -> Parallel:
    ports = series(Hole(3.0, 6.0, quantity=4), Curtain(24.0, 0.1, 1.0))
    whole = parallel(Hole(1.5, 5.0), Needle(3.0, 20.0, 0.1, 14.0, 6.0), ports)
    assert isinstance(whole, Parallel)
    return whole


def test_flows_side_by_side_add_up_to_the_flow_asked_for() -> None:
    flow = np.linspace(-1000.0, 1000.0, 61)
    shares = valve().flows(valve().pressure(flow, OIL), OIL)
    assert np.allclose(np.sum(shares, axis=0), flow, rtol=1e-11, atol=0.0)


def test_equal_paths_side_by_side_share_and_one_behind_the_other_add() -> None:
    hole = Hole(1.5, 5.0)
    alone = float(hole.pressure(10.0, OIL))
    assert float(parallel(hole, hole, hole).pressure(30.0, OIL)) == pytest.approx(alone, rel=1e-12)
    assert float(series(hole, hole, hole).pressure(10.0, OIL)) == pytest.approx(3.0 * alone, rel=1e-12)


def test_series_in_closed_form_is_the_same_as_the_solved_one() -> None:
    parts = (Hole(3.0, 6.0), Curtain(24.0, 0.1, 1.0), Orifice(2.0))
    pressure = np.geomspace(1e-6, 1e3, 50)
    assert np.allclose(
        series(*parts).flow(pressure, OIL), Series(parts).flow(pressure, OIL), rtol=1e-10, atol=0.0
    )


def test_series_tells_the_pressure_over_each_part() -> None:
    chain = series(Hole(3.0, 6.0), Orifice(2.0))
    assert isinstance(chain, Series)
    parts = chain.pressures(50.0, OIL)
    assert float(sum(parts)) == pytest.approx(float(chain.pressure(50.0, OIL)), rel=1e-12)
    assert float(parts[0]) == float(Hole(3.0, 6.0).pressure(50.0, OIL))


def test_a_single_path_stays_itself() -> None:
    hole = Hole(1.5, 5.0)
    assert parallel(hole) is hole
    assert series(hole) is hole


def test_a_closed_path_changes_nothing_beside_and_shuts_what_is_behind() -> None:
    hole = Hole(1.5, 5.0)
    assert float(parallel(hole, SHUT).pressure(10.0, OIL)) == pytest.approx(
        float(hole.pressure(10.0, OIL)), rel=1e-11
    )
    assert float(series(hole, SHUT).flow(10.0, OIL)) == 0.0
    for shut in (series(hole, SHUT), parallel(SHUT, SHUT), series(parallel(hole, hole), SHUT)):
        with pytest.raises(NoSolutionError, match="the path is closed"):
            shut.pressure(1.0, OIL)
        assert float(shut.pressure(0.0, OIL)) == 0.0


def test_shim_gap_with_its_ports_follows_the_lift_element_by_element() -> None:
    lifts = np.array([0.0, 0.02, 0.1, 0.5, 5.0])
    port = Hole(3.0, 6.0, quantity=4)
    through = series(port, Curtain(24.0, lifts, 1.0)).flow(np.full(5, 10.0), OIL)
    assert through[0] == 0.0
    assert np.all(np.diff(through) > 0.0)
    assert through[-1] == pytest.approx(float(port.flow(10.0, OIL)), rel=0.01)


def test_check_valve_leaks_one_way_and_opens_the_other_at_its_preload() -> None:
    opened, leak = Hole(4.0, 2.0), Orifice(0.2)
    check = CheckValve(opened, 0.3, leak)
    assert float(check.flow(-5.0, OIL)) == float(leak.flow(-5.0, OIL))
    assert float(check.flow(0.3, OIL)) == float(leak.flow(0.3, OIL))
    expected = float(leak.flow(1.3, OIL)) + float(opened.flow(1.0, OIL))
    assert float(check.flow(1.3, OIL)) == pytest.approx(expected, rel=1e-12)


def test_check_valve_has_no_jump_at_its_preload() -> None:
    check = CheckValve(Hole(4.0, 2.0), 0.3, Orifice(0.2))
    below, above = check.flow(np.array([0.3 - 1e-9, 0.3 + 1e-9]), OIL)
    assert 0.0 < above - below < 1e-4
    assert float(check.pressure(0.5 * (above + below), OIL)) == pytest.approx(0.3, abs=2e-9)


def test_check_valve_without_a_leak_is_shut_the_other_way() -> None:
    tight = CheckValve(Hole(4.0, 2.0), 0.3, SHUT)
    assert float(tight.pressure(20.0, OIL)) == pytest.approx(
        0.3 + float(Hole(4.0, 2.0).pressure(20.0, OIL)), rel=1e-11
    )
    with pytest.raises(NoSolutionError, match="the path is closed"):
        tight.pressure(-1.0, OIL)


def test_paths_of_very_different_size_are_solved_too() -> None:
    odd = parallel(Orifice(0.01), Hole(50.0, 1.0), AnnularGap(10.0, 0.001, 100.0))
    flow = np.geomspace(1e-9, 1e6, 40)
    assert np.allclose(odd.flow(odd.pressure(flow, OIL), OIL), flow, rtol=1e-10, atol=0.0)


def test_few_steps_solve_a_whole_curve() -> None:
    calls = 0
    parts = valve().paths
    flow = np.linspace(1.0, 1000.0, 60)

    def balance(pressure: Floats) -> Floats:
        nonlocal calls
        calls += 1
        return np.asarray(sum(part.flow(pressure, OIL) for part in parts) - flow)

    least = np.min([part.pressure(flow / 3.0, OIL) for part in parts], axis=0)
    most = np.min([part.pressure(flow, OIL) for part in parts], axis=0)
    increasing_root(balance, least, most)
    assert calls <= 15


@given(st.floats(0.01, 0.99), st.sampled_from((1e-3, 1.0, 1e3, 1e9)))
def test_the_root_is_found_to_tolerance_whatever_the_shape(root: float, steep: float) -> None:
    def kinked(x: Floats) -> Floats:
        return np.where(x < root, (x - root) ** 9, steep * (x - root))

    found = float(increasing_root(kinked, np.array(0.0), np.array(1.0)))
    # The flat side underflows to nothing long before the tolerance; there any x is a root.
    assert abs(found - root) < 1e-11 or kinked(np.array(found)) > -1e-40


def test_bad_combinations_are_refused() -> None:
    with pytest.raises(
        InputError, match=r"^paths: there is no path to combine; allowed: one path or more\.$"
    ):
        parallel()
    with pytest.raises(InputError, match=r"^paths: there is no path to combine"):
        series()
    for preload in (-1.0, float("nan"), float("inf")):
        with pytest.raises(InputError, match=r"^preload: must be 0 or more .*; allowed: 0 bar or more\.$"):
            CheckValve(Hole(4.0, 2.0), preload, Orifice(0.2))
