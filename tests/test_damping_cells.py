"""The damping functions as cells see them: tables, units, error values and sentences, notes, shapes."""

from __future__ import annotations

from typing import Any

import pytest

import dampcell.functions.cells  # noqa: F401 - importing declares the functions
from dampcell.functions.registry import REGISTRY, CellError, Outcome, evaluate

STACK: list[list[object]] = [
    ["shim", 30, 0.2, 2],
    ["shim", 26, 0.2, 2],
    ["shim", 20, 0.2, 2],
    ["clamp", 12, 0.3, 1],
]
SOFTER: list[list[object]] = [["shim", 30, 0.2, 1], *STACK[1:]]
VALVE: dict[str, object] = {
    "face": "a",
    "a window inner diameter": 18,
    "a window outer diameter": 25,
    "a open fraction": 0.6,
    "a seat diameter": 26,
    "a throat area": 60,
    "displaced diameter": 29,
    "rod diameter": 12,
    "bleed diameter": 1,
    "needle seat diameter": 3,
    "needle clicks": 14,
}
OIL: list[list[object]] = [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]]
THICK: list[list[object]] = [["viscosity 40", 32], ["viscosity index", 150], ["density 15", 870]]


def valve(**changes: object) -> list[list[object]]:
    named = VALVE | {name.replace("_", " "): value for name, value in changes.items()}
    return [[name, value] for name, value in named.items()]


def build(**changes: Any) -> list[object]:
    given = {"stack": STACK, "valve": valve(), "oil": OIL, "temperature": 30, "clicks": 6} | changes
    return list(given.values())


def force(velocity: object, **changes: Any) -> Outcome:
    return evaluate("DAMPING_FORCE", [velocity, *build(**changes)])


def error(outcome: Outcome) -> CellError:
    found = outcome.first_error()
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("changes", "code", "sentence"),
    [
        ({"valve": valve(a_window_outer_diameter=31, a_seat_diameter=32)}, "#VALUE!", "beyond the face shim"),
        (
            {"valve": valve(a_window_inner_diameter=9, a_window_outer_diameter=10, a_seat_diameter=11)},
            "#VALUE!",
            "the seat lies within the clamp",
        ),
        ({"valve": valve(a_open_fraction=2)}, "#VALUE!", "valve, face a, open fraction: is out of range"),
        (
            {"valve": valve(face="b")},
            "#VALUE!",
            "valve, b window inner diameter: is missing, and face b meets",
        ),
        ({"valve": valve(a_throut_area=3)}, "#VALUE!", 'unknown name: did you mean "a throat area"?'),
        ({"valve": valve(rod_diameter=30)}, "#VALUE!", "valve, rod diameter: must be smaller"),
        ({"clicks": 15}, "#VALUE!", "clicks_open: the adjuster does not have that click (found 15)"),
        ({"oil": [["viscosity 40", 14], ["viscosity 100", 3.8]]}, "#VALUE!", "oil: density 15 is missing"),
        ({"oil": [["viscosity 40", 14], ["density 15", 860]]}, "#VALUE!", "oil: viscosity 100 is missing"),
        ({"oil": [["viscosity 40", 4], ["viscosity 100", 14], ["density 15", 860]]}, "#VALUE!", "swapped"),
        ({"temperature": 250}, "#N/A", "temperature"),
        ({"stack": STACK[:-1]}, "#VALUE!", "has no clamp row"),
        ({"valve": valve(displaced_diameter=9000)}, "#NUM!", "does not pass the displaced oil"),
    ],
)
def test_a_build_that_cannot_be_is_told_what_to_mend(
    changes: dict[str, object], code: str, sentence: str
) -> None:
    found = error(force(1.0, **changes))
    assert found.code == code
    assert sentence in found.message


def test_a_negative_velocity_is_told_what_is_modelled() -> None:
    found = error(force(-1.0))
    assert found.code == "#VALUE!"
    assert "rebound needs the build of the rebound stack" in found.message


def test_a_stack_that_does_not_settle_is_no_number(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dampcell.functions.damping.increasing_root", lambda _, low, high, ends: low)
    assert error(force(1.0)).code == "#NUM!"


def test_values_may_carry_their_own_units() -> None:
    inches = force("100 cm/s", valve=valve(displaced_diameter="1.1417322834645669 in"), temperature="86 °F")
    assert inches.value == pytest.approx(force(1.0).value, rel=1e-9)


def test_an_oil_may_be_one_row_and_its_index_may_stand_for_the_hot_viscosity() -> None:
    assert force(1.0, oil=[[14, 3.8, 860]]).value == force(1.0).value
    index = evaluate("OIL_INDEX", [14, 3.8]).value
    by_index = force(0.05, oil=[["viscosity 40", 14], ["viscosity index", index], ["density 15", 860]])
    # An index is rounded to a whole number.
    assert by_index.value == pytest.approx(force(0.05).value, rel=2e-3)


def test_a_range_of_velocities_gives_a_range_of_forces() -> None:
    rows = force([[0.1], [None], [0.5], ["fast"]]).value
    assert isinstance(rows, list)
    assert rows[0] == [force(0.1).value]
    assert rows[1] == [""]
    assert isinstance(rows[3][0], CellError)


def test_a_curve_begins_at_standstill_and_its_force_is_that_of_the_cell_function() -> None:
    rows = evaluate("DAMPING_CURVE", [*build(), 2.0, 5]).value
    assert isinstance(rows, list)
    assert rows[0] == [0.0, 0.0, 0.0, 0.0]
    assert rows[-1][0] == 2.0
    assert rows[-1][1] == force(2.0).value
    assert all(low < nominal < high for _, nominal, low, high in rows[1:])


def test_a_curve_tells_what_its_largest_lift_means() -> None:
    thin = [["shim", 30, 0.1, 1], ["clamp", 12]]
    assert "beyond the axisymmetric range" in evaluate("DAMPING_CURVE", [*build(stack=thin)]).notes[0]
    assert evaluate("DAMPING_CURVE", [*build(), 0.5]).notes == ()


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ([0.0], "maximum_velocity"),
        (["-1 m/s"], "maximum_velocity: must be a number greater than 0"),
        ([2.0, 2.5], "points: must be a whole number"),
        ([2.0, 5, 0.2], "is too large for the thinnest shim"),
        ([2.0, 5, 0.005, 2.0], "is too large for the clamp"),
        ([2.0, 5, 0.005, 0.0, -0.1], "seat_tolerance: is out of range"),
    ],
)
def test_a_curve_refuses(more: list[object], sentence: str) -> None:
    outcome = evaluate("DAMPING_CURVE", [*build(), *more])
    if more == [0.0]:
        # A blank cell may arrive as 0: the default of 4 m/s is meant.
        assert isinstance(outcome.value, list)
        assert outcome.value[-1][0] == 4.0
        return
    assert sentence in error(outcome).message


def test_a_change_is_the_ratio_of_two_forces() -> None:
    given = [1.0, *build(stack=SOFTER), STACK]
    expected = 100.0 * (float(str(force(1.0, stack=SOFTER).value)) / float(str(force(1.0).value)) - 1.0)
    assert evaluate("DAMPING_CHANGE", given).value == pytest.approx(expected, rel=1e-12)


def test_a_change_against_itself_is_none_and_the_other_build_may_differ_in_everything() -> None:
    assert evaluate("DAMPING_CHANGE", [1.0, *build(), STACK]).value == 0.0
    whole = evaluate("DAMPING_CHANGE", [0.05, *build(), STACK, valve(bleed_diameter=2), THICK, 20, "0"]).value
    other = force(0.05, valve=valve(bleed_diameter=2), oil=THICK, temperature=20, clicks=0).value
    assert whole == pytest.approx(
        100.0 * (float(str(force(0.05).value)) / float(str(other)) - 1.0), rel=1e-12
    )


def test_an_oil_effect_is_the_ratio_of_two_forces() -> None:
    found = evaluate("OIL_EFFECT", [0.05, STACK, valve(), OIL, THICK, 30, 6]).value
    ratio = float(str(force(0.05, oil=THICK).value)) / float(str(force(0.05).value))
    assert found == pytest.approx(100.0 * (ratio - 1.0), rel=1e-12)


@pytest.mark.parametrize("name", ["DAMPING_CHANGE", "OIL_EFFECT"])
def test_at_standstill_there_is_nothing_to_compare(name: str) -> None:
    tail = (
        [STACK, valve(), OIL, 30, 6, STACK] if name == "DAMPING_CHANGE" else [STACK, valve(), OIL, THICK, 30]
    )
    assert "there is no force to compare at standstill" in error(evaluate(name, ["0", *tail])).message


def test_shares_add_up_and_the_bleed_leads_at_low_speed() -> None:
    rows = evaluate("DAMPING_SHARE", [[[0.02], [2.0]], *build()]).value
    assert isinstance(rows, list)
    assert [sum(row[1:]) for row in rows] == pytest.approx([1.0, 1.0])
    (_, slow_shims, slow_bleed, *_), (_, fast_shims, fast_bleed, *_) = rows
    assert slow_bleed > slow_shims
    assert fast_shims > fast_bleed


def test_a_path_that_is_not_there_has_no_share() -> None:
    bare = [["a window inner diameter", 18], ["a window outer diameter", 25], ["a seat diameter", 26]]
    bare += [["a throat area", 60], ["displaced diameter", 29]]
    rows = evaluate("DAMPING_SHARE", [[[1.0]], *build(valve=bare, clicks=0)]).value
    assert isinstance(rows, list)
    assert rows[0][2:4] == [0.0, 0.0]


def test_a_summary_says_where_there_is_no_knee() -> None:
    shut = valve(a_seat_height=2)
    outcome = evaluate("DAMPING_SUMMARY", [*build(valve=shut, clicks=14), 0.1])
    assert isinstance(outcome.value, list)
    slope, knee, *_, opening = outcome.value[0]
    assert isinstance(knee, CellError)
    assert knee.code == "#N/A"
    assert "do not carry half of the oil" in knee.message
    assert slope > 0.0
    assert opening > 0.0


def test_a_thin_cavitation_margin_is_told() -> None:
    pressed = evaluate("CAVITATION_MARGIN", [0.1, *build(valve=valve(reservoir_pressure=10))])
    bare = evaluate("CAVITATION_MARGIN", [0.1, *build()])
    assert pressed.value == pytest.approx(float(str(bare.value)) + 10.0, rel=1e-9)
    assert pressed.notes == ()
    assert bare.notes == ("the jets of this valve cavitate at this velocity",)


@pytest.mark.parametrize(
    "name", ["DAMPING_FORCE", "DAMPING_CURVE", "DAMPING_CHANGE", "DAMPING_SHARE", "OIL_EFFECT"]
)
def test_a_cold_oil_is_noted(name: str) -> None:
    function = REGISTRY[name]
    given = list(function.example_call)
    given[[argument.name for argument in function.arguments].index("temperature")] = -20
    assert any("extrapolated" in note for note in evaluate(name, given).notes)
