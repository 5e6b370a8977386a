"""Headless recalculation: values, sentences, notes and findings, whatever a spreadsheet program saved.

Expected numbers are hand calculations.
"""

from __future__ import annotations

import datetime
import gc
import io
import re
import time
from collections.abc import Callable, Sequence

import openpyxl
import pytest
from openpyxl.worksheet.table import Table

from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import REGISTRY, CellError, Outcome, evaluate
from dampcell.workbooks import engine, memory
from dampcell.workbooks.engine import evaluate_formula, recalculate
from dampcell.workbooks.package import open_package, refreshed
from dampcell.workbooks.results import CellResult, Recalculated

Maker = Callable[..., bytes]


def _row(number: int, *cells: str) -> str:
    return f'<row r="{number}">{"".join(cells)}</row>'


def _value(result: Recalculated, cell: str) -> object:
    return result.cells["S1", cell].value


def _sentence(result: Recalculated, cell: str) -> str:
    value = result.cells["S1", cell].value
    assert isinstance(value, CellError)
    return f"{value.code} {value.message}"


def _problems(result: Recalculated) -> list[str]:
    return [str(finding) for finding in result.findings]


# Values and sentences


def test_each_formula_cell_gets_its_typed_value(package_of: Maker) -> None:
    data = package_of(
        _row(
            1,
            "<c r='A1'><v>2</v></c><c r='B1'><f>A1*1.5</f></c><c r='C1'><f>A1&amp;\"x\"</f></c>"
            "<c r='D1'><f>A1=2</f></c>"
            "<c r='E1'><f>1/0</f></c><c r='F1'><f>Z9</f></c>",
        )
    )
    result = recalculate(data, "job.xlsx")
    assert [_value(result, f"{c}1") for c in "BCD"] == [3.0, "2x", True]
    assert _sentence(result, "E1") == "#DIV/0! divides by zero or by a blank cell."
    assert _value(result, "F1") == 0.0
    assert ("S1", "A1") not in result.cells
    assert result.value("S1", "$B$1") == 3.0
    assert result.value("S1", "A1") is None


@pytest.mark.parametrize(
    "spelling",
    [
        "DAMP.TRIAL_CUBE",
        "damp.trial_cube",
        "DAMP_TRIAL_CUBE",
        "_xldudf_DAMP_TRIAL_CUBE",
        "_xludf.DAMP.TRIAL_CUBE",
        "_xlfn.DAMP.TRIAL_CUBE",
        "_xll.DAMP.TRIAL_CUBE",
        "[1]!DAMP.TRIAL_CUBE",
        "[2]!DAMP_TRIAL_CUBE",
        "'C:\\addins\\[functions.xlam]x'!DAMP_TRIAL_CUBE",
    ],
)
def test_every_spelling_of_a_function_is_understood(
    package_of: Maker, trial_function: str, spelling: str
) -> None:
    data = package_of(_row(1, f"<c r='A1'><f>1+{spelling}(2)</f></c>"))
    result = recalculate(data, "job.xlsx")
    assert _value(result, "A1") == 9.0
    assert result.findings == ()


def test_an_error_cell_carries_the_sentence_of_its_own_call(package_of: Maker, trial_function: str) -> None:
    calls = "".join(
        f"<c r='{c}1'><f>DAMP.TRIAL_CUBE({v})</f></c>"
        for c, v in (("A", "-1"), ("B", "B9"), ("C", '"3 cSt"'), ("D", "-4"), ("E", "2"), ("F", "1/0"))
    )
    result = recalculate(package_of(_row(1, calls)), "job.xlsx")
    assert _sentence(result, "A1") == "#VALUE! thickness: must not be negative (found -1)."
    assert _sentence(result, "B1") == "#VALUE! thickness: is missing; allowed: a number in mm."
    assert 'found "3 cSt"' in _sentence(result, "C1")
    assert _sentence(result, "D1") == "#VALUE! thickness: must not be negative (found -4)."
    assert _value(result, "E1") == 8.0
    assert (
        _sentence(result, "F1")
        == "#DIV/0! thickness: holds the error #DIV/0!; mend the cell that it comes from."
    )
    assert str(result.errors()[0]) == ("job.xlsx, S1!A1: #VALUE! thickness: must not be negative (found -1).")


def test_an_error_that_is_handed_on_blames_the_cell_it_comes_from(
    package_of: Maker, trial_function: str
) -> None:
    # D1 depends on B1, which depends on A1; each must tell its own story.
    data = package_of(
        _row(
            1,
            "<c r='B1'><f>DAMP.TRIAL_CUBE(A1)</f></c>"
            "<c r='D1'><f>DAMP.TRIAL_CUBE(B1)+DAMP.TRIAL_CUBE(2)</f></c>"
            "<c r='A1'><f>DAMP.TRIAL_CUBE(-3)</f></c>",
        )
    )
    result = recalculate(data, "job.xlsx")
    assert "found -3" in _sentence(result, "A1")
    assert "holds the error #VALUE!" in _sentence(result, "B1")
    assert "holds the error #VALUE!" in _sentence(result, "D1")


def test_notes_belong_to_the_cell_whose_call_gave_them(package_of: Maker, trial_function: str) -> None:
    data = package_of(
        _row(1, *(f"<c r='{c}1'><f>DAMP.TRIAL_CUBE({v})</f></c>" for c, v in (("A", 6), ("B", 2), ("C", 7)))),
    )
    result = recalculate(data, "job.xlsx")
    assert [result.cells["S1", c].notes for c in ("A1", "B1", "C1")] == [
        ("thicker than 5 mm",),
        (),
        ("thicker than 5 mm",),
    ]
    assert _value(result, "A1") == 216.0


def test_a_workbook_is_given_back_when_it_has_been_computed(package_of: Maker, trial_function: str) -> None:
    data = package_of(_row(1, "<c r='A1'><f>DAMP.TRIAL_CUBE(6)</f></c>"))

    def held() -> int:
        gc.collect()
        return sum(isinstance(one, engine._Binding) for one in gc.get_objects())

    before = held()
    for _ in range(3):
        recalculate(data, "job.xlsx")
        evaluate_formula("DAMP.TRIAL_CUBE(2)")
    # The engine's workbook and what it calls hold each other while it is computed, and not for ever.
    assert held() == before


def test_equal_calls_are_computed_once(
    package_of: Maker, trial_function: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[object] = []

    def counted(name: str, given: Sequence[object]) -> Outcome:
        seen.append(given)
        return evaluate(name, given)

    monkeypatch.setattr(memory, "evaluate", counted)
    cells = "".join(f"<c r='{c}1'><f>DAMP.TRIAL_CUBE(6)</f></c>" for c in "ABCD")
    recalculate(package_of(_row(1, cells)), "job.xlsx")
    assert len(seen) == 1


def test_true_and_one_are_not_taken_for_equal_calls(package_of: Maker, trial_function: str) -> None:
    cells = "<c r='A1'><f>DAMP.TRIAL_CUBE(1)</f></c><c r='B1'><f>DAMP.TRIAL_CUBE(TRUE)</f></c>"
    result = recalculate(package_of(_row(1, cells)), "job.xlsx")
    assert _value(result, "A1") == 1.0
    assert isinstance(_value(result, "B1"), CellError)


def test_a_fault_of_ours_becomes_an_error_that_says_so(
    package_of: Maker, trial_function: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> object:
        raise ZeroDivisionError("oh")

    monkeypatch.setattr(memory, "evaluate", broken)
    result = recalculate(package_of(_row(1, "<c r='A1'><f>DAMP.TRIAL_CUBE(1)</f></c>")), "job.xlsx")
    assert _sentence(result, "A1") == (
        "#VALUE! DAMP.TRIAL_CUBE failed (ZeroDivisionError: oh); this is a fault in Dampcell."
    )


def test_an_interrupt_inside_a_call_stops_the_work(
    package_of: Maker, trial_function: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(memory, "evaluate", interrupted)
    data = package_of(_row(1, "<c r='A1'><f>DAMP.TRIAL_CUBE(1)</f></c>"))
    with pytest.raises(KeyboardInterrupt):
        recalculate(data, "job.xlsx")
    with pytest.raises(KeyboardInterrupt):
        evaluate_formula("DAMP.TRIAL_CUBE(1)")


def test_a_workbook_that_takes_too_long_is_given_up(
    package_of: Maker, trial_function: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ticks = iter(range(0, 10_000, 100))
    monkeypatch.setattr(time, "monotonic", lambda: float(next(ticks)))
    cells = "".join(f"<c r='{c}1'><f>DAMP.TRIAL_CUBE({i})</f></c>" for i, c in enumerate("ABCD", start=1))
    with pytest.raises(WorkbookError, match=r"job\.xlsx: takes longer than 120 s to compute"):
        recalculate(package_of(_row(1, cells)), "job.xlsx")


def test_stale_cells_are_those_whose_saved_value_differs(package_of: Maker) -> None:
    data = package_of(
        _row(
            1,
            "<c r='A1'><f>1/3</f><v>0.333333333333333</v></c><c r='B1'><f>1+1</f><v>3</v></c>"
            "<c r='C1'><f>1+1</f></c>"
            "<c r='D1' t='str'><f>\"a\"</f><v>b</v></c><c r='E1' t='e'><f>1/0</f><v>#DIV/0!</v></c>"
            "<c r='F1' t='b'><f>1=1</f><v>1</v></c><c r='G1' t='e'><f>1+1</f><v>#N/A</v></c>"
            "<c r='H1' t='s'><f>\"u\"</f><v>0</v></c><c r='I1' t='s'><f>\"u\"</f><v>1</v></c>"
            "<c r='J1'><f>1+1</f><v>what</v></c><c r='K1' t='e'><f>1/0</f><v>#N/A</v></c>",
        ),
        parts={
            "xl/sharedStrings.xml": "<sst xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'><si><t>u</t></si><si><r><t>v</t></r><r><t>w</t></r></si></sst>"
        },
    )
    result = recalculate(data, "job.xlsx")
    assert [cell.cell for cell in result.stale()] == ["B1", "D1", "G1", "I1", "K1"]
    assert result.cells["S1", "I1"].saved == "vw"
    assert not CellResult("S1", "A1", "", None, "").stale


# Forms in which programs save formulas


def test_shared_formulas_are_computed_in_every_cell(package_of: Maker, trial_function: str) -> None:
    rows = _row(
        1, "<c r='A1'><v>1</v></c><c r='B1'><f t='shared' ref='B1:B3' si='0'>_xll.DAMP.TRIAL_CUBE(A1)</f></c>"
    )
    rows += _row(2, "<c r='A2'><v>2</v></c><c r='B2'><f t='shared' si='0'/><v>7</v></c>")
    rows += _row(3, "<c r='A3'><v>-3</v></c><c r='B3'><f t='shared' si='0'/></c>")
    result = recalculate(package_of(rows), "job.xlsx")
    assert [_value(result, c) for c in ("B1", "B2")] == [1.0, 8.0]
    assert "found -3" in _sentence(result, "B3")
    assert result.cells["S1", "B2"].stale


def test_an_array_formula_fills_its_area_as_spreadsheets_do(package_of: Maker, trial_function: str) -> None:
    # Saved cells of the array stand in its way; columns repeat, what is missing is #N/A, the rest is cut.
    rows = "".join(
        _row(
            i,
            f"<c r='A{i}'><v>{i}</v></c>",
            *(f"<c r='{c}{i}'>{f if i == 1 else ''}<v>9</v></c>" for c, f in FORMS),
        )
        for i in range(1, 4)
    )
    result = recalculate(package_of(rows), "job.xlsx")
    columns = [[_value(result, f"{c}{i}") for i in range(1, 4)] for c in "BCDEF"]
    assert columns[0] == [1.0, 8.0, 27.0]
    assert columns[1] == [1.0, 8.0, CellError("#N/A", "a value is not available.")]
    assert columns[2] == [8.0, 8.0, 8.0]
    assert columns[3] == columns[4] == [2.0, 4.0, 6.0]
    assert result.findings == ()


FORMS = (
    ("B", "<f t='array' ref='B1:B3'>DAMP.TRIAL_CUBE(A1:A3)</f>"),
    ("C", "<f t='array' ref='C1:C3'>DAMP.TRIAL_CUBE(A1:A2)</f>"),
    ("D", "<f t='array' ref='D1:D3'>DAMP.TRIAL_CUBE(2)</f>"),
    ("E", "<f t='array' ref='E1:F3'>A1:A3*2</f>"),
    ("F", ""),
)


def test_each_cell_of_an_array_tells_its_own_error(package_of: Maker, trial_function: str) -> None:
    rows = "".join(
        _row(
            i,
            f"<c r='A{i}'><v>{v}</v></c><c r='B{i}'>",
            "<f t='array' ref='B1:B3'>DAMP.TRIAL_CUBE(A1:A3)</f>" if i == 1 else "",
            "</c>",
        )
        for i, v in enumerate((-1, 2, -3), start=1)
    )
    result = recalculate(package_of(rows), "job.xlsx")
    assert "found -1" in _sentence(result, "B1")
    assert _value(result, "B2") == 8.0
    assert "found -3" in _sentence(result, "B3")


def test_a_dynamic_array_spills_over_its_saved_cells(package_of: Maker, trial_table: str) -> None:
    rows = _row(
        1,
        "<c r='A1' cm='1'><f t='array' ref='A1:B2'>DAMP.TRIAL_TABLE(D1)</f><v>0</v></c>",
        "<c r='B1'><v>0</v></c>",
        "<c r='D1'><v>2</v></c>",
    )
    rows += _row(2, "<c r='A2'><v>0</v></c><c r='B2'><v>0</v></c>")
    rows += _row(4, "<c r='D4'><f>SUM(A1:B9)</f></c>")
    result = recalculate(package_of(rows), "job.xlsx")
    assert [_value(result, c) for c in ("A1", "B1", "A2", "B2", "D4")] == [1.0, 1.0, 2.0, 4.0, 8.0]
    assert result.findings == ()


@pytest.mark.parametrize(("rows", "grown"), [(1, False), (3, True)])
def test_a_dynamic_array_that_changed_its_size_is_told(
    package_of: Maker, trial_table: str, rows: int, grown: bool
) -> None:
    formula = f"<f t='array' ref='A1:B2'>DAMP.TRIAL_TABLE({rows})</f>"
    data = package_of(
        _row(1, f"<c r='A1' cm='1'>{formula}</c><c r='B1'/>")
        + _row(2, "<c r='A2'><v>5</v></c><c r='B2'><v>5</v></c>")
    )
    result = recalculate(data, "job.xlsx")
    assert _value(result, "A2") == (2.0 if grown else None)
    told = "".join(_problems(result))
    assert told.startswith("job.xlsx, S1!A1: the result has grown to 3 rows and 2 columns") is grown
    assert bool(told) is grown


def test_a_spill_over_filled_cells_is_an_error_with_its_reason(package_of: Maker, trial_table: str) -> None:
    rows = _row(1, "<c r='A1' cm='1'><f t='array' ref='A1'>DAMP.TRIAL_TABLE(2)</f></c><c r='B1'><v>9</v></c>")
    assert _sentence(recalculate(package_of(rows), "job.xlsx"), "A1") == (
        "#SPILL! the cells that the result needs are not empty."
    )


def test_an_ordinary_formula_shows_one_value_and_never_spills(
    package_of: Maker, trial_function: str, trial_table: str
) -> None:
    rows = "".join(_row(i, f"<c r='A{i}'><v>{i}</v></c>") for i in range(1, 5))
    rows += _row(
        5,
        "<c r='A5'><v>5</v></c><c r='B5'><f>A1:A9</f></c><c r='C5'><f>A1:A9*2</f></c>"
        "<c r='D5'><f>DAMP.TRIAL_CUBE(A2:A4)"
        "</f></c><c r='E5'><f>_xlfn.SINGLE(A1:A9)</f></c><c r='F5'><f>DAMP.TRIAL_TABLE(3)</f></c>",
    )
    rows += _row(6, "<c r='B6'><v>77</v></c>")
    result = recalculate(package_of(rows), "job.xlsx")
    assert [_value(result, f"{c}5") for c in "BCDEF"] == [5.0, 10.0, 8.0, 5.0, 1.0]
    assert result.findings == ()


@pytest.mark.parametrize(("system", "serial"), [("0", 45292.0), ("1", 43830.0)])
def test_dates_follow_the_date_system_of_the_workbook(package_of: Maker, system: str, serial: float) -> None:
    # 2024-01-01 is day 45292 from 1900 (with its false leap day), and 1462 days less from 1904.
    data = package_of(
        _row(1, f"<c r='A1'><f>DATE(2024,1,1)</f></c><c r='B1'><f>YEAR({serial:.0f})</f></c>"),
        properties=f'<workbookPr date1904="{system}"/>',
    )
    result = recalculate(data, "job.xlsx")
    assert (_value(result, "A1"), _value(result, "B1")) == (serial, 2024.0)


def test_the_clock_can_be_pinned(package_of: Maker) -> None:
    moment = datetime.datetime(2024, 1, 1, 22, 0, tzinfo=datetime.timezone(datetime.timedelta(hours=-5)))
    result = recalculate(package_of(_row(1, "<c r='A1'><f>TODAY()</f></c>")), "job.xlsx", now=moment)
    assert _value(result, "A1") == 45292.0


# Tables and names


def _with_table() -> bytes:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet.title = "S1"
    sheet.append(("part", "outer [mm]", "twice"))
    sheet.append(("shim", 30, "=Stack[[#This Row],[outer '[mm']]]*2"))
    sheet.append(("ring", 20, "=Stack[@[outer '[mm']]]*2"))
    sheet.add_table(Table(displayName="Stack", ref="A1:C3"))
    formulas = {
        "E1": "=SUM(Stack[outer '[mm']])",
        "E2": "=ROWS(Stack)",
        "E3": "=Stack[[#Headers],[outer '[mm']]]",
        "E4": "=ROWS(Stack[#All])",
        "E5": "=SUM(Stack[[outer '[mm']]:[twice]])",
        "E6": "=Stack[#Totals]",
        "E7": "=SUM(Stack[none])",
        "E8": "=SUM(Nowhere[x])",
        "E9": "=Stack[@part]",
        "E10": "=ROWS(Stack[[#Headers],[#Data],[part]])",
    }
    for cell, formula in formulas.items():
        sheet[cell] = formula
    output = io.BytesIO()
    workbook.save(output)
    return output.getvalue()


def test_table_references_are_understood() -> None:
    result = recalculate(_with_table(), "job.xlsx")
    values = {cell: _value(result, cell) for cell in ("C2", "C3", "E1", "E2", "E3", "E4", "E5", "E10")}
    assert values == {
        "C2": 60.0,
        "C3": 40.0,
        "E1": 50.0,
        "E2": 2.0,
        "E3": "outer [mm]",
        "E4": 3.0,
        "E5": 150.0,
        "E10": 3.0,
    }


def test_table_references_that_lead_nowhere_are_errors() -> None:
    result = recalculate(_with_table(), "job.xlsx")
    assert _sentence(result, "E6").startswith("#REF!")
    assert _sentence(result, "E9").startswith("#VALUE!")
    assert _problems(result) == [
        'job.xlsx, S1!E7: the table Stack has no column "none".',
        "job.xlsx, S1!E8: Nowhere[x] refers to a table that is not there.",
    ]


def test_defined_names_may_hold_ranges_and_our_functions(package_of: Maker, trial_function: str) -> None:
    names = (
        '<definedNames><definedName name="size">S1!$A$1</definedName>'
        '<definedName name="cubed">_xll.DAMP.TRIAL_CUBE(size)</definedName>'
        '<definedName name="turn">DAMP.TRIAL_CUBE(turn)</definedName></definedNames>'
    )
    data = package_of(
        _row(
            1,
            "<c r='A1'><v>2</v></c><c r='B1'><f>size+1</f></c><c r='C1'><f>Cubed*2</f></c>"
            "<c r='D1'><f>turn</f></c>"
            "<c r='E1'><f>unknown+1</f></c><c r='F1'><f>LET(size2,3,size2*2)</f></c>",
        ),
        workbook=names,
    )
    result = recalculate(data, "job.xlsx")
    assert [_value(result, f"{c}1") for c in "BCF"] == [3.0, 16.0, 6.0]
    assert _problems(result) == [
        "job.xlsx, S1!D1: the name turn refers to itself.",
        "job.xlsx, S1!E1: the name unknown is not defined.",
    ]


# What cannot be computed


@pytest.mark.parametrize(
    ("formula", "code", "problem"),
    [
        ("BYROW(A1:A3,LAMBDA(r,SUM(r)))", "#NAME?", "the function BYROW cannot be computed here"),
        ("IFERROR(MMULT(A1:A2,A1:B1),0)", "#NAME?", "the function MMULT cannot be computed here"),
        ("IFERROR(AGGREGATE(14,6,A1:A3,1),0)", "#NAME?", "AGGREGATE with function numbers from 14 on"),
        ("LAMBDA(x,x+1)(2)", "#NAME?", "a LAMBDA that is called in place cannot be computed here"),
        ("SUM(S1:S2!A1)", "#REF!", "S1:S2!A1 refers to the same cell of several sheets"),
        ("IFERROR([1]Other!A1,0)", "#REF!", r"\[1\]Other!A1 refers to another workbook, which is not read"),
        ("'C:\\x\\[b.xlsx]S'!A1", "#REF!", ".*refers to another workbook"),
        ("[1]!OTHER(1)", "#NAME?", "the function OTHER cannot be computed here"),
        ("1+", "#NAME?", "the formula cannot be read"),
        (
            "IFERROR(DAMP.TRIAL_CUB(1),0)",
            "#NAME?",
            r'there is no function DAMP.TRIAL_CUB: did you mean "TRIAL_CUBE"\?$',
        ),
        (
            "TRIAL_CUBE(1)",
            "#NAME?",
            r"the function TRIAL_CUBE .*did you mean DAMP.TRIAL_CUBE\?$",
        ),
        ("nowhere*2", "#NAME?", "the name nowhere is not defined"),
    ],
)
def test_what_cannot_be_computed_is_named_and_never_left_stale(
    package_of: Maker, trial_function: str, formula: str, code: str, problem: str
) -> None:
    escaped = formula.replace("&", "&amp;").replace("<", "&lt;")
    data = package_of(_row(1, f"<c r='B1'><f>{escaped}</f><v>5</v></c><c r='C1'><f>B1+1</f><v>6</v></c>"))
    result = recalculate(data, "job.xlsx")
    assert len(result.findings) == 1
    assert re.match(rf"job\.xlsx, S1!B1: {problem}", str(result.findings[0]))
    assert _sentence(result, "B1").startswith(code)
    assert isinstance(_value(result, "C1"), CellError)
    again = recalculate(refreshed(open_package(data, "job.xlsx"), result), "job.xlsx")
    assert again.stale() == ()


def test_what_if_tables_are_named(package_of: Maker) -> None:
    data = package_of(_row(1, "<c r='B1'><f t='dataTable' ref='B1:B2' r1='A1'/><v>5</v></c>"))
    result = recalculate(data, "job.xlsx")
    assert _problems(result) == ["job.xlsx, S1!B1: what-if tables cannot be computed here."]
    assert _sentence(result, "B1").startswith("#N/A")


def test_a_cell_that_refers_to_itself_is_named(package_of: Maker) -> None:
    data = package_of(
        _row(1, "<c r='A1'><f>B1+1</f><v>5</v></c><c r='B1'><f>A1</f><v>4</v></c><c r='C1'><f>2</f></c>")
    )
    result = recalculate(data, "job.xlsx")
    assert _problems(result) == [
        "job.xlsx, S1!A1: refers to itself, directly or through other cells.",
        "job.xlsx, S1!B1: refers to itself, directly or through other cells.",
    ]
    assert _value(result, "C1") == 2.0


def test_shared_formulas_that_cannot_be_computed_are_named_in_every_cell(package_of: Maker) -> None:
    rows = _row(1, "<c r='B1'><f t='shared' ref='B1:B2' si='0'>NOPE(A1)</f></c>")
    rows += _row(2, "<c r='B2'><f t='shared' si='0'/></c>")
    result = recalculate(package_of(rows), "job.xlsx")
    assert [finding.cell for finding in result.findings] == ["B1", "B2"]


def test_a_formula_that_stops_the_engine_is_named_and_the_others_are_computed(
    package_of: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Formulas that are known to stop the engine are kept from it; so let one through.
    monkeypatch.setattr(engine, "_for_engine", lambda prepared, span: span.formula.text)
    data = package_of(_row(1, "<c r='A1'><f>[1]Other!A1</f></c><c r='B1'><f>1+1</f></c>"))
    result = recalculate(data, "job.xlsx")
    assert _value(result, "B1") == 2.0
    assert "the formula cannot be computed here (#NAME?" in _problems(result)[-1]


def test_an_error_of_the_engine_becomes_a_workbook_error(package_of: Maker) -> None:
    with pytest.raises(
        WorkbookError, match=r"job\.xlsx: the formulas cannot be computed \(.*save it there again"
    ):
        recalculate(package_of(_row(1, "<c r='A1' t='n'><v>12abc</v></c>")), "job.xlsx")


# Single formulas


@pytest.mark.parametrize(
    ("formula", "value"),
    [
        ("DAMP.TRIAL_CUBE(2)", 8.0),
        ("=damp.trial_cube(2, 3)", 24.0),
        (" =SUM(DAMP.TRIAL_CUBE({1,2;3,0.5}))", 36.125),
        ("DAMP.TRIAL_CUBE({1,2})", [[1.0, 8.0]]),
        ('{1,"a";TRUE,2}', [[1.0, "a"], [True, 2.0]]),
        ("SEQUENCE(2)*DAMP.TRIAL_CUBE(2)", [[8.0], [16.0]]),
        ('"a"&1', "a1"),
        ("1=2", False),
        ("LET(x,2,x*x)", 4.0),
        ('DAMP.TRIAL_CUBE("2,5 mm")', 15.625),
    ],
)
def test_a_formula_is_evaluated_without_a_workbook(trial_function: str, formula: str, value: object) -> None:
    assert evaluate_formula(formula).value == value


@pytest.mark.parametrize(
    ("formula", "error"),
    [
        (
            "DAMP.TRIAL_CUBE(-2)",
            CellError("#VALUE!", "thickness: must not be negative (found -2).", "thickness"),
        ),
        ("=A1", CellError("#REF!", "A1 refers to a cell, and there is no workbook here.")),
        ("", CellError("#VALUE!", "there is no formula.")),
        ("=", CellError("#VALUE!", "there is no formula.")),
        ("NOPE(1)", CellError("#NAME?", "the function NOPE cannot be computed here.")),
        ("SUM(", CellError("#NAME?", "the formula cannot be read.")),
        ("MATCH(1,{2,3},0)", CellError("#N/A", "a value is not available.")),
    ],
)
def test_a_formula_that_fails_gives_its_sentence(trial_function: str, formula: str, error: CellError) -> None:
    assert evaluate_formula(formula).value == error


def test_a_table_of_results_keeps_each_error_in_its_place(trial_function: str) -> None:
    outcome = evaluate_formula("DAMP.TRIAL_CUBE({-1,2;6,-3})")
    assert isinstance(outcome.value, list)
    assert outcome.value[0][1] == 8.0
    assert "found -1" in outcome.value[0][0].message
    assert "found -3" in outcome.value[1][1].message
    assert outcome.notes == ("thicker than 5 mm",)


def test_the_registry_is_filled_when_the_engine_is_there() -> None:
    assert REGISTRY


def test_an_array_formula_over_a_whole_sheet_is_named_and_not_laid_out(package_of: Maker) -> None:
    rows = _row(1, "<c r='A1'><f t='array' ref='A1:XFD1048576'>1+1</f><v>2</v></c>")
    result = recalculate(package_of(rows), "job.xlsx")
    (told,) = _problems(result)
    assert told.endswith("S1!A1: an array formula over more than 100,000 cells cannot be computed here.")
    assert isinstance(_value(result, "A1"), CellError)
