"""The registry: spellings, blanks, zeros, ranges, errors within, guards on the way out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

import dampcell.functions.cells  # noqa: F401 - importing declares the functions
from dampcell.functions.errors import InputError, NoSolutionError
from dampcell.functions.registry import (
    REGISTRY,
    CellError,
    Noted,
    Numbers,
    Outcome,
    Raw,
    cell_function,
    evaluate,
    lookup,
)
from dampcell.functions.tables import Column, PairLayout, RowLayout
from dampcell.functions.units import convert

ALL = sorted(REGISTRY)
THICK = (
    'thickness: is not a number (found "thick"); allowed: a number, such as 0.15, or text such as "0.15 mm".'
)
LAYERS = RowLayout((Column("part", choices=("shim", "clamp")), Column("thickness", "mm", required=False)))
SIZES = PairLayout((Column("thickness", "mm"), Column("quantity", "-", False, default=1.0)))


@pytest.fixture(autouse=True, scope="module")
def _declared() -> Iterator[None]:
    """Declare functions for these tests only."""
    before = dict(REGISTRY)

    @cell_function(family="Test", result="lift")
    def try_sum(thickness: float, lift: float = 5.0, temperature: float = 40.0) -> Noted:
        """Add up.

        References
        ----------
        None.
        """
        if thickness == 13.0:
            raise NoSolutionError("no solution for 13")
        if thickness == 99.0:
            return Noted(math.nan, ())
        notes = ("thick",) if thickness > 10.0 else ()
        return Noted(thickness + 10.0 * lift + 100.0 * temperature, notes)

    @cell_function(family="Test", result="text")
    def try_choice(theory: Literal["large", "small"] = "large", name: str = "none") -> str:
        """Choose."""
        return f"{theory} {name}"

    @cell_function(family="Test", result="text")
    def try_table(stack: Annotated[list[Mapping[str, object]], LAYERS], loads: Numbers = (1.0, 2.0)) -> str:
        """Read a table and a list."""
        parts = [f"{row['part']} {row['thickness']}" for row in stack]
        return "; ".join([*parts, *(f"{load:g}" for load in loads)])

    @cell_function(family="Test", result="text")
    def try_pairs(thickness: float, sizes: Annotated[Mapping[str, object] | None, SIZES] = None) -> str:
        """Read optional pairs."""
        return f"{thickness:g} {None if sizes is None else sorted(sizes.items())}"

    @cell_function(family="Test", result="rows", columns=(("n", "-"), ("word", "-")))
    def try_rows(quantity: float) -> list[list[object]]:
        """Spill rows."""
        return [[index, None if index else "first"] for index in range(int(quantity))]

    @cell_function(family="Test", result="text")
    def try_raw(name: str, *arguments: Raw) -> str:
        """Show what arrives."""
        return f"{name} {list(arguments)!r}"

    @cell_function(family="Test", result="lift")
    def try_odd(quantity: float) -> object:
        """Divide, or hand back something odd."""
        odd: dict[float, object] = {2.0: math.inf, 3.0: {1}, 4.0: True, 5.0: 7}
        return odd.get(quantity, 1.0 / (quantity - 1.0))

    @cell_function(family="Test", result="lift")
    def try_nothing() -> float:
        """Take no argument."""
        return 1.5

    assert try_sum(1.0, 2.0) == 4021.0
    assert try_sum(1.0, temperature=20.0) == 2051.0
    assert try_raw("a", 1, 2) == "a [1, 2]"
    yield
    REGISTRY.clear()
    REGISTRY.update(before)


def value(name: str, *arguments: object) -> object:
    return evaluate(name, arguments).value


def sentence(name: str, *arguments: object) -> str:
    found = evaluate(name, arguments).value
    assert isinstance(found, CellError)
    return found.message


# --- names ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "spelling",
    [
        "PLATE_STIFFNESS",
        "plate_stiffness",
        "DAMP.PLATE_STIFFNESS",
        "=damp.Plate_Stiffness",
        "DAMP_PLATE_STIFFNESS",
        "_xldudf_DAMP_PLATE_STIFFNESS",
        "_xll.DAMP_PLATE_STIFFNESS",
        "_xll.DAMP.PLATE_STIFFNESS",
        "[1]!DAMP_PLATE_STIFFNESS",
        " [12]!DAMP.PLATE_STIFFNESS ",
    ],
)
def test_every_spelling_of_a_host_finds_the_function(spelling: str) -> None:
    assert lookup(spelling).name == "PLATE_STIFFNESS"


@pytest.mark.parametrize("name", ALL)
def test_every_function_is_found_by_all_its_spellings(name: str) -> None:
    found = {lookup(f"{prefix}{name}").name for prefix in ("", "DAMP.", "DAMP_", "_xldudf_DAMP_")}
    assert found == {name}


def test_an_unknown_name_gets_the_nearest_one() -> None:
    assert sentence("DAMP.PLATE_STIFNESS") == (
        'there is no function DAMP.PLATE_STIFNESS: did you mean "PLATE_STIFFNESS"?; '
        'allowed: a name from the list that "dampcell functions" prints.'
    )
    with pytest.raises(InputError, match=r"there is no function DAMP\.XYZ; allowed"):
        lookup("XYZ")


# --- blanks and zeros ----------------------------------------------------------------------------


@pytest.mark.parametrize("blank", [None, "", "  ", 0, 0.0, [[None]], [[""]], [[0.0]], [], [[]]])
def test_a_blank_required_number_is_refused_by_name(blank: object) -> None:
    assert sentence("TRY_SUM", blank).startswith("thickness: is ")


def test_a_zero_that_may_be_a_blank_is_told_how_to_write_a_zero() -> None:
    assert sentence("TRY_SUM", 0.0) == (
        'thickness: is blank or 0; allowed: a number in mm, or the text "0 mm".'
    )
    assert sentence("TRY_ODD", 0.0) == ('quantity: is blank or 0; allowed: a number, or the text "0".')
    assert sentence("TRY_SUM") == "thickness: is missing; allowed: a number in mm."
    assert sentence("TRY_RAW") == "name: is missing; allowed: text."


def test_a_zero_written_as_text_is_a_zero() -> None:
    assert value("TRY_SUM", "0 mm", 0, "0 °C") == 0.0


def test_a_zero_is_a_value_where_the_nomenclature_says_so_and_a_blank_elsewhere() -> None:
    assert value("TRY_SUM", 1, 0, 0) == 1.0 + 100.0 * 40.0
    assert value("TRY_SUM", 1, None, None) == 1.0 + 50.0 + 4000.0
    assert value("TRY_SUM", 1, "", "") == value("TRY_SUM", 1)


@pytest.mark.parametrize("blank", [None, "", 0, 0.0])
def test_a_blank_choice_or_text_takes_its_default(blank: object) -> None:
    assert value("TRY_CHOICE", blank, blank) == "large none"


@pytest.mark.parametrize("blank", [None, "", 0.0, [[None, None], ["", 0.0]]])
def test_a_blank_optional_table_takes_its_default(blank: object) -> None:
    assert value("TRY_PAIRS", 1, blank) == "1 None"


@pytest.mark.parametrize("blank", [None, "", 0.0, [[None, None], ["", 0]]])
def test_a_blank_required_table_is_refused_with_what_it_holds(blank: object) -> None:
    assert sentence("TRY_TABLE", blank) == "stack: is missing; allowed: columns part, thickness [mm]."


def test_a_list_of_numbers_skips_blanks_and_reads_units() -> None:
    stack = [["shim", 0.2]]
    assert value("TRY_TABLE", stack, [[1, None, "2 kN"], ["", 0, 3]]) == "shim 0.2; 1; 2000; 0; 3"
    assert value("TRY_TABLE", stack, [[None], [""]]) == "shim 0.2; 1; 2"


def test_too_many_arguments_are_refused_with_the_signature() -> None:
    assert sentence("TRY_SUM", 1, 2, 3, 4) == (
        "DAMP.TRY_SUM takes at most 3 arguments (found 4); "
        "allowed: DAMP.TRY_SUM(thickness, [lift], [temperature])."
    )
    assert sentence("TRY_NOTHING", 1).startswith("DAMP.TRY_NOTHING takes at most 0 arguments")
    assert value("TRY_NOTHING") == 1.5


# --- choices and texts ---------------------------------------------------------------------------


def test_a_choice_is_understood_in_any_case_and_a_slip_gets_a_suggestion() -> None:
    assert value("TRY_CHOICE", " Small ") == "small none"
    assert sentence("TRY_CHOICE", "smal") == (
        'theory: is not one of its choices: did you mean "small"? (found "smal"); allowed: "large", "small".'
    )


def test_a_number_given_as_text_argument_is_written_plainly() -> None:
    assert value("TRY_CHOICE", None, 10.0) == "large 10"
    assert value("TRY_CHOICE", None, 7.5) == "large 7.5"
    assert value("TRY_CHOICE", None, 3) == "large 3"


@pytest.mark.parametrize(
    ("given_value", "expected"),
    [
        ("14 cSt", "thickness: mm²/s cannot be converted to mm"),
        ("thick", "thickness: is not a number"),
        (math.nan, "thickness: is not a finite number"),
        (math.inf, "thickness: is not a finite number"),
        (True, "thickness: is true or false, not a number"),
    ],
)
def test_what_is_no_number_is_refused_by_name(given_value: object, expected: str) -> None:
    assert sentence("TRY_SUM", given_value).startswith(expected)


# --- ranges --------------------------------------------------------------------------------------


def test_a_range_is_mapped_over_and_a_blank_cell_stays_blank() -> None:
    assert value("TRY_SUM", [[1, None, 3]], 0, 1) == [[101.0, "", 103.0]]
    assert value("TRY_SUM", [[1], [""], [3]], 0, 1) == [[101.0], [""], [103.0]]


def test_a_row_and_a_column_span_a_table() -> None:
    assert value("TRY_SUM", [[1, 2]], [[0], [1]], 1) == [[101.0, 102.0], [111.0, 112.0]]


def test_ranges_that_do_not_fit_are_refused_with_their_sizes() -> None:
    assert sentence("TRY_SUM", [[1, 2]], [[1, 2, 3]]) == (
        'ranges do not fit together (found "thickness 1×2, lift 1×3"); '
        "allowed: equal rows and columns, or one row, or one column."
    )


def test_a_zero_within_a_range_is_a_zero() -> None:
    assert value("TRY_SUM", [[0, 1]], 0, 1) == [[100.0, 101.0]]
    assert value("TRY_SUM", 1, 0, [[0, -0.0, 40]]) == [[1.0, 1.0, 4001.0]]


def test_one_bad_cell_of_a_range_spoils_only_itself() -> None:
    rows = value("TRY_SUM", [[1, "thick", 13, 4]], 0, 1)
    assert isinstance(rows, list)
    good, bad, unsolved, last = rows[0]
    assert (good, last) == (101.0, 104.0)
    assert bad == CellError(
        "#VALUE!",
        THICK,
        "thickness",
    )
    assert unsolved == CellError("#NUM!", "no solution for 13.")


def test_a_row_that_is_blank_only_in_part_names_what_is_missing() -> None:
    rows = value("TRY_SUM", [[1, None]], [[2, 2]])
    assert isinstance(rows, list)
    assert rows[0][1] == CellError("#VALUE!", "thickness: is missing; allowed: a number in mm.", "thickness")


def test_an_error_beside_the_range_is_told_once() -> None:
    assert sentence("TRY_SUM", [[1, 2]], "14 cSt").startswith("lift: ")


def test_the_notes_of_a_range_are_told_once() -> None:
    assert evaluate("TRY_SUM", [[[11, 12, 1]]]).notes == ("thick",)


def test_a_ragged_range_is_filled_up_with_blanks() -> None:
    assert value("TRY_SUM", [[1, 2], [3]], 0, 1) == [[101.0, 102.0], [103.0, ""]]


def test_a_flat_list_is_a_column() -> None:
    assert value("TRY_SUM", [1, 2], 0, 1) == [[101.0], [102.0]]


def test_a_function_that_spills_takes_no_range() -> None:
    assert sentence("TRY_ROWS", [[1, 2]]) == (
        "quantity: takes one value, because the result is a table already."
    )


def test_a_range_of_one_cell_is_that_cell() -> None:
    assert value("TRY_SUM", [[1.0]], [[0]], 1) == 101.0
    assert value("TRY_SUM", [[[1.0]]][0], 0, 1) == 101.0


@given(st.lists(st.floats(0.1, 9.0), min_size=2, max_size=6))
def test_mapping_gives_what_single_calls_give(numbers: list[float]) -> None:
    assert value("TRY_SUM", [numbers]) == [[value("TRY_SUM", number) for number in numbers]]


# --- errors of other cells -----------------------------------------------------------------------

BROKEN = CellError("#DIV/0!", "mend B2.")


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("TRY_SUM", [BROKEN]),
        ("TRY_SUM", [1, BROKEN]),
        ("TRY_SUM", [[[BROKEN]]]),
        ("TRY_SUM", [[[1, 2]], BROKEN]),
        ("TRY_TABLE", [[["shim", 0.2], ["clamp", BROKEN]]]),
        ("TRY_TABLE", [[["shim", 0.2]], [[1, BROKEN]]]),
        ("TRY_PAIRS", [1, [["thickness", BROKEN]]]),
    ],
)
def test_an_error_of_another_cell_is_handed_on(name: str, arguments: list[object]) -> None:
    assert evaluate(name, arguments) == Outcome(BROKEN)


def test_an_error_within_a_mapped_range_spoils_only_its_own_cell() -> None:
    assert value("TRY_SUM", [[1, BROKEN, 3]], 0, 1) == [[101.0, BROKEN, 103.0]]


def test_an_untouched_argument_may_be_an_error() -> None:
    assert value("TRY_RAW", "a", BROKEN, [[BROKEN]]) == f"a {[BROKEN, [[BROKEN]]]!r}"


def test_the_first_error_of_a_result_is_found() -> None:
    assert Outcome([[1.0, BROKEN]]).first_error() == BROKEN
    assert Outcome(BROKEN).first_error() == BROKEN
    assert Outcome([["", 1.0]]).first_error() is None


# --- arguments handed on untouched ---------------------------------------------------------------


def test_the_last_argument_may_take_any_number_of_values() -> None:
    assert value("TRY_RAW", "a") == "a []"
    assert value("TRY_RAW", "a", 0, None, "", [[1, None]]) == "a [0, None, '', [[1, None]]]"
    assert lookup("TRY_RAW").minimum_arguments == 1
    assert lookup("TRY_RAW").signature == "DAMP.TRY_RAW(name, arguments, …)"


# --- the way out ---------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", [1, 2])
def test_what_is_not_finite_never_passes_for_a_number(quantity: float) -> None:
    assert sentence("TRY_ODD", quantity) == "DAMP.TRY_ODD gave no finite number for these arguments."


def test_not_a_number_in_a_range_spoils_only_its_own_cell() -> None:
    rows = value("TRY_SUM", [[1, 99]], 0, 1)
    assert isinstance(rows, list)
    assert rows[0][0] == 101.0
    assert rows[0][1].message == "DAMP.TRY_SUM gave no finite number for these arguments."


def test_truth_values_and_whole_numbers_pass() -> None:
    assert value("TRY_ODD", 4) is True
    assert value("TRY_ODD", 5) == 7


def test_a_result_that_no_cell_can_hold_is_a_fault_of_ours() -> None:
    with pytest.raises(TypeError, match=r"DAMP\.TRY_ODD returned a set"):
        evaluate("TRY_ODD", [3])


def test_rows_spill_and_an_empty_cell_becomes_an_empty_text() -> None:
    assert value("TRY_ROWS", 2) == [[0, "first"], [1, ""]]


# --- tables --------------------------------------------------------------------------------------


def test_a_header_row_and_blank_rows_are_skipped() -> None:
    table = [["Part", "Thickness [mm]"], [None, None], ["shim", 0.2], [0.0, 0.0], ["clamp", None]]
    assert value("TRY_TABLE", table, 5) == "shim 0.2; clamp None; 5"


def test_equal_tables_of_other_types_are_read_apart() -> None:
    assert value("TRY_TABLE", [["shim", 1.0], ["clamp", None]], 5) == "shim 1.0; clamp None; 5"
    assert value("TRY_TABLE", [["shim", 1], ["clamp", None]], 5) == "shim 1.0; clamp None; 5"
    assert "TRUE" in str(sentence("TRY_TABLE", [["shim", True], ["clamp", None]], 5)).upper()


def test_a_cell_that_is_neither_number_nor_text_is_told() -> None:
    assert "is not a number" in str(sentence("TRY_TABLE", [["shim", {}], ["clamp", None]], 5))


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        (
            [["shim", 0.2], ["shimm", 0.3]],
            'stack row 2: unknown part: did you mean "shim"? (found "shimm"); allowed: shim, clamp.',
        ),
        ([["shim", 0.2], [None, 0.3]], "stack row 2: part is missing; allowed: shim, clamp."),
        (
            [["shim", "14 cSt"]],
            'stack row 1, thickness: mm²/s cannot be converted to mm (found "14 cSt")',
        ),
        (
            [["shim", 0.2, "extra"]],
            'stack row 1: has more cells than the table has columns (found "extra")',
        ),
        ([["part", "thickness"]], "stack: has no filled row; allowed: columns part, thickness [mm]."),
    ],
)
def test_a_bad_table_is_refused_by_row_and_column(table: object, expected: str) -> None:
    assert sentence("TRY_TABLE", table).startswith(expected)


def test_names_and_values_may_stand_in_any_order_with_header_units_and_notes() -> None:
    table = [
        ["Name", "Value", "Unit"],
        ["quantity", 2, "pieces of one kind"],
        [],
        [None, None],
        [0.0, 0.0],
        ["Thickness [mm]", 0.2, None],
    ]
    assert value("TRY_PAIRS", 1, table) == "1 [('quantity', 2.0), ('thickness', 0.2)]"
    assert value("TRY_PAIRS", 1, [["THICKNESS", "0.2 mm"]]) == "1 [('quantity', 1.0), ('thickness', 0.2)]"


@pytest.mark.parametrize(
    "row", [["thickness", 0.02, "cm"], ["thickness [cm]", 0.02], ["thickness", "0.02 cm"]]
)
def test_a_unit_beside_the_value_counts(row: list[object]) -> None:
    assert value("TRY_PAIRS", 1, [row]) == "1 [('quantity', 1.0), ('thickness', 0.2)]"


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ([["thicknes", 0.2]], 'sizes row 1: unknown name: did you mean "thickness"? (found "thicknes")'),
        ([["thickness", 1], ["thickness", 2]], "sizes row 2: thickness stands there twice"),
        ([["quantity", 1]], "sizes: thickness is missing; allowed: a number in mm."),
        ([["thickness"]], "sizes row 1: thickness is missing"),
        ([["thickness", 1], [None, 5]], "sizes row 2: a value without its name (found 5)"),
        ([["thickness", 1, "bar"]], "sizes row 1, thickness: bar cannot be converted to mm"),
    ],
)
def test_bad_names_and_values_are_refused_by_row(table: object, expected: str) -> None:
    assert sentence("TRY_PAIRS", 1, table).startswith(expected)


# --- WHY -----------------------------------------------------------------------------------------


def test_why_tells_the_sentence_of_the_same_call() -> None:
    assert value("WHY", "TRY_SUM", 0) == sentence("TRY_SUM", 0)
    assert value("WHY", "DAMP.TRY_SUM", [[1, "thick"]]) == (THICK)
    assert value("WHY", "TRY_SUMM", 1) == sentence("TRY_SUMM")


def test_why_tells_notes_or_that_all_is_well() -> None:
    assert value("WHY", "TRY_SUM", 11) == "thick"
    assert value("WHY", "TRY_SUM", 1) == "OK"
    assert value("WHY", "TRY_NOTHING") == "OK"


def test_why_looks_into_errors_of_other_cells() -> None:
    assert value("WHY", "TRY_SUM", BROKEN) == "mend B2."
    assert value("WHY", "TRY_TABLE", [["shim", CellError("#REF!")]]) == (
        "an argument holds the error #REF!; mend the cell that it comes from."
    )
    assert sentence("WHY") == "function: is missing; allowed: text."


def test_a_number_needs_its_row_in_the_nomenclature() -> None:
    with pytest.raises(KeyError, match=r"nowhere is not in functions/data/nomenclature\.csv"):

        @cell_function(family="Test", result="lift")
        def try_unknown(nowhere: float) -> float:
            """Fail."""
            return nowhere


def test_a_unit_gives_the_same_result_as_its_conversion() -> None:
    plain = value("TRY_SUM", convert(0.1, "in", "mm"))
    assert value("TRY_SUM", "0.1 in") == plain
