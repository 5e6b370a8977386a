"""Plate and stack functions as cells see them: units, ranges, notes, and every sentence of bad input."""

from __future__ import annotations

import numpy as np
import pytest

import dampcell.functions.cells.plates
import dampcell.functions.cells.stack_meaning  # noqa: F401 - importing declares the functions
from dampcell.functions.registry import REGISTRY, CellError, CellFunction, evaluate

FUNCTIONS = [function for function in REGISTRY.values() if function.family in ("Plate", "Stack")]

SHIM: list[object] = ["shim", 30, 0.2, 2]
CLAMP: list[object] = ["clamp", 12, 0.3, 1]
STACK = [SHIM, ["shim", 26, 0.2, 1], CLAMP]
PRELOADED = [
    ["shim", 30, 0.2, 1],
    ["centering", 16, 0.2, 1],
    ["ring", 28, 0.25, 1, 20],
    ["shim", 30, 0.2, 2],
    CLAMP,
]
RAISED = 0.1


def number(name: str, *arguments: object) -> float:
    """Value of a call, which has to be a number."""
    value = evaluate(name, list(arguments)).value
    assert isinstance(value, float), value
    return value


def table(name: str, *arguments: object) -> list[list[object]]:
    """Rows of a call, which has to spill."""
    value = evaluate(name, list(arguments)).value
    assert isinstance(value, list), value
    return value


def refusal(name: str, *arguments: object) -> str:
    """Sentence of a call that has to be refused."""
    value = evaluate(name, list(arguments)).value
    assert isinstance(value, CellError), value
    return value.message


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: str(function.name))
def test_every_function_has_help_source_and_a_working_example(function: CellFunction) -> None:
    assert function.summary
    assert function.source
    assert function.example_call
    assert all(argument.help for argument in function.arguments)
    assert function.call(function.example_call).first_error() is None


# -- units and spellings ----------------------------------------------------------------------------------


@pytest.mark.parametrize("thickness", ["0.2 mm", "0,2", "0.00787401575 in", "200 µm", "0.02 cm"])
def test_result_does_not_depend_on_the_unit_of_the_input(thickness: str) -> None:
    plain = number("PLATE_STIFFNESS", 30, 12, 0.2, 26)
    assert number("PLATE_STIFFNESS", 30, 12, thickness, 26) == pytest.approx(plain, rel=1e-7)
    lift = number("STACK_LIFT", [["shim", 30, 0.2, 2], CLAMP], 20, 26)
    assert number("STACK_LIFT", [["shim", 30, thickness, 2], CLAMP], 20, 26) == pytest.approx(lift, rel=1e-7)


def test_other_arguments_take_their_units_too() -> None:
    plain = number("STACK_LIFT", STACK, 20, 26, 30, "small", 200, 0.3, 0.05)
    written = ["20 N", "2.6 cm", "30 mm", " Small", "200000 MPa", "0,3", "50 µm"]
    assert number("STACK_LIFT", STACK, *written) == pytest.approx(plain, rel=1e-9)
    pressure = number("STACK_PRESSURE_LIFT", STACK, 2, 18, 24)
    assert number("STACK_PRESSURE_LIFT", STACK, "0.2 MPa", "18 mm", 24) == pytest.approx(pressure, rel=1e-9)


def test_part_names_are_read_in_any_case_and_blank_rows_and_a_header_are_skipped() -> None:
    rows: list[list[object]] = [
        ["part", "outer diameter [mm]", "thickness [mm]", "quantity", "inner diameter [mm]"],
        ["SHIM", 30, 0.2, 2, ""],
        [None, None, None, None, None],
        [0, 0, 0, 0, 0],
        [" Shim ", 26, 0.2, 1, None],
        ["Clamp", 12, "", "", ""],
    ]
    assert number("STACK_LIFT", rows, 20, 26) == number("STACK_LIFT", STACK, 20, 26)


def test_blank_optional_arguments_are_their_defaults() -> None:
    plain = number("STACK_LIFT", STACK, 20, 26)
    assert number("STACK_LIFT", STACK, 20, 26, 26, "large", 206, 0.3, 0) == plain
    for blank in (None, "", 0.0):
        assert number("STACK_LIFT", STACK, 20, 26, blank, blank, blank, blank, blank) == plain


# -- functions agree with each other ----------------------------------------------------------------------


def test_a_range_of_loads_gives_the_single_results() -> None:
    loads = [0.0, 5.0, 20.0, 60.0]
    assert table("STACK_LIFT", STACK, [[load] for load in loads], 26) == [
        [number("STACK_LIFT", STACK, f"{load} N", 26)] for load in loads
    ]
    across = table("STACK_LIFT", STACK, [loads], [[24.0], [26.0]])
    assert (len(across), len(across[0])) == (2, 4)
    assert across[1][2] == number("STACK_LIFT", STACK, 20, 26)


@pytest.mark.parametrize("theory", ["small", "large"])
def test_curve_rows_are_the_single_lifts_and_stiffnesses(theory: str) -> None:
    rows = table("STACK_CURVE", STACK, 26, 60, 7, theory)
    assert [row[0] for row in rows] == pytest.approx(np.linspace(0.0, 60.0, 7))
    for load, lift, stiffness in rows[1:]:
        assert lift == pytest.approx(number("STACK_LIFT", STACK, load, 26, None, theory), rel=1e-6)
        assert stiffness == pytest.approx(number("STACK_STIFFNESS", STACK, load, 26, theory), rel=1e-3)


def test_a_curve_has_no_stiffness_while_the_face_shim_is_on_its_seat() -> None:
    opening = number("STACK_OPENING", STACK, 26, RAISED)
    rows = table("STACK_CURVE", STACK, 26, 2.1 * opening, 21, None, None, None, RAISED)
    for load, lift, stiffness in rows:
        assert isinstance(load, float)
        if load < opening:
            assert lift == pytest.approx(RAISED, abs=1e-9)
            assert isinstance(stiffness, CellError)
            assert stiffness.code == "#N/A"
            assert stiffness.message == "load: the face shim is still on its seat here."
        else:
            assert isinstance(stiffness, float)


def test_stiffness_of_a_single_shim_at_no_load_is_that_of_the_plate() -> None:
    plate = number("PLATE_STIFFNESS", 30, 12, 0.2, 26)
    for theory in ("small", "large"):
        found = number("STACK_STIFFNESS", [["shim", 30, 0.2, 1], CLAMP], 0, 26, theory)
        assert found == pytest.approx(plate, rel=1e-4)


def test_plate_functions_agree_with_each_other() -> None:
    deflection = number("PLATE_DEFLECTION", 30, 12, 0.2, 26, 10)
    assert 10 / deflection == pytest.approx(number("PLATE_STIFFNESS", 30, 12, 0.2, 26), rel=1e-12)
    stress = table("STACK_STRESS", [["shim", 30, 0.2, 1], CLAMP], 10, 26, None, "small")
    assert stress[0][1] == pytest.approx(number("PLATE_STRESS", 30, 12, 0.2, 26, 10), rel=1e-6)


def test_opening_pressure_times_window_is_the_opening_load_of_a_narrow_window() -> None:
    """A window as narrow as a line at the seat: p π d b = F, by hand."""
    load = number("STACK_OPENING", STACK, 26, RAISED, "small")
    pressure = number("STACK_OPENING_PRESSURE", STACK, 25.9, 26.1, 0.5, 26, RAISED, "small")
    assert 0.1 * pressure * 0.5 * np.pi * 26.0 * 0.1 == pytest.approx(load, rel=1e-3)


def test_the_seat_is_the_outer_edge_of_the_window_if_left_out() -> None:
    left_out = number("STACK_PRESSURE_LIFT", STACK, 2, 18, 26)
    assert left_out == number("STACK_PRESSURE_LIFT", STACK, 2, 18, 26, None, 26, 26)


def test_half_the_window_open_is_half_the_pressure() -> None:
    full = number("STACK_PRESSURE_LIFT", STACK, 1, 18, 24, 1, 26)
    assert number("STACK_PRESSURE_LIFT", STACK, 2, 18, 24, 0.5, 26) == pytest.approx(full, rel=1e-9)


def test_equivalent_thickness_gives_the_stiffness_of_the_stack() -> None:
    thickness = number("STACK_EQUIVALENT", STACK, 26)
    shims = number("STACK_EQUIVALENT", STACK, 26, "shims")
    stiffness = number("STACK_STIFFNESS", STACK, 0, 26, "small")
    assert number("PLATE_STIFFNESS", 30, 12, thickness, 26) == pytest.approx(stiffness, rel=1e-4)
    assert shims * number("PLATE_STIFFNESS", 30, 12, 0.2, 26) == pytest.approx(stiffness, rel=1e-4)


def test_tolerance_band_has_lift_and_stiffness_around_their_nominal_values() -> None:
    lift, stiffness = table("STACK_TOLERANCE", STACK, 20, 26)
    nominal = number("STACK_LIFT", STACK, 20, 26)
    assert (lift[0], stiffness[0]) == ("lift [mm]", "stiffness [N/mm]")
    assert lift[2] == pytest.approx(nominal, rel=1e-9)
    assert stiffness[2] == pytest.approx(20 / nominal, rel=1e-9)
    for _, low, middle, high in (lift, stiffness):
        assert low < middle < high  # type: ignore[operator] # numbers


def test_a_limit_that_is_passed_is_told_beside_the_result() -> None:
    for name, arguments in (
        ("STACK_LIFT", [STACK, 400, 26]),
        ("STACK_STIFFNESS", [STACK, 400, 26]),
        ("STACK_CURVE", [STACK, 26, 400]),
        ("STACK_STRESS", [STACK, 400, 26]),
        ("STACK_PRESSURE_LIFT", [STACK, 30, 14, 26]),
    ):
        outcome = evaluate(name, arguments)
        assert outcome.first_error() is None
        assert outcome.notes[0].startswith("beyond the axisymmetric range")
    assert evaluate("STACK_LIFT", [STACK, 20, 26]).notes == ()


# -- findings ---------------------------------------------------------------------------------------------


def test_check_reports_a_faulty_stack_instead_of_refusing_it() -> None:
    assert table("STACK_CHECK", [["shin", 30, 0.2, 1], CLAMP]) == [
        ["fault", ROWS[0][2]],
    ]
    found = table("STACK_CHECK", STACK, 31)
    assert found[0][0] == "fault"
    assert "the load circle must lie between the clamp and the edge of the face shim" in str(found[0][1])


def test_check_of_a_plain_stack_is_ok() -> None:
    assert table("STACK_CHECK", STACK, 26, 20) == [["ok", "nothing to remark"]]


def test_check_tells_preload_and_stress() -> None:
    sentences = " | ".join(str(row[1]) for row in table("STACK_CHECK", PRELOADED, 26, 150))
    assert "row 3: the ring is 0.05 mm thicker than its centering shim and preloads" in sentences
    assert "preloaded: the face shim leaves its seat at" in sentences
    assert "times a typical endurance limit of 700 MPa" in sentences


# -- bad input, one sentence each -------------------------------------------------------------------------

ROWS: list[tuple[str, list[list[object]], str]] = [
    (
        "unknown part name, with a suggestion",
        [["shin", 30, 0.2, 2], CLAMP],
        (
            'stack row 1: unknown part: did you mean "shim"? (found "shin"); '
            "allowed: shim, ring, centering, clamp."
        ),
    ),
    (
        "unknown part name, unlike any",
        [["xyz", 30, 0.2, 2], CLAMP],
        'stack row 1: unknown part (found "xyz"); allowed: shim, ring, centering, clamp.',
    ),
    (
        "part missing",
        [[None, 30, 0.2, 2], CLAMP],
        "stack row 1: part is missing; allowed: shim, ring, centering, clamp.",
    ),
    (
        "thickness missing",
        [["shim", 30, None, 2], CLAMP],
        "stack row 1: thickness is missing or 0; allowed: a number in mm.",
    ),
    (
        "thickness 0",
        [["shim", 30, 0, 2], CLAMP],
        "stack row 1: thickness is missing or 0; allowed: a number in mm.",
    ),
    (
        "thickness 0 as text",
        [["shim", 30, "0 mm", 2], CLAMP],
        "stack row 1, thickness: is out of range (found 0); allowed: above 0, up to 10 mm.",
    ),
    (
        "thickness negative",
        [["shim", 30, -0.2, 2], CLAMP],
        "stack row 1, thickness: is out of range (found -0.2); allowed: above 0, up to 10 mm.",
    ),
    (
        "thickness negative with a Unicode minus",
        [["shim", 30, "−0,2 mm", 2], CLAMP],
        "stack row 1, thickness: is out of range (found -0.2); allowed: above 0, up to 10 mm.",
    ),
    (
        "thickness of a wrong dimension",
        [["shim", 30, "14 cSt", 2], CLAMP],
        'stack row 1, thickness: mm²/s cannot be converted to mm (found "14 cSt"); allowed: a number in mm.',
    ),
    (
        "thickness in an unknown unit",
        [["shim", 30, "0.2 furlongs", 2], CLAMP],
        'stack row 1, thickness: unknown unit (found "0.2 furlongs"); allowed: a number in mm.',
    ),
    (
        "thickness no number",
        [["shim", 30, float("nan"), 2], CLAMP],
        "stack row 1, thickness: is not a finite number (found nan); allowed: a number in mm.",
    ),
    (
        "thickness infinite",
        [["shim", 30, float("inf"), 2], CLAMP],
        "stack row 1, thickness: is not a finite number (found inf); allowed: a number in mm.",
    ),
    (
        "thickness as a fraction",
        [["shim", 30, "1/128 in", 2], CLAMP],
        (
            "stack row 1, thickness: is a fraction: write it as a decimal, such as 0.0625 in for 1/16 in "
            '(found "1/128 in"); allowed: a number in mm.'
        ),
    ),
    (
        "thickness true",
        [["shim", 30, True, 2], CLAMP],
        "stack row 1, thickness: is true or false, not a number; allowed: a number in mm.",
    ),
    (
        "diameter missing",
        [SHIM, ["shim", None, 0.2, 2], CLAMP],
        "stack row 2: outer diameter is missing; allowed: a number in mm.",
    ),
    (
        "diameter out of range",
        [["shim", 300, 0.2, 2], CLAMP],
        "stack row 1, outer diameter: is out of range (found 300); allowed: above 0, up to 200 mm.",
    ),
    (
        "quantity missing",
        [["shim", 30, 0.2], CLAMP],
        "stack row 1: quantity is missing or 0; allowed: 1 or more pieces.",
    ),
    (
        "quantity not whole",
        [["shim", 30, 0.2, 1.5], CLAMP],
        "stack row 1, quantity: must be a whole number of pieces (found 1.5); allowed: 1 to 100.",
    ),
    (
        "quantity negative",
        [["shim", 30, 0.2, -1], CLAMP],
        "stack row 1, quantity: must be a whole number of pieces (found -1); allowed: 1 to 100.",
    ),
    (
        "shim as small as the clamp",
        [SHIM, ["shim", 12, 0.2, 2], CLAMP],
        "stack row 2, outer diameter: a shim must be larger than the clamp (found 12); allowed: above 12 mm.",
    ),
    (
        "hole of a shim larger than the clamp",
        [["shim", 30, 0.2, 2, 14], CLAMP],
        (
            "stack row 1, inner diameter: the hole of a shim must not be larger than the clamp that holds it "
            "(found 14); allowed: up to 12 mm."
        ),
    ),
    (
        "ring without centering shim",
        [SHIM, ["ring", 28, 0.2, 1, 20], SHIM, CLAMP],
        (
            "stack row 2: a ring needs a centering shim in the row before or after it; "
            "allowed: ring and centering next to each other."
        ),
    ),
    (
        "centering shim without ring",
        [SHIM, ["centering", 16, 0.2, 1], SHIM, CLAMP],
        (
            "stack row 2: a centering needs a ring in the row before or after it; "
            "allowed: ring and centering next to each other."
        ),
    ),
    (
        "ring at the end",
        [SHIM, ["ring", 28, 0.2, 1, 20], CLAMP],
        (
            "stack row 2: a ring needs a centering shim in the row before or after it; "
            "allowed: ring and centering next to each other."
        ),
    ),
    (
        "ring without inner diameter",
        [SHIM, ["centering", 16, 0.2, 1], ["ring", 28, 0.2, 1], CLAMP],
        "stack row 3: a ring needs its inner diameter; allowed: a number in mm.",
    ),
    (
        "ring with a hole as large as itself",
        [SHIM, ["centering", 16, 0.2, 1], ["ring", 28, 0.2, 1, 28], CLAMP],
        (
            "stack row 3, inner diameter: the inner diameter of a ring must lie between the clamp and its "
            "outer diameter (found 28); allowed: 12 to below 28 mm."
        ),
    ),
    (
        "centering shim too large for its ring",
        [SHIM, ["centering", 22, 0.2, 1], ["ring", 28, 0.2, 1, 20], CLAMP],
        (
            "stack row 2, outer diameter: the centering shim does not fit into its ring (found 22); "
            "allowed: up to 20 mm."
        ),
    ),
    (
        "no clamp",
        [SHIM, SHIM],
        'stack: has no clamp row: end the stack with "clamp" and the clamp diameter.',
    ),
    (
        "clamp not last",
        [CLAMP, SHIM],
        "stack row 1: the clamp must be the last row, and the only clamp.",
    ),
    (
        "two clamps",
        [SHIM, CLAMP, CLAMP],
        "stack row 2: the clamp must be the last row, and the only clamp.",
    ),
    (
        "nothing but the clamp",
        [CLAMP, [None, None, None, None]],
        "stack: has no shim before the clamp.",
    ),
    (
        "no face shim",
        [["centering", 16, 0.2, 1], ["ring", 28, 0.2, 1, 20], CLAMP],
        'stack row 1: the first row must be the face shim (found "centering"); allowed: shim.',
    ),
    (
        "clamp without diameter",
        [SHIM, ["clamp", None, 0.3, 1]],
        "stack row 2: outer diameter is missing; allowed: a number in mm.",
    ),
    (
        "cells beyond the table",
        [["shim", 30, 0.2, 1, None, "note"], CLAMP],
        (
            'stack row 1: has more cells than the table has columns (found "note"); allowed: columns part, '
            "outer diameter [mm], thickness [mm], quantity, inner diameter [mm]."
        ),
    ),
]


@pytest.mark.parametrize(("rows", "sentence"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_a_faulty_stack_is_refused_naming_row_and_cure(rows: list[list[object]], sentence: str) -> None:
    for name, arguments in (
        ("STACK_LIFT", [rows, 20, 26]),
        ("STACK_OPENING", [rows, 26]),
        ("STACK_PRESSURE_LIFT", [rows, 2, 18, 24]),
        ("STACK_TOLERANCE", [rows, 20, 26]),
    ):
        assert refusal(name, *arguments) == sentence
    assert table("STACK_CHECK", rows) == [["fault", sentence]]


ARGUMENTS: list[tuple[str, list[object], str]] = [
    (
        "STACK_LIFT",
        [STACK, 20, 32],
        (
            "load_diameter: the load circle must lie between the clamp and the edge of the face shim "
            "(found 32); allowed: above 12 and up to 30 mm."
        ),
    ),
    (
        "STACK_LIFT",
        [STACK, 20, 12],
        (
            "load_diameter: the load circle must lie between the clamp and the edge of the face shim "
            "(found 12); allowed: above 12 and up to 30 mm."
        ),
    ),
    (
        "STACK_LIFT",
        [STACK, 20, 12.005],
        (
            "load_diameter: the load circle is too near the clamp for plate theory (found 12.005); "
            "allowed: 12.012 mm or more."
        ),
    ),
    (
        "STACK_LIFT",
        [STACK, -5, 26],
        "load: must not be negative (found -5); allowed: 0 N or more.",
    ),
    (
        "STACK_LIFT",
        [STACK, float("nan"), 26],
        "load: is not a finite number (found nan); allowed: a number in N.",
    ),
    (
        "STACK_LIFT",
        [STACK, float("-inf"), 26],
        "load: is not a finite number (found -inf); allowed: a number in N.",
    ),
    (
        "STACK_LIFT",
        [STACK, "20 mm", 26],
        'load: mm cannot be converted to N (found "20 mm"); allowed: a number in N.',
    ),
    (
        "STACK_LIFT",
        [STACK, None, 26],
        "load: is missing; allowed: a number in N.",
    ),
    (
        "STACK_LIFT",
        [STACK, 20],
        "load_diameter: is missing; allowed: a number in mm.",
    ),
    (
        "STACK_LIFT",
        [STACK, 20, 26, 31],
        "at_diameter: is not on the face shim (found 31); allowed: 12 to 30 mm.",
    ),
    (
        "STACK_LIFT",
        [STACK, 20, 26, None, "big"],
        'theory: is not one of its choices (found "big"); allowed: "large", "small".',
    ),
    (
        "STACK_LIFT",
        [STACK, 20, 26, None, "smal"],
        (
            'theory: is not one of its choices: did you mean "small"? (found "smal"); allowed: '
            '"large", "small".'
        ),
    ),
    (
        "STACK_LIFT",
        [STACK, 20, 26, None, None, -206],
        "modulus: must be greater than 0 (found -206); allowed: above 0 GPa.",
    ),
    (
        "STACK_LIFT",
        [STACK, 20, 26, None, None, None, 0.5],
        "poisson: is no Poisson's ratio (found 0.5); allowed: 0 to below 0.5.",
    ),
    (
        "STACK_LIFT",
        [STACK, 20, 26, None, None, None, None, -0.1],
        "seat_height: is out of range (found -0.1); allowed: 0 to 5 mm.",
    ),
    (
        "STACK_OPENING",
        [STACK, 26, "5.1 mm"],
        "seat_height: is out of range (found 5.1); allowed: 0 to 5 mm.",
    ),
    (
        "STACK_LIFT",
        [None, 20, 26],
        (
            "stack: is missing; allowed: columns part, outer diameter [mm], thickness [mm], quantity,"
            " inner diameter [mm]."
        ),
    ),
    (
        "STACK_PRESSURE_LIFT",
        [STACK, -2, 18, 24],
        "pressure: must not be negative (found -2); allowed: 0 bar or more.",
    ),
    (
        "STACK_PRESSURE_LIFT",
        [STACK, 2, 18, 24, 1.5],
        "open_fraction: is out of range (found 1.5); allowed: above 0, up to 1.",
    ),
    (
        "STACK_OPENING_PRESSURE",
        [STACK, 18, 24, -0.5],
        "open_fraction: is out of range (found -0.5); allowed: above 0, up to 1.",
    ),
    (
        "STACK_PRESSURE_LIFT",
        [STACK, 2, 24, 18],
        (
            "window_inner_diameter, window_outer_diameter: the port window must lie on the face shim,"
            ' between the clamp and its edge (found "24 to 18"); allowed: within 12 to 30 mm.'
        ),
    ),
    (
        "STACK_CURVE",
        [STACK, 26, -60],
        "maximum_load: must be greater than 0 (found -60); allowed: above 0 N.",
    ),
    (
        "STACK_CURVE",
        [STACK, 26, 60, 1],
        "points: must be a whole number (found 1); allowed: 2 to 500.",
    ),
    (
        "STACK_CURVE",
        [STACK, 26, 60, 501],
        "points: must be a whole number (found 501); allowed: 2 to 500.",
    ),
    (
        "STACK_CURVE",
        [STACK, 26, 60, 2.5],
        "points: must be a whole number (found 2.5); allowed: 2 to 500.",
    ),
    (
        "STACK_CURVE",
        [STACK, [[26], [27]], 60],
        "load_diameter: takes one value, because the result is a table already.",
    ),
    (
        "STACK_STRESS",
        [STACK, 20, 26, -1],
        "endurance_limit: must be greater than 0 (found -1); allowed: above 0 MPa.",
    ),
    (
        "STACK_EQUIVALENT",
        [STACK, 26, "shim"],
        (
            'measure: is not one of its choices: did you mean "shims"? (found "shim"); allowed: '
            '"thickness", "shims".'
        ),
    ),
    (
        "STACK_TOLERANCE",
        [STACK, 20, 26, 0.15],
        ("thickness_tolerance: is too large for the thinnest shim (found 0.15); allowed: 0 to 0.1 mm."),
    ),
    (
        "STACK_TOLERANCE",
        [STACK, 20, 26, -0.005],
        "thickness_tolerance: must not be negative (found -0.005); allowed: 0 mm or more.",
    ),
    (
        "STACK_TOLERANCE",
        [STACK, 20, 26, None, 2],
        "clamp_tolerance: is too large for the clamp (found 2); allowed: 0 to 1.2 mm.",
    ),
    (
        "STACK_TOLERANCE",
        [STACK, 20, 26, None, None, 3],
        "seat_tolerance: is too large for the load circle (found 3); allowed: 0 to 2.6 mm.",
    ),
    (
        "STACK_TOLERANCE",
        [STACK, 0, 26],
        "load: must be greater than 0 (found 0); allowed: above 0 N.",
    ),
    (
        "PLATE_STIFFNESS",
        [12, 12, 0.2, 12],
        "outer_diameter: must be larger than the clamp (found 12); allowed: above 12 mm.",
    ),
    (
        "PLATE_STIFFNESS",
        [30, 12, "14 cSt", 26],
        'thickness: mm²/s cannot be converted to mm (found "14 cSt"); allowed: a number in mm.',
    ),
    (
        "PLATE_STIFFNESS",
        [30, 12, "−0.2", 26],
        "thickness: must be greater than 0 (found -0.2); allowed: above 0 mm.",
    ),
    (
        "PLATE_STIFFNESS",
        [30, 12, "0 mm", 26],
        "thickness: must be greater than 0 (found 0); allowed: above 0 mm.",
    ),
    (
        "PLATE_STIFFNESS",
        [30, 12, float("nan"), 26],
        "thickness: is not a finite number (found nan); allowed: a number in mm.",
    ),
    (
        "PLATE_STIFFNESS",
        [30, 12, 0.2, 31],
        (
            "load_diameter: the load circle must lie between the clamp and the edge of the face shim "
            "(found 31); allowed: above 12 and up to 30 mm."
        ),
    ),
    (
        "PLATE_DEFLECTION",
        [30, 12, 0.2, 26, 10, 31],
        "at_diameter: is not on the plate (found 31); allowed: 12 to 30 mm.",
    ),
    (
        "PLATE_STRESS",
        [30, 12, 0.2, 26, 10, 0.7],
        "poisson: is no Poisson's ratio (found 0.7); allowed: 0 to below 0.5.",
    ),
]


@pytest.mark.parametrize(
    ("name", "arguments", "sentence"), ARGUMENTS, ids=[f"{n}-{s.split(' (')[0]}" for n, _, s in ARGUMENTS]
)
def test_a_faulty_argument_is_refused_naming_it_and_the_cure(
    name: str, arguments: list[object], sentence: str
) -> None:
    assert refusal(name, *arguments) == sentence


def test_a_mistyped_function_is_refused_with_a_suggestion() -> None:
    assert 'did you mean "STACK_LIFT"?' in refusal("STACK_LIFTS", STACK, 20, 26)


def test_a_stiffness_on_the_seat_is_refused_naming_the_opening_load() -> None:
    opening = number("STACK_OPENING", STACK, 26, RAISED)
    sentence = refusal("STACK_STIFFNESS", STACK, 5, 26, None, None, None, RAISED)
    assert sentence == (
        "load: the face shim is still on its seat at this load (found 5); "
        f"allowed: above the opening load of {opening:.4g} N."
    )


def test_an_equivalent_of_a_stack_that_is_not_lifted_is_refused() -> None:
    sentence = refusal("STACK_EQUIVALENT", PRELOADED, 26, "shims", 1)
    assert sentence == "load: the load does not lift the face shim off its seat (found 1)."


def test_one_bad_cell_of_a_range_spoils_only_its_own_result() -> None:
    rows = table("STACK_LIFT", STACK, [[20], [-5], ["20 N"], [None]], 26)
    assert rows[0] == rows[2] == [number("STACK_LIFT", STACK, 20, 26)]
    assert isinstance(rows[1][0], CellError)
    assert rows[1][0].message == "load: must not be negative (found -5); allowed: 0 N or more."
    assert rows[3] == [""]


def test_an_error_of_another_cell_is_handed_on() -> None:
    broken = CellError("#DIV/0!", "")
    assert evaluate("STACK_LIFT", [STACK, broken, 26]).value == broken
    assert evaluate("STACK_LIFT", [[["shim", 30, broken, 1], CLAMP], 20, 26]).value == broken
