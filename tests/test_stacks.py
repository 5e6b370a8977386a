"""Properties of the stack model, what it refuses, and stacks of any kind that it has to solve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dampcell.functions import contact
from dampcell.functions import stacks as stacks_module
from dampcell.functions.cells.stacks import STACK
from dampcell.functions.errors import InputError, NoSolutionError, ValidityError
from dampcell.functions.plates import plate_stiffness
from dampcell.functions.stack_reading import (
    equivalent_shims,
    equivalent_thickness,
    findings,
    secant_stiffness,
    tolerance_bands,
    worst_stress,
)
from dampcell.functions.stacks import BEYOND, Part, Stack, StackModel, Theory, pressure_load, stack_from_rows

quick = settings(max_examples=15, deadline=None, derandomize=True)
CLAMP = 12.0
THICKNESSES = (0.1, 0.15, 0.2, 0.25, 0.3)

parts = st.builds(
    lambda outer, thickness, quantity: Part("shim", outer, thickness, quantity),
    st.sampled_from([14.0, 16.0, 18.5, 20.0, 22.0, 24.0, 26.0, 28.0, 30.0]),
    st.sampled_from(THICKNESSES),
    st.integers(1, 2),
)
faces = st.builds(lambda thickness: Part("shim", 30.0, thickness, 1), st.sampled_from(THICKNESSES))
stacks = st.builds(lambda face, rest: Stack((face, *rest), CLAMP), faces, st.lists(parts, max_size=5))
seats = st.sampled_from([22.0, 26.0, 27.0, 30.0])
theories = st.sampled_from(["small", "large"])


def build(*rows: list[object]) -> Stack:
    """A stack from the rows of a table."""
    return stack_from_rows(STACK.parse([list(row) for row in rows], parameter="stack"))


def lift(stack: Stack, load: float, seat: float = 26.0, theory: Theory = "small", **more: float) -> float:
    """Lift at the seat."""
    model = StackModel(stack, seat, theory=theory, **more)  # type: ignore[arg-type] # only numbers are given
    return float(model.lift(model.states(load))[0])


SHIM = build(["shim", 30, 0.2, 1], ["clamp", 12])
TWO_STAGE = build(["shim", 30, 0.15, 1], ["shim", 20, 0.1, 1], ["shim", 30, 0.2, 2], ["clamp", 12])
PRELOADED = build(
    ["shim", 30, 0.2, 1],
    ["centering", 16, 0.2, 1],
    ["ring", 28, 0.25, 1, 20],
    ["shim", 30, 0.2, 2],
    ["shim", 20, 0.2, 1],
    ["clamp", 12],
)


# -- properties -------------------------------------------------------------------------------------------


@quick
@given(
    stacks,
    seats,
    theories,
    st.floats(1.0, 80.0),
    st.sampled_from(THICKNESSES),
    st.sampled_from([16.0, 26.0, 30.0]),
)
def test_one_more_shim_on_the_clamp_side_is_never_softer(
    stack: Stack, seat: float, theory: Theory, load: float, thickness: float, outer: float
) -> None:
    more = replace(stack, parts=(*stack.parts, Part("shim", outer, thickness, 1)))
    assert lift(more, load, seat, theory) <= lift(stack, load, seat, theory) * (1.0 + 2e-3)


@quick
@given(st.sampled_from(THICKNESSES), st.integers(2, 12), seats, st.floats(0.5, 40.0))
def test_equal_shims_are_so_many_times_as_stiff_as_one(
    thickness: float, quantity: int, seat: float, load: float
) -> None:
    one, many = (Stack((Part("shim", 30.0, thickness, n),), CLAMP) for n in (1, quantity))
    for theory in ("small", "large"):
        assert lift(many, quantity * load, seat, theory) == pytest.approx(
            lift(one, load, seat, theory), rel=1e-6
        )
    single = plate_stiffness(30.0, CLAMP, thickness, load_diameter=seat)
    assert load / lift(many, load, seat) == pytest.approx(quantity * single, rel=1e-9)


@quick
@given(st.lists(st.sampled_from(THICKNESSES), min_size=2, max_size=6))
def test_equal_shims_in_several_rows_are_as_one_row(thicknesses: list[float]) -> None:
    """Shims of one diameter on each other bend alike: their own stiffnesses add up."""
    stack = Stack(tuple(Part("shim", 30.0, thickness) for thickness in thicknesses), CLAMP)
    wanted = sum(plate_stiffness(30.0, CLAMP, thickness, load_diameter=26.0) for thickness in thicknesses)
    assert 10.0 / lift(stack, 10.0) == pytest.approx(wanted, rel=1e-9)


@quick
@given(stacks, seats, theories, st.sampled_from([0.0, 0.05]))
def test_lift_rises_with_the_load(stack: Stack, seat: float, theory: Theory, seat_height: float) -> None:
    model = StackModel(stack, seat, theory=theory, seat_height=seat_height)
    lifts = model.lift(model.states(np.linspace(0.0, 120.0, 25)))
    assert lifts[0] == pytest.approx(seat_height, abs=1e-9)
    assert np.all(np.diff(lifts) >= -1e-9)


@quick
@given(stacks, seats, st.floats(1.1, 3.0), st.floats(1.0, 50.0))
def test_small_lift_goes_with_load_over_modulus(
    stack: Stack, seat: float, factor: float, load: float
) -> None:
    """Twice the load on twice the modulus is the same lift, gaps and all."""
    stiffer = lift(stack, factor * load, seat, modulus=factor * 206.0)
    assert stiffer == pytest.approx(lift(stack, load, seat), rel=1e-6)


@quick
@given(stacks, seats, st.floats(1.2, 2.0), st.floats(1.0, 50.0), theories)
def test_lift_of_a_scaled_stack_scales_with_its_size(
    stack: Stack, seat: float, factor: float, load: float, theory: Theory
) -> None:
    """All dimensions times n and the load times n² make the lift times n: same stresses, same shape."""
    big = Stack(
        tuple(
            replace(part, outer_diameter=factor * part.outer_diameter, thickness=factor * part.thickness)
            for part in stack.parts
        ),
        factor * CLAMP,
    )
    found = lift(big, factor**2 * load, factor * seat, theory)
    assert found == pytest.approx(factor * lift(stack, load, seat, theory), rel=1e-4)


@quick
@given(stacks, seats)
def test_both_theories_agree_on_a_tiny_load(stack: Stack, seat: float) -> None:
    assert lift(stack, 0.01, seat, "large") == pytest.approx(lift(stack, 0.01, seat), rel=1e-4)


@quick
@given(stacks, seats, st.floats(5.0, 200.0))
def test_large_lift_is_never_more_than_the_small_one(stack: Stack, seat: float, load: float) -> None:
    assert lift(stack, load, seat, "large") <= lift(stack, load, seat) * (1.0 + 1e-6)


@quick
@given(stacks, seats, theories)
def test_stiffness_is_the_slope_of_load_over_lift(stack: Stack, seat: float, theory: Theory) -> None:
    model = StackModel(stack, seat, theory=theory)
    loads = np.linspace(10.0, 14.0, 9)
    lifts = model.lift(model.states(loads))
    slopes = np.diff(loads) / np.diff(lifts)
    stiffness = float(model.stiffness(model.states(12.0))[0])
    if slopes.max() < 1.01 * slopes.min():  # no gap closes on the way
        assert stiffness == pytest.approx((loads[5] - loads[3]) / (lifts[5] - lifts[3]), rel=0.005)
    else:
        assert 0.995 * slopes.min() < stiffness < 1.005 * slopes.max()


@quick
@given(stacks, seats, theories, st.lists(st.floats(0.0, 150.0, width=16), min_size=1, max_size=30))
def test_a_load_among_others_gives_what_it_gives_alone(
    stack: Stack, seat: float, theory: Theory, loads: list[float]
) -> None:
    model = StackModel(stack, seat, theory=theory)
    together = model.lift(model.states(loads))
    alone = [float(model.lift(model.states(load))[0]) for load in loads]
    assert together == pytest.approx(alone, rel=1e-4, abs=1e-9)


@quick
@given(stacks, seats, theories, st.floats(1.0, 150.0))
def test_an_answer_does_not_depend_on_what_was_asked_before(
    stack: Stack, seat: float, theory: Theory, load: float
) -> None:
    fresh, asked = (StackModel(stack, seat, theory=theory) for _ in range(2))
    asked.states([0.5 * load, load, 2.0 * load, 3.0 * load, 4.0 * load])
    asked.states(1.01 * load)
    asked.opening()
    assert float(asked.lift(asked.states(load))[0]) == float(fresh.lift(fresh.states(load))[0])
    assert asked.stresses(load) == fresh.stresses(load)


def test_a_model_that_remembers_many_loads_starts_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stacks_module, "_MOST_KNOWN", 2)
    model = StackModel(TWO_STAGE, 26.0)
    loads = [10.0, 20.0, 30.0, 10.0]
    lifts = [float(model.lift(model.states(load))[0]) for load in loads]
    assert lifts[0] == lifts[3] < lifts[1] < lifts[2]


@pytest.mark.parametrize("theory", ["small", "large"])
def test_states_of_another_stack_are_only_a_start(theory: Theory) -> None:
    model = StackModel(TWO_STAGE, 26.0, theory=theory)
    alone = float(model.lift(model.states(30.0))[0])
    thicker = StackModel(TWO_STAGE.shifted(0.005, 0.0), 26.0, theory=theory)
    other = StackModel(SHIM, 26.0, theory=theory)
    for start in (thicker.states(30.0), other.states(30.0)):
        assert float(model.lift(model.states(30.0, start))[0]) == pytest.approx(alone, rel=1e-6)


@pytest.mark.parametrize("theory", ["small", "large"])
def test_a_vanishing_load_is_solved_among_others(theory: Theory) -> None:
    loads = [*np.linspace(0.0, 50.0, 20), 5e-324, 1e-200, 1e-12]
    model = StackModel(TWO_STAGE, 26.0, theory=theory)
    assert model.lift(model.states(loads))[-3:] == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)


@quick
@given(stacks, st.floats(0.01, 0.1), theories)
def test_a_raised_seat_opens_at_the_load_of_that_lift(
    stack: Stack, seat_height: float, theory: Theory
) -> None:
    """For a rigid seat the opening load is the stack's load at a lift of the seat's height."""
    model = StackModel(stack, 26.0, theory=theory, seat_height=seat_height)
    opening = model.opening()
    assert lift(stack, opening, 26.0, theory) == pytest.approx(seat_height, rel=1e-4)
    at = model.states([0.5 * opening, 0.999 * opening, 1.001 * opening])
    assert at.seated.tolist() == [True, True, False]
    assert model.lift(at)[:2] == pytest.approx([seat_height, seat_height], rel=1e-6)
    assert np.isinf(model.stiffness(at)).tolist() == [True, True, False]


@quick
@given(stacks, st.floats(1.0, 40.0))
def test_tolerance_band_brackets_the_nominal_value(stack: Stack, load: float) -> None:
    bands = tolerance_bands(
        stack, 26.0, load, thickness_tolerance=0.005, clamp_tolerance=0.1, seat_tolerance=0.1
    )
    for band in bands:
        assert band.low < band.nominal < band.high


def test_thickness_tolerance_of_one_shim_by_hand() -> None:
    """(0.205/0.2)³ = 1.0769 and (0.195/0.2)³ = 0.9269 of the stiffness at small lift."""
    _, stiffness = tolerance_bands(SHIM, 26.0, 1.0, thickness_tolerance=0.005, theory="small")
    assert stiffness.high / stiffness.nominal == pytest.approx(1.07689, rel=1e-5)
    assert stiffness.low / stiffness.nominal == pytest.approx(0.92686, rel=1e-5)


def test_pressure_over_a_narrow_window_is_a_ring_load() -> None:
    ring = StackModel(TWO_STAGE, 26.0, theory="small")
    window = StackModel(TWO_STAGE, 26.0, theory="small", window=(25.99, 26.01))
    assert window.lift(window.states(30.0)) == pytest.approx(ring.lift(ring.states(30.0)), rel=1e-5)


def test_pressure_load_by_hand() -> None:
    """2 bar = 0.2 MPa on 60 % of π/4 (24² − 18²) mm² = 197.92 mm²: 23.750 N."""
    assert pressure_load(2.0, (18.0, 24.0), 0.6) == pytest.approx(0.2 * 0.6 * np.pi / 4 * 252.0, rel=1e-12)


def test_a_gap_makes_two_stages() -> None:
    """Before the gap closes only the face shim bends; after that the shims behind it, too."""
    face = plate_stiffness(30.0, 12.0, 0.15, load_diameter=27.0)
    both = face + 2 * plate_stiffness(30.0, 12.0, 0.2, load_diameter=27.0)
    model = StackModel(TWO_STAGE, 27.0, theory="small")
    # The spacer of 20 mm is touched at once, so the first stage is stiffer than the bare face shim.
    first, second = model.stiffness(model.states([1.0, 300.0]))
    assert face < first < 0.6 * second
    assert second < both + plate_stiffness(20.0, 12.0, 0.1, load_diameter=20.0) * 4


def test_a_ring_as_thick_as_its_centering_shim_presses_on_nothing() -> None:
    ring = build(
        ["shim", 30, 0.2, 1],
        ["ring", 28, 0.2, 1, 20],
        ["centering", 20, 0.2, 1],
        ["shim", 30, 0.2, 1],
        ["clamp", 12],
    )
    assert StackModel(ring, 26.0).opening() == pytest.approx(0.0, abs=1e-5)
    assert StackModel(PRELOADED, 26.0).opening() > 1.0


def test_a_thicker_ring_presses_harder() -> None:
    def opening(thickness: float) -> float:
        parts = tuple(
            replace(part, thickness=thickness) if part.kind == "ring" else part for part in PRELOADED.parts
        )
        return StackModel(replace(PRELOADED, parts=parts), 26.0).opening()

    loads = [opening(thickness) for thickness in (0.15, 0.2, 0.21, 0.23, 0.26)]
    assert loads[:2] == pytest.approx([0.0, 0.0], abs=1e-5)
    assert loads[1] < loads[2] < loads[3] < loads[4]


def test_a_shim_beyond_twice_its_thickness_is_told() -> None:
    model = StackModel(SHIM, 26.0)
    assert model.notes(model.states(10.0)) == ()
    assert model.notes(model.states([10.0, 100.0])) == (BEYOND,)
    assert model.edge_ratio(model.states(100.0))[0] > 2.0


def test_stiffening_stops_at_the_end_of_the_axisymmetric_range() -> None:
    """Beyond it load over small-lift load stays what it is at twice the thickness, 1.76 (own shell study)."""
    stiffness = plate_stiffness(30.0, 12.0, 0.2, load_diameter=30.0)
    for load in (300.0, 1000.0):
        assert load / lift(SHIM, load, 30.0, "large") / stiffness == pytest.approx(1.76, rel=0.03)


def test_worst_piece_of_two_shims_is_told_by_number_and_ratio() -> None:
    stack = build(["shim", 30, 0.1, 2], ["shim", 28, 0.3, 1], ["clamp", 12])
    model = StackModel(stack, 26.0, theory="small")
    worst = worst_stress(model, 20.0, 500.0)
    stresses = {number: stress for number, _, stress in model.stresses(20.0)}
    assert worst.number == max(stresses, key=lambda number: stresses[number]) == 3
    assert worst.ratio == pytest.approx(worst.stress / 500.0, rel=1e-12)
    # The thin pieces bend with it: their stress is less by the ratio of the thicknesses, about 1/3.
    assert stresses[1] == pytest.approx(stresses[2], rel=1e-9)
    assert stresses[1] < 0.5 * stresses[3]


def test_pieces_are_numbered_through_rings_and_quantities() -> None:
    model = StackModel(PRELOADED, 26.0)
    found = [(number, part.kind) for number, part, _ in model.stresses(30.0)]
    assert sorted(found) == [
        (1, "shim"),
        (2, "centering"),
        (3, "ring"),
        (4, "shim"),
        (5, "shim"),
        (6, "shim"),
    ]


def test_equivalent_of_equal_shims_by_hand() -> None:
    """Eight equal shims are as stiff as one of twice the thickness, by the cube."""
    stack = build(["shim", 30, 0.1, 8], ["clamp", 12])
    assert equivalent_shims(stack, 26.0) == pytest.approx(8.0, rel=1e-9)
    assert equivalent_thickness(stack, 26.0) == pytest.approx(0.2, rel=1e-9)


def test_a_centering_shim_within_the_clamp_only_makes_height() -> None:
    wide = build(
        ["shim", 30, 0.2, 1],
        ["centering", 12, 0.2, 1],
        ["ring", 28, 0.22, 1, 13],
        ["shim", 30, 0.2, 2],
        ["clamp", 12],
    )
    assert StackModel(wide, 26.0).opening() > 0.0
    assert [number for number, _, _ in StackModel(wide, 26.0).stresses(1.0)] == [1, 3, 4, 5]


# -- stacks of any kind have to be solved -----------------------------------------------------------------


def random_stack(rng: np.random.Generator) -> tuple[Stack, float, float, tuple[float, float] | None]:
    """Shims in any order, rings, gaps, seat height and window; and a load circle."""

    def thickness() -> float:
        return float(rng.choice([0.08, 0.1, 0.12, 0.15, 0.2, 0.25, 0.3]))

    def pieces() -> int:
        return int(rng.integers(1, 4))

    clamp = float(rng.choice([8.0, 10.0, 12.0, 16.0]))
    top = clamp + float(rng.uniform(4.0, 24.0))
    face = round(float(rng.uniform(clamp + 3.0, top)), 1)
    found = [Part("shim", face, thickness(), pieces())]
    for _ in range(rng.integers(0, 8)):
        if rng.random() < 0.18:
            within = round(float(rng.uniform(clamp - 1.0, clamp + 5.0)), 1)
            bore = round(max(within + float(rng.uniform(0.0, 2.0)), clamp), 1)
            ring = Part("ring", bore + round(float(rng.uniform(1.0, 10.0)), 1), thickness(), 1, bore)
            pair = [Part("centering", within, thickness(), 1), ring]
            found += pair if rng.random() < 0.5 else pair[::-1]
        else:
            found.append(Part("shim", round(float(rng.uniform(clamp + 0.4, top)), 1), thickness(), pieces()))
    seat = round(float(rng.uniform(clamp + 0.6 * (face - clamp), face)), 1)
    height = float(rng.choice([0.0, 0.0, 0.0, 0.05, 0.3]))
    low, high = clamp + (face - clamp) * rng.uniform([0.0, 0.6], [0.5, 1.0])
    window = (float(low), float(high)) if rng.random() < 0.25 else None
    return Stack(tuple(found), clamp), min(seat, face), height, window


@pytest.mark.parametrize("seed", range(6))
def test_fifty_random_stacks_are_solved_from_no_load_to_500_newton(seed: int) -> None:
    rng = np.random.default_rng(seed)
    loads = np.array([0.0, 20.0, 120.0, 500.0])
    for _ in range(50):
        stack, seat, height, window = random_stack(rng)
        for theory in ("small", "large"):
            model = StackModel(stack, seat, theory=theory, seat_height=height, window=window)
            lifts = model.lift(model.states(loads))
            assert np.all(lifts >= height - 1e-7), stack
            assert np.all(np.diff(lifts) >= -1e-6 * np.abs(lifts[1:]) - 1e-9), stack
        assert np.isfinite(model.opening()), stack


def test_stacks_that_resist_block_exchange_are_solved_by_search() -> None:
    """Found among random stacks: the exchange of contacts in blocks goes round in circles with them."""
    short = build(
        ["shim", 19.2, 0.08, 1],
        ["centering", 16.9, 0.25, 2],
        ["ring", 25.1, 0.12, 2, 17.4],
        ["shim", 25, 0.08, 2],
        ["clamp", 16],
    )
    model = StackModel(short, 18.8, theory="small")
    # The ring is loose and thinner: at first the two stages bend alone, each in proportion to the load.
    assert model.lift(model.states([1.0, 2.0])) == pytest.approx(
        [lift(short, 1.0, 18.8), 2.0 * lift(short, 1.0, 18.8)], rel=1e-6
    )
    assert 0.0 < lift(short, 120.0, 18.8) < lift(short, 200.0, 18.8) < lift(short, 500.0, 18.8)
    tall = build(
        ["shim", 30.1, 0.12, 2],
        ["shim", 30.3, 0.08, 2],
        ["shim", 17, 0.08, 1],
        ["shim", 29.1, 0.12, 2],
        ["ring", 20.2, 0.2, 1, 17.8],
        ["centering", 16.3, 0.15, 1],
        ["shim", 19.7, 0.3, 2],
        ["shim", 23, 0.08, 2],
        ["shim", 19.6, 0.15, 2],
        ["clamp", 16],
    )
    for theory in ("small", "large"):
        opening = StackModel(tall, 25.0, theory=theory).opening()
        assert lift(tall, 0.99 * opening, 25.0, theory) == pytest.approx(0.0, abs=1e-9)
        assert lift(tall, 1.1 * opening, 25.0, theory) > 1e-4


# -- refusals ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keywords", "sentence"),
    [
        ({"seat_height": -0.1}, "seat_height: is out of range (found -0.1); allowed: 0 to 5 mm."),
        ({"seat_height": 6.0}, "seat_height: is out of range (found 6); allowed: 0 to 5 mm."),
        ({"modulus": 0.0}, "modulus: must be greater than 0 (found 0); allowed: above 0 GPa."),
        ({"poisson": 0.5}, "poisson: is no Poisson's ratio (found 0.5); allowed: 0 to below 0.5."),
    ],
    ids=str,
)
def test_a_model_that_cannot_be_is_refused(keywords: dict[str, float], sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        StackModel(SHIM, 26.0, **keywords)  # type: ignore[arg-type] # wrong on purpose
    assert str(caught.value) == sentence


@pytest.mark.parametrize("window", [(10.0, 20.0), (20.0, 20.0), (24.0, 18.0), (20.0, 30.5)])
def test_a_window_off_the_face_shim_is_refused(window: tuple[float, float]) -> None:
    with pytest.raises(InputError) as caught:
        StackModel(SHIM, 26.0, window=window)
    assert str(caught.value) == (
        "window_inner_diameter, window_outer_diameter: the port window must lie on the face shim, between "
        f'the clamp and its edge (found "{window[0]:g} to {window[1]:g}"); allowed: within 12 to 30 mm.'
    )


def test_a_load_circle_too_near_the_clamp_is_outside_the_theory() -> None:
    with pytest.raises(ValidityError, match="too near the clamp for plate theory"):
        StackModel(SHIM, 12.005)


@pytest.mark.parametrize("load", [-5.0, float("nan")])
def test_a_negative_load_is_refused(load: float) -> None:
    with pytest.raises(InputError) as caught:
        StackModel(SHIM, 26.0).states([10.0, load])
    assert str(caught.value) == f"load: must not be negative (found {load:g}); allowed: 0 N or more."


def test_a_reading_circle_off_the_face_shim_is_refused() -> None:
    model = StackModel(SHIM, 26.0)
    with pytest.raises(InputError) as caught:
        model.lift(model.states(10.0), 30.5)
    assert str(caught.value) == "at_diameter: is not on the face shim (found 30.5); allowed: 12 to 30 mm."


@pytest.mark.parametrize(
    ("keywords", "sentence"),
    [
        (
            {"thickness_tolerance": 0.15},
            "thickness_tolerance: is too large for the thinnest shim (found 0.15); allowed: 0 to 0.1 mm.",
        ),
        (
            {"thickness_tolerance": -0.005},
            "thickness_tolerance: must not be negative (found -0.005); allowed: 0 mm or more.",
        ),
        (
            {"clamp_tolerance": 1.5},
            "clamp_tolerance: is too large for the clamp (found 1.5); allowed: 0 to 1.2 mm.",
        ),
        (
            {"seat_tolerance": 3.0},
            "seat_tolerance: is too large for the load circle (found 3); allowed: 0 to 2.6 mm.",
        ),
        ({"load": 0.0}, "load: must be greater than 0 (found 0); allowed: above 0 N."),
    ],
    ids=str,
)
def test_tolerances_that_cannot_be_are_refused(keywords: dict[str, float], sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        tolerance_bands(SHIM, 26.0, **({"load": 10.0} | keywords))  # type: ignore[arg-type] # only numbers
    assert str(caught.value) == sentence


def test_a_clamp_tolerance_that_swallows_a_shim_is_refused() -> None:
    stack = build(["shim", 30, 0.2, 1], ["shim", 12.5, 0.2, 1], ["clamp", 12])
    with pytest.raises(InputError) as caught:
        tolerance_bands(stack, 26.0, 10.0, clamp_tolerance=0.5)
    assert str(caught.value) == (
        "clamp_tolerance: is too large for the smallest shim (found 0.5); allowed: below 0.5 mm."
    )


def test_contacts_that_do_not_settle_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(contact, "_SWEEPS", -10_000)
    with pytest.raises(NoSolutionError) as caught:
        lift(TWO_STAGE, 30.0)
    assert str(caught.value) == "load: the contacts of this stack did not settle (found 30)."


def test_contacts_without_a_solution_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise np.linalg.LinAlgError("singular")

    model = StackModel(TWO_STAGE, 26.0)
    monkeypatch.setattr(np.linalg, "solve", refuse)
    with pytest.raises(NoSolutionError) as caught:
        model.states(30.0)
    assert str(caught.value) == "stack: the contacts of this stack are not solvable."


def test_a_load_that_lifts_nothing_has_no_secant() -> None:
    with pytest.raises(ValidityError) as caught:
        secant_stiffness(5.0, 0.0)
    assert str(caught.value) == "load: the load does not lift the face shim off its seat (found 5)."


def test_an_endurance_limit_of_nothing_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        worst_stress(StackModel(SHIM, 26.0), 10.0, 0.0)
    assert str(caught.value) == "endurance_limit: must be greater than 0 (found 0); allowed: above 0 MPa."


@pytest.mark.parametrize("share", [0.0, -0.5, 1.5])
def test_an_impossible_open_fraction_is_refused(share: float) -> None:
    with pytest.raises(InputError) as caught:
        pressure_load(2.0, (18.0, 24.0), share)
    assert (
        str(caught.value) == f"open_fraction: is out of range (found {share:g}); allowed: above 0, up to 1."
    )


def test_a_negative_pressure_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        pressure_load(-2.0, (18.0, 24.0))
    assert str(caught.value) == "pressure: must not be negative (found -2); allowed: 0 bar or more."


def test_a_faulty_stack_is_a_finding() -> None:
    found = findings(lambda: build(["shim", 30, 0.2, 1]))
    assert [finding.level for finding in found] == ["fault"]
    assert "has no clamp row" in found[0].sentence


def test_findings_tell_gap_ring_thin_shim_preload_and_stress() -> None:
    stack = build(
        ["shim", 30, 0.1, 1], ["shim", 20, 0.1, 1], ["shim", 28, 0.2, 1],
        ["centering", 16, 0.2, 1], ["ring", 28, 0.25, 1, 20], ["shim", 28, 0.2, 1],
        ["ring", 26, 0.2, 1, 18], ["centering", 16, 0.25, 1], ["shim", 28, 0.2, 1], ["clamp", 12],
    )  # fmt: skip
    sentences = " | ".join(finding.sentence for finding in findings(lambda: stack, 26.0, 200.0))
    for words in (
        "row 2: a smaller shim (20 mm) lies before a larger one (28 mm) and leaves a gap of 0.1 mm",
        "row 5: the ring is 0.05 mm thicker than its centering shim and preloads the face shim",
        "row 7: the ring is 0.05 mm thinner than its centering shim and loose until the stack has lifted",
        "5 µm more on 0.1 mm make this shim 16% stiffer",
        "preloaded: the face shim leaves its seat at",
        "beyond the axisymmetric range",
        "times a typical endurance limit of 700 MPa",
    ):
        assert words in sentences


def test_a_ring_as_thick_as_its_centering_shim_is_told_to_press_on_nothing() -> None:
    stack = build(
        ["shim", 30, 0.2, 1],
        ["centering", 16, 0.2, 1],
        ["ring", 28, 0.2, 1, 20],
        ["shim", 30, 0.2, 1],
        ["clamp", 12],
    )
    assert "row 3: the ring is as thick as its centering shim: no preload" in [
        finding.sentence for finding in findings(lambda: stack)
    ]
