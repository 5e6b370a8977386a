"""Stacks from a drawer: nearest to the wish, buildable, within the counts, and the same every time.

The exhaustive search is the independent method: it computes every stack of a small drawer in full.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pytest

from dampcell.functions.cells.matching import stack_match, stack_read, stack_text
from dampcell.functions.damping import DampingModel, LiftTable
from dampcell.functions.errors import InputError, ValidityError
from dampcell.functions.matching import Kind, Match, Wish, _StandIn, match_stacks
from dampcell.functions.plates import plate_deflection
from dampcell.functions.registry import evaluate
from dampcell.functions.stacks import Part, Stack
from dampcell.functions.valves import Face, Oil, Valve

FACE = Face(18.0, 25.0, 0.6, 26.0, 0.0, 60.0, 6.0, 4.0)
VALVE = Valve(FACE, displaced_diameter=29.0, rod_diameter=12.0, bleed_diameter=1.0)
FLUID = Oil(14.0, 3.8, 860.0).at(30.0)
GIVEN = Stack(
    (Part("shim", 30.0, 0.2, 2), Part("shim", 26.0, 0.2, 2), Part("shim", 20.0, 0.2, 2)), clamp_diameter=12.0
)
DRAWER = (Kind(30.0, 0.2, 2), Kind(26.0, 0.2, 2), Kind(22.0, 0.15, 2), Kind(18.0, 0.2, 1))

VALVE_TABLE: list[list[object]] = [
    ["face", "a"],
    ["a window inner diameter", 18],
    ["a window outer diameter", 25],
    ["a open fraction", 0.6],
    ["a seat diameter", 26],
    ["a throat area", 60],
    ["displaced diameter", 29],
    ["rod diameter", 12],
    ["bleed diameter", 1],
]
OIL_TABLE = [[14, 3.8, 860]]
STACK_TABLE: list[list[object]] = [
    ["shim", 30, 0.2, 2],
    ["shim", 26, 0.2, 2],
    ["shim", 20, 0.2, 2],
    ["clamp", 12, 0.3, 1],
]


@pytest.fixture(scope="module")
def model() -> DampingModel:
    return DampingModel(LiftTable(GIVEN, FACE), VALVE)


def force(model: DampingModel, velocity: float) -> float:
    return float(model.curve(velocity, FLUID).force[0])


def found(model: DampingModel, change: float, drawer: Sequence[Kind] = DRAWER) -> list[Match]:
    wish = Wish(2.0, force(model, 2.0) * (1.0 + change))
    return match_stacks(drawer, model, FLUID, stack=GIVEN, wishes=[wish])


def buildable(counts: Sequence[int]) -> bool:
    """The rules of the docstring, written again: face shim on the seat, moderate steps to the clamp."""
    sizes = [kind.outer_diameter for kind, count in zip(DRAWER, counts, strict=True) if count]
    if not sizes or sizes[0] < FACE.seat_diameter:
        return False
    steps = [a - b for a, b in itertools.pairwise([*sizes, GIVEN.clamp_diameter])]
    return sum(counts) <= 2 or max(steps) <= 0.5 * (sizes[0] - GIVEN.clamp_diameter) + 1e-9


@pytest.mark.parametrize("change", [-0.4, -0.15, 0.1])
def test_the_best_stack_is_as_near_as_the_best_of_all_stacks(model: DampingModel, change: float) -> None:
    wanted = force(model, 2.0) * (1.0 + change)
    errors = []
    for counts in itertools.product(*(range(kind.count + 1) for kind in DRAWER)):
        if buildable(counts):
            parts = [
                Part("shim", kind.outer_diameter, kind.thickness, count)
                for kind, count in zip(DRAWER, counts, strict=True)
                if count
            ]
            build = model.with_table(LiftTable(Stack(tuple(parts), 12.0), FACE))
            errors.append(abs(force(build, 2.0) / wanted - 1.0))
    assert found(model, change)[0].error == pytest.approx(min(errors), abs=0.002)


def test_stacks_are_ranked_and_keep_to_the_drawer(model: DampingModel) -> None:
    matches = found(model, -0.15)
    assert len(matches) == 5
    assert [match.error for match in matches] == sorted(match.error for match in matches)
    limits = {(kind.outer_diameter, kind.thickness): kind.count for kind in DRAWER}
    for match in matches:
        sizes = [part.outer_diameter for part in match.stack.parts]
        assert sizes == sorted(sizes, reverse=True)
        assert sizes[0] >= FACE.seat_diameter
        assert match.stack.clamp_diameter == GIVEN.clamp_diameter
        assert match.stress_ratio > 0.0
        for part in match.stack.parts:
            assert part.quantity <= limits[part.outer_diameter, part.thickness]


def test_the_predicted_force_is_that_of_the_damping_model(model: DampingModel) -> None:
    match = found(model, -0.15)[0]
    build = model.with_table(LiftTable(match.stack, FACE))
    assert match.forces[0] == force(build, 2.0)


def test_the_same_wish_gives_the_same_stacks(model: DampingModel) -> None:
    assert found(model, -0.2) == found(model, -0.2)
    assert found(model, -0.2) == found(model, -0.2, tuple(reversed(DRAWER)))


def test_a_softer_wish_gives_softer_stacks(model: DampingModel) -> None:
    forces = [found(model, change)[0].forces[0] for change in (-0.4, -0.2, 0.0)]
    assert forces == sorted(forces)


def test_shims_that_do_not_fit_are_never_used(model: DampingModel) -> None:
    odd = (Kind(34.0, 0.2, 4), Kind(12.0, 0.2, 4), Kind(28.0, 0.2, 0))
    assert found(model, -0.15, (*DRAWER, *odd)) == found(model, -0.15)


def test_a_drawer_without_a_face_shim_is_refused(model: DampingModel) -> None:
    with pytest.raises(
        InputError, match=r"no shim that covers the seat.*allowed: outer diameter 26 to 30 mm"
    ):
        found(model, -0.1, (Kind(24.0, 0.2, 4),))


def test_a_drawer_of_one_shim_gives_that_shim(model: DampingModel) -> None:
    assert [len(match.stack.parts) for match in found(model, 0.0, (Kind(30.0, 0.2, 1),))] == [1]


def test_no_wish_and_no_shims_are_refused(model: DampingModel) -> None:
    with pytest.raises(InputError, match="wish: has no wish"):
        match_stacks(DRAWER, model, FLUID, stack=GIVEN, wishes=[])
    with pytest.raises(InputError, match=r"most_shims: is out of range \(found 0\); allowed: 1 to 30"):
        match_stacks(DRAWER, model, FLUID, stack=GIVEN, wishes=[Wish(1.0, 100.0)], most_shims=0)


def test_a_force_that_bleed_or_ports_decide_is_refused(model: DampingModel) -> None:
    with pytest.raises(ValidityError, match="beyond what bleed and adjuster let through"):
        match_stacks(DRAWER, model, FLUID, stack=GIVEN, wishes=[Wish(0.02, 1e4)])
    with pytest.raises(ValidityError, match=r"beyond what ports and displaced area need|the ports alone"):
        match_stacks(DRAWER, model, FLUID, stack=GIVEN, wishes=[Wish(4.0, 1.0)])


def call(wish: list[list[object]], **changed: object) -> list[list[object]]:
    drawer = changed.get("drawer", [[30, 0.2, 4], [26, 0.2, 4], [22, 0.15, 2], [18, 0.2, 1]])
    outcome = evaluate("STACK_MATCH", [drawer, STACK_TABLE, VALVE_TABLE, OIL_TABLE, 30, 0, wish])
    error = outcome.first_error()
    if error is not None:
        raise InputError(error.message)
    assert isinstance(outcome.value, list)
    return outcome.value


def test_the_cell_gives_rank_stack_error_stress_and_a_change_for_each_wish() -> None:
    rows = call([[0.5, -10], [2.0, "-15 %"]])
    assert [row[0] for row in rows] == [1, 2, 3, 4, 5]
    assert {len(row) for row in rows} == {6}
    assert rows[0][5] == pytest.approx(-15.0, abs=8.0)


def test_a_stack_in_words_is_read_back_into_the_same_damping() -> None:
    best = call([[2.0, -15]])[0]
    stack = stack_read(best[1])
    changed = evaluate("DAMPING_CHANGE", [2.0, stack, VALVE_TABLE, OIL_TABLE, 30, 0, STACK_TABLE]).value
    assert changed == pytest.approx(best[4], rel=1e-9)


def test_a_wanted_force_serves_as_well_as_a_change(model: DampingModel) -> None:
    by_force = call([[2.0, "", 0.85 * force(model, 2.0)]])
    assert by_force[0][1] == call([[2.0, -15]])[0][1]


@pytest.mark.parametrize(
    ("wish", "sentence"),
    [
        ([[2.0, "", ""]], "wish row 1: needs a change or a force, and not both"),
        ([[2.0, -15, 900]], "wish row 1: needs a change or a force, and not both"),
        ([[2.0, -100]], "wish row 1: wants no force at all; allowed: a change above −100 %"),
    ],
)
def test_a_wish_that_says_nothing_is_refused(wish: list[list[object]], sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        call(wish)


def test_broken_counts_are_refused() -> None:
    with pytest.raises(InputError, match=r"drawer row 1, count: must be a whole number \(found 2\.5\)"):
        call([[2.0, -15]], drawer=[[30, 0.2, 2.5]])
    with pytest.raises(InputError, match=r"most_shims: must be a whole number \(found 2\.5\)"):
        stack_match([[30, 0.2, 2]], STACK_TABLE, VALVE_TABLE, OIL_TABLE, 30, 0, [[2.0, -15]], 2.5)


def test_a_shim_of_which_none_is_left_is_no_more_there_than_a_row_deleted() -> None:
    with_none = call([[2.0, -15]], drawer=[[30, 0.2, 4], [28, 0.2, 0], [26, 0.2, 4], [20, 0.2, "0"]])
    assert with_none == call([[2.0, -15]], drawer=[[30, 0.2, 4], [26, 0.2, 4]])


@pytest.mark.parametrize("blank", [None, ""])
def test_a_shim_without_a_count_is_refused(blank: object) -> None:
    with pytest.raises(InputError, match=r"drawer row 2: count is missing; allowed: a number"):
        call([[2.0, -15]], drawer=[[30, 0.2, 4], [26, 0.2, blank]])


def test_a_drawer_in_which_none_is_left_of_any_face_shim_is_refused() -> None:
    with pytest.raises(InputError, match="no shim that covers the seat"):
        call([[2.0, -15]], drawer=[[30, 0.2, 0], [20, 0.2, 4]])


def test_words_that_are_no_stack_are_refused() -> None:
    for text in ("2×30×0.2", "clamp 12", "2*30*0.2, clamp 12", "2×30, clamp 12"):
        with pytest.raises(InputError, match="text: is no stack in words"):
            stack_read(text)


def test_words_survive_the_round_trip() -> None:
    text = stack_text(GIVEN)
    assert text == "2×30×0.2, 2×26×0.2, 2×20×0.2, clamp 12"
    read = stack_read(text.replace("×", " x "))
    assert read == [
        ["shim", 30.0, 0.2, 2],
        ["shim", 26.0, 0.2, 2],
        ["shim", 20.0, 0.2, 2],
        ["clamp", 12.0, "", 1],
    ]


def test_stand_in_is_right_where_all_shims_are_equal() -> None:
    # With one diameter all shims bend as one plate, which is what the stand-in assumes; it sums the
    # slopes over few pieces.
    stand_in = _StandIn((Kind(30.0, 0.2, 3),), 12.0, (18.0, 25.0), 26.0)
    one, three = stand_in.stiffness(np.array([[1], [3]]))
    deflection = plate_deflection(30.0, 12.0, 0.2, load_diameter=21.5, load=1.0, at_diameter=26.0)
    assert one == pytest.approx(1.0 / deflection, rel=0.02)
    assert three == pytest.approx(3.0 * one)
