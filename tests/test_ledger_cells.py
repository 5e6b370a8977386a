"""The cell functions of the ledger over ranges as spreadsheets hand them over."""

from __future__ import annotations

import pytest

from dampcell.functions.registry import evaluate

HEADS: list[object] = [
    "Job number",
    "Date",
    "Service kind",
    "Damper",
    "Serial",
    "Technician",
    "Customer code",
    "Amount",
]
# 46081 is 2026-02-28 as a spreadsheet stores it; blanks arrive as None or as an empty text.
JOBS: list[list[object]] = [
    HEADS,
    ["A-1", 46053.0, "full", "F43", "7", "MK", "C-1", 80.1, "F-Line", 284.0, None, 50.0],
    ["A-2", 46081.0, "FULL ", "F43", "8", "JS", "C-2", "90,2", "f-line", "0.3 l"],
    [None, "", None],
    [2026014.0, 46081.979, "lower", "RS46", "", "MK", "C-3", 0.0],
    ["A-2", 46081.0, "full", "F43", "8", "JS", "C-2", 90.2],
    ["A-5", "soon", "full"],
]


def value(name: str, *arguments: object) -> object:
    outcome = evaluate(name, [JOBS, *arguments])
    error = outcome.first_error()
    assert error is None, error
    return outcome.value


def sentence(name: str, *arguments: object) -> str:
    error = evaluate(name, arguments).first_error()
    assert error is not None
    return error.message


def test_counts_map_over_months_and_kinds_in_one_formula() -> None:
    months = [["2026-01"], [46054.0], ["undated"], [""]]
    assert value("SERVICE_COUNT", months, [["full", "lower"]]) == [[1, 0], [1, 1], [1, 0], [3, 1]]


def test_a_count_tells_of_duplicates_and_undated_rows() -> None:
    notes = evaluate("SERVICE_COUNT", [JOBS]).notes
    assert any("1 rows are jobs saved twice and not counted: row 6" in note for note in notes)
    assert any("1 jobs have no date that can be read" in note for note in notes)


def test_money_is_exact_and_each_job_counts_once() -> None:
    assert value("SERVICE_AMOUNT") == 170.3
    assert value("SERVICE_AMOUNT", "2026", "", "f43", "js") == 90.2
    assert value("SERVICE_TABLE", "damper", 2026.0, "10 %") == [
        ["F43", 2, 170.3, 17.03, 584.0],
        ["RS46", 1, 0.0, 0.0, 0.0],
    ]


def test_a_table_of_nothing_says_none() -> None:
    assert value("SERVICE_TABLE", "month", "2019") == [["none", 0, 0.0, 0.0, 0.0]]


def test_oil_is_counted_with_its_own_unit_and_name_in_any_case() -> None:
    assert value("OIL_USED", "F-LINE") == 584.0
    assert value("OIL_USED", "", "2026-01") == 284.0
    lacking = [["A-1", "2026-02-01", "full", "", "", "", "", "", "F-Line"]]
    assert any("names" in note or "name an oil" in note for note in evaluate("OIL_USED", [lacking]).notes)


def test_bottles_are_told_for_the_shelf_and_for_oils_on_none() -> None:
    shelf = [["Oil", "Bottle volume [ml]", "Stock [ml]"], ["F-Line", "1 l", None]]
    assert value("BOTTLES", shelf) == [["F-Line", 584.0, 0.0, 1, "order 1"]]
    found = value("BOTTLES", [["Other", 500.0]])
    assert isinstance(found, list)
    assert found[1][0] == "F-Line"
    assert found[1][2:4] == ["–", "–"]
    assert value("BOTTLES") == [found[1]]
    assert value("BOTTLES", None, "2019") == [["none", 0.0, "–", "–", "–"]]


def test_services_due_are_asked_with_a_date_as_cells_hold_it() -> None:
    found = value("SERVICES_DUE", 46200.0, 0.0, 20.0)
    # 46200 is 2026-06-27. A-1: 50 h at 20 h a month are 76 days after 2026-01-31; others have no interval.
    assert isinstance(found, list)
    assert found[0][:6] == ["F43", "7", "C-1", "2026-01-31", "2026-04-17", 71]
    assert [row[4:6] for row in found[1:]] == [["–", "–"], ["–", "–"]]
    assert value("SERVICES_DUE", "2026-02-01", 0.0, None, 24.0) == [["none due", *["–"] * 6]]
    notes = evaluate("SERVICES_DUE", [JOBS, 46200.0]).notes
    assert any("neither serial number nor customer" in note for note in notes)


def test_findings_name_rows_within_the_range_and_numbers_as_typed() -> None:
    found = value("LEDGER_CHECK")
    assert isinstance(found, list)
    assert [row[:2] for row in found] == [["duplicate", 6], ["undated", 7], ["amount", 7]]
    assert value("SERVICE_COUNT", "2026-02", "", "RS46") == 1
    assert evaluate("LEDGER_CHECK", [[["A", "2026-01-01", "", "", "", "", "", 1.0]]]).value == [
        ["OK", "–", "nothing doubtful"]
    ]


def test_a_table_fills_the_rows_that_wait_for_it_or_says_what_is_cut() -> None:
    assert value("SERVICE_TABLE", "damper", "2026", "", "", 3.0) == [
        ["F43", 2, 170.3, 0.0, 584.0],
        ["RS46", 1, 0.0, 0.0, 0.0],
        ["", "", "", "", ""],
    ]
    assert value("SERVICE_TABLE", "damper", "2026", "", "", 1.0) == [["2 others", 3, 170.3, 0.0, 584.0]]
    found = value("LEDGER_CHECK", 2.0)
    assert isinstance(found, list)
    assert found[1] == ["… 2 more rows", "", ""]
    due = value("SERVICES_DUE", 46200.0, 0.0, 20.0, None, 9.0)
    assert isinstance(due, list)
    assert [bool(row[0]) for row in due] == [True] * 3 + [False] * 6


def test_tax_follows_its_basis() -> None:
    column = [[1.37]] * 50
    assert evaluate("SALES_TAX", [column, "20 %", "item"]).value == 13.5
    assert evaluate("SALES_TAX", [column, 0.2]).value == 13.7


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("SERVICE_COUNT", JOBS, "Febuary"), "period: is no period"),
        (("SERVICE_COUNT", [[None]]), "jobs: is missing"),
        (("SERVICE_AMOUNT", [["A", "", "", "", "", "", "", "cheap"]]), "jobs row 1, amount"),
        (("SERVICE_TABLE", JOBS, "colour"), "by: is not one of its choices"),
        (("SERVICE_TABLE", JOBS, "month", "", 19.0), "tax_rate: must be from 0 to 1"),
        (("SERVICES_DUE", JOBS, "someday"), "on_date: is no date"),
        (("SERVICES_DUE", JOBS, 46200.0, 1.5), "within_days: must be a whole number"),
        (("BOTTLES", JOBS, [["F-Line", 0.0]]), "bottle volume is missing"),
        (("LEDGER_CHECK", JOBS, 1001.0), "table_rows: is out of range"),
        (("SERVICE_COUNT", [["A"] * 14]), "has more cells than the table has columns"),
    ],
)
def test_a_sentence_says_what_to_mend(arguments: tuple[str, object], told: str) -> None:
    assert told in sentence(*arguments)
