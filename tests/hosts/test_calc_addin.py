"""Cell functions in the real LibreOffice Calc, through the real server.

The program must be installed; a machine without it fails these tests on purpose.
The limits of time are those that the project set itself; beside them the time of
the same calls without a spreadsheet is measured.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import openpyxl
import pytest
from openpyxl.worksheet.formula import ArrayFormula
from tests.hosts.calc_cells import area_of, constant, formula_of, shown

from dampcell.functions.hosts.calc_addin.extension import STATUS, added_functions
from dampcell.functions.registry import REGISTRY, evaluate
from dampcell.workbooks.respelling import respell

if TYPE_CHECKING:
    from tests.hosts.conftest import Calc

pytestmark = pytest.mark.real_program

STIFF = "=DAMP.PLATE_STIFFNESS(30;12;0.2;26)"
ROWS = 10_000


@pytest.fixture(autouse=True)
def _reached(request: pytest.FixtureRequest, calc: Calc) -> Iterator[None]:
    """Whatever a test did to the server, the next one finds it running, and nothing remembered."""
    yield
    calc.server.start_if_stopped()
    calc.write_token(calc.server.token)
    with calc.workbook():
        calc.ask("command", name="recalculate")


@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_formulas_survive_saving_and_reopening(calc: Calc, ending: str) -> None:
    file = calc.work / f"saved.{ending}"
    table = REGISTRY["STACK_CURVE"]
    curve = shown(evaluate(table.name, table.example_call).value)
    area = area_of(curve, "D", 1)
    with calc.workbook():
        calc.ask("put", cells={"A1": "0,2 mm", "A2": "=DAMP.PLATE_STIFFNESS(30;12;A1;26)"})
        calc.ask("put_array", area=area, formula=formula_of(table.name, table.example_call))
        calc.ask("save", path=str(file))
    with calc.workbook(file):
        assert calc.ask("formula", address="A2") == "=DAMP.PLATE_STIFFNESS(30;12;A1;26)"
        assert calc.ask("formula", address="D1").startswith("{=DAMP.STACK_CURVE(")
        calc.ask("calculate")
        assert calc.ask("get", area="A2:A2") == [[evaluate("PLATE_STIFFNESS", [30, 12, 0.2, 26]).value]]
        assert calc.ask("get", area=area) == curve
    if ending == "xlsx":
        sheet = openpyxl.load_workbook(file).worksheets[0]
        assert sheet["A2"].value == "=DAMP.PLATE_STIFFNESS(30,12,A1,26)"


def test_texts_carry_units_and_blanks_mean_defaults(calc: Calc) -> None:
    with calc.workbook():
        calc.ask(
            "put",
            cells={
                "A1": "1.2 in",
                "A2": "0,2 mm",
                "B1": "=DAMP.PLATE_STIFFNESS(A1;12;A2;26)",
                "B2": "=DAMP.PLATE_STIFFNESS(30;12;0.2;26;;0.3)",
                "B3": "=DAMP.PLATE_STIFFNESS(30;12;0.2;26;C9;0.3)",
                "B4": "=DAMP.PLATE_STIFFNESS(30;12;C9;26)",
                "B5": '=DAMP.PLATE_STIFFNESS(30;12;"2 bar";26)',
            },
        )
        found = [row[0] for row in calc.ask("get", area="B1:B5")]
    direct = evaluate("PLATE_STIFFNESS", [30, 12, 0.2, 26]).value
    assert found == [
        evaluate("PLATE_STIFFNESS", ["1.2 in", 12, "0.2 mm", 26]).value,
        direct,
        direct,
        ["#VALUE!"],
        ["#VALUE!"],
    ]


def test_ranges_are_mapped_over_and_broadcast(calc: Calc) -> None:
    with calc.workbook():
        calc.ask("put_rows", area="A1:A4", rows=[[0.1], [""], ["0.2 mm"], [-1.0]])
        calc.ask("put_rows", area="C9:E9", rows=[[20.0, 24.0, 99.0]])
        calc.ask("put_array", area="C1:C4", formula="=DAMP.PLATE_STIFFNESS(30;12;A1:A4;26)")
        calc.ask("put_array", area="D1:F4", formula="=DAMP.PLATE_STIFFNESS(30;12;A1:A4;C9:E9)")
        calc.ask("put_array", area="G1:G2", formula="=DAMP.PLATE_STIFFNESS(30;12;A1:A4;C9:C11)")
        found = [calc.ask("get", area=area) for area in ("C1:C4", "D1:F4", "G1:G2")]
    column: list[list[object]] = [[0.1], [None], ["0.2 mm"], [-1.0]]
    assert found[:2] == [
        shown(evaluate("PLATE_STIFFNESS", [30, 12, column, 26]).value),
        shown(evaluate("PLATE_STIFFNESS", [30, 12, column, [[20.0, 24.0, 99.0]]]).value),
    ]
    assert found[0][1:] == [[""], found[0][2], ["#VALUE!"]] or found[0][3] == [["#VALUE!"]]
    assert found[2] == [[["#VALUE!"]], [["#VALUE!"]]]


def test_errors_are_errors_to_other_formulas(calc: Calc) -> None:
    assert calc.values(
        "=DAMP.PLATE_STIFFNESS(30;12;-0.2;26)",
        '=IFERROR(DAMP.PLATE_STIFFNESS(30;12;-0.2;26);"mend it")',
        "=ISNA(DAMP.OIL_VISCOSITY(404;28;900))",
        "=SUM(DAMP.PLATE_STIFFNESS(30;12;-0.2;26);1)",
        "=DAMP.PLATE_STIFFNESS(30;12;1/0;26)",
        "=DAMP.NO_SUCH_FUNCTION(1)",
        '=DAMP.WHY("PLATE_STIFFNESS";30;12;-0.2;26)',
    ) == [
        ["#VALUE!"],
        "mend it",
        1.0,
        ["#VALUE!"],
        ["#DIV/0!"],
        ["#NAME?"],
        evaluate("WHY", ["PLATE_STIFFNESS", 30, 12, -0.2, 26]).value,
    ]


def test_an_error_in_a_range_makes_calc_refuse_the_range_itself(calc: Calc) -> None:
    # Elsewhere it stays in its cell; Calc does not call an add-in then, so nothing can be done about it.
    with calc.workbook():
        calc.ask("put", cells={"A1": 60.0, "A2": "=1/0", "A3": 60.0})
        calc.ask("put_array", area="B1:B3", formula="=DAMP.OIL_VISCOSITY(404;28;A1:A3)")
        assert calc.ask("get", area="B1:B3") == [[["Err:504"]]] * 3


def test_more_arguments_than_there_are_make_calc_refuse_the_formula_itself(calc: Calc) -> None:
    assert calc.values("=DAMP.OIL_INDEX(404;28;60)") == [["Err:504"]]


def test_cells_in_a_circle_are_errors_and_leave_the_others_alone(calc: Calc) -> None:
    with calc.workbook():
        circle = {
            "A1": "=DAMP.PLATE_STIFFNESS(30;12;A2;26)",
            "A2": "=DAMP.PLATE_STIFFNESS(30;12;A1;26)",
            "A3": STIFF,
        }
        calc.ask("put", cells=circle)
        calc.ask("calculate")
        found = calc.ask("get", area="A1:A3")
    assert found == [[["Err:522"]], [["Err:522"]], [evaluate("PLATE_STIFFNESS", [30, 12, 0.2, 26]).value]]


def test_whole_columns_and_a_hundred_thousand_rows(calc: Calc) -> None:
    with calc.workbook():
        calc.ask("put_rows", area="A1:B2", rows=[[10.0, 1.0], [40.0, 1.0]])
        calc.ask("put_rows", area="F1:F100000", rows=[[1.0]] * 100_000)
        calc.ask("put_rows", area="J1:J3", rows=[[40.0], [60.0], [80.0]])
        calc.ask("put_array", area="H1:H1100", formula="=DAMP.OIL_VISCOSITY(404;28;J1:J1100)")
        formulas = ["=DAMP.OIL_MIX(A1:B100000)", "=DAMP.OIL_MIX(A:B)", "=DAMP.SALES_TAX(F1:F100000;0.08)"]
        calc.ask("put_formulas", area="D1:D3", rows=[[formula] for formula in formulas])
        found = [row[0] for row in calc.ask("get", area="D1:D3")]
        mapped = [calc.ask("get", area=area) for area in ("H1:H6", "H1099:H1100")]
    mix = evaluate("OIL_MIX", [[[10.0, 1.0], [40.0, 1.0]]]).value
    assert found == [mix, mix, evaluate("SALES_TAX", [[[1.0]] * 100_000, 0.08]).value]
    # The blank rows are not sent, but they are blank in the sheet.
    values = [[evaluate("OIL_VISCOSITY", [404, 28, warm]).value] for warm in (40, 60, 80)]
    assert mapped == [[*values, [""], [""], [""]], [[""], [""]]]


def test_the_function_wizard_explains_every_argument(calc: Calc) -> None:
    calc.values(STIFF)  # Calc knows the arguments once the add-in is loaded.
    told = calc.ask("functions", prefix="DAMP.")
    expected = {
        f"DAMP.{function.name}": {
            "help": function.help,
            "category": 11,
            "arguments": [[argument.name, argument.help] for argument in function.arguments],
        }
        for function in added_functions(REGISTRY.values())
    }
    assert told == expected
    assert set(told) == {f"DAMP.{name}" for name in (*REGISTRY, STATUS)}
    for function in told.values():
        assert function["help"].strip()
        assert all(name and len(help_text) > 10 for name, help_text in function["arguments"])


def test_a_server_that_is_down_is_said_and_healed_by_a_hard_recalculation(calc: Calc) -> None:
    formulas = [
        [STIFF],
        ['=DAMP.WHY("PLATE_STIFFNESS";30;12;0.2;26)'],
        ["=DAMP.STATUS()"],
        [f"=IFNA({STIFF[1:]};7)"],
    ]
    with calc.workbook():
        calc.server.stop()
        calc.ask("put_formulas", area="A1:A4", rows=formulas)
        number, why, status, replaced = (row[0] for row in calc.ask("get", area="A1:A4"))
        assert (number, replaced) == (["#N/A"], 7.0)
        assert why == status
        assert status == (
            f"the calculation server is not running (port {calc.server.port}): "
            'start it with "dampcell serve", then recalculate with Ctrl+Shift+F9.'
        )
        calc.server.start()
        calc.ask("command", name="recalculate")
        number, why, status, replaced = (row[0] for row in calc.ask("get", area="A1:A4"))
        direct = evaluate("PLATE_STIFFNESS", [30, 12, 0.2, 26]).value
        assert (number, replaced) == (direct, direct)
        assert why == evaluate("WHY", ["PLATE_STIFFNESS", 30, 12, 0.2, 26]).value
        assert status.startswith("Connected: Dampcell ")


def test_a_call_over_the_time_limit_is_said_and_costs_no_other_cell(calc: Calc) -> None:
    calc.server.stop()
    calc.server.start("--time-limit", "0.5")
    with calc.workbook():
        stack, (_, *rest) = REGISTRY["STACK_LIFT"], REGISTRY["STACK_LIFT"].example_call
        # Thousands of stacks: seconds on any machine, but quickly read.
        calc.ask("put_rows", area="A1:A5000", rows=[[1.0 + i / 1000] for i in range(5000)])
        over = ";".join([constant(stack.example_call[0]), "A1:A5000", *map(constant, rest[1:])])
        short = f"=ISNUMBER({STIFF[1:]})"
        formulas = [f"=DAMP.STACK_LIFT({over})", f'=DAMP.WHY("STACK_LIFT";{over})', short]
        calc.ask("put_formulas", area="C1:C3", rows=[[formula] for formula in formulas])
        number, why, other = (row[0] for row in calc.ask("get", area="C1:C3"))
    calc.server.stop()
    assert (number, other) == (["#N/A"], 1.0)
    assert "took longer than 0.5 s and was stopped; allowed: a smaller range or table" in why


def test_a_wrong_token_is_said(calc: Calc) -> None:
    with calc.workbook():
        calc.write_token("wrong" * 8)
        calc.ask("put_formulas", area="A1:A2", rows=[[STIFF], ["=DAMP.STATUS()"]])
        calc.ask("command", name="recalculate")
        number, status = (row[0] for row in calc.ask("get", area="A1:A2"))
    assert number == ["#N/A"]
    assert f"the calculation server on port {calc.server.port} does not take the token in " in status


def _saved_by_excel(file: Path) -> Path:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet["A1"] = "=_xldudf_DAMP_PLATE_STIFFNESS(30,12,0.2,26)"
    sheet["A2"] = "=ROUND(DAMP_PLATE_STIFFNESS(30,12,C1,26),1)"
    sheet["A3"] = '=IFERROR(_xldudf_damp_plate_stiffness(30,12,-1,26),"DAMP_PLATE_STIFFNESS(1)")'
    sheet["C1"] = 0.2
    sheet["C2"] = 0.3
    sheet["D1"] = ArrayFormula("D1:D2", "=_xldudf_DAMP_PLATE_STIFFNESS(30,12,C1:C2,26)")
    workbook.save(file)
    file.chmod(0o666)  # LibreOffice may run as another user
    return file


def _respelled_values(calc: Calc) -> None:
    stiff, thick = (evaluate("PLATE_STIFFNESS", [30, 12, t, 26]).value for t in (0.2, 0.3))
    assert isinstance(stiff, float)
    assert calc.ask("get", area="A1:A3") == [[stiff], [round(stiff, 1)], ["DAMP_PLATE_STIFFNESS(1)"]]
    assert calc.ask("get", area="D1:D2") == [[stiff], [thick]]
    assert calc.ask("formula", address="A2") == "=ROUND(DAMP.PLATE_STIFFNESS(30;12;C1;26);1)"


def test_the_extension_respells_what_excel_saved(calc: Calc) -> None:
    with calc.workbook(_saved_by_excel(calc.work / "excel.xlsx")):
        calc.ask("calculate")
        assert calc.ask("get", area="A2:A2") == [[["#NAME?"]]]
        assert calc.ask("command", name="respell") == "Formulas respelled: 4."
        calc.ask("calculate")
        _respelled_values(calc)
        assert calc.ask("command", name="respell") == "There was nothing to respell."


def test_a_workbook_open_for_reading_only_is_not_respelled(calc: Calc) -> None:
    file = _saved_by_excel(calc.work / "excel.xlsx")
    before = file.read_bytes()
    file.chmod(0o444)
    with calc.workbook(file):
        assert calc.ask("command", name="respell") == (
            "The workbook is open for reading only: save it under another name, then try again."
        )
        assert calc.ask("formula", address="A1").startswith("=_xldudf_")
    file.chmod(0o666)
    assert file.read_bytes() == before


def test_the_command_line_respells_what_excel_saved(calc: Calc) -> None:
    file = _saved_by_excel(calc.work / "excel.xlsx")
    copy = calc.work / "copy.xlsx"
    data, count = respell(file.read_bytes(), file.name, "calc")
    copy.write_bytes(data)
    assert count == 4
    with calc.workbook(copy):
        calc.ask("calculate")
        _respelled_values(calc)


def _measured(calculate: Callable[[], object]) -> tuple[float, float]:
    """Seconds without a spreadsheet, and how many times longer they are than on a quiet machine."""
    begun, used = time.perf_counter(), time.process_time()
    calculate()
    seconds = time.perf_counter() - begun
    return seconds, max(1.0, seconds / max(time.process_time() - used, 0.001))


def _requests_within(calc: Calc, limit: float, calculate: Callable[[], object]) -> int:
    """Recalculate hard with nothing remembered, so long beyond the calculation itself [s]; count requests.

    Other work on the machine only makes it slower: the share of it is left out, and the best try counts.
    """
    told: list[str] = []
    for _ in range(3):
        direct, slowed = _measured(calculate)
        before = calc.server.requests
        begun = time.perf_counter()
        calc.ask("command", name="recalculate")
        seconds = time.perf_counter() - begun
        requests = calc.server.requests - before
        told.append(
            f"{calc.ask('formula', address='B1')}: {seconds:.2f} s, without a spreadsheet {direct:.2f} s, "
            f"{requests} requests, machine slowed {slowed:.1f} times"
        )
        print(told[-1])
        if seconds - direct <= limit * slowed:
            return requests
    raise AssertionError(f"more than {limit} s beyond the calculation itself: " + "; ".join(told))


def test_ten_thousand_cells_are_few_requests_and_little_time(calc: Calc) -> None:
    warm = [[20.0 + i / 200] for i in range(ROWS)]
    mapped = evaluate("OIL_VISCOSITY", [404.0, 28.0, warm]).value
    assert isinstance(mapped, list)

    def one_by_one() -> None:
        for (temperature,) in warm:
            evaluate("OIL_VISCOSITY", [404.0, 28.0, temperature])

    def one_once() -> None:
        # Too short to tell how busy the machine is: so often that it can be measured.
        for _ in range(300):
            evaluate("OIL_VISCOSITY", [404.0, 28.0, 61.5])

    def at_once() -> None:
        evaluate("OIL_VISCOSITY", [404.0, 28.0, warm])

    with calc.workbook():
        calc.ask("put_rows", area=f"A1:A{ROWS}", rows=warm)
        area = f"B1:B{ROWS}"
        formulas = [[f"=DAMP.OIL_VISCOSITY(404;28;A{row})"] for row in range(1, ROWS + 1)]
        calc.ask("put_formulas", area=area, rows=formulas)
        assert _requests_within(calc, 5.0, one_by_one) <= 60
        assert calc.ask("get", area="B1:B50") == mapped[:50]
        calc.ask("put_formulas", area=area, rows=[["=DAMP.OIL_VISCOSITY(404;28;61.5)"]] * ROWS)
        assert _requests_within(calc, 1.0, one_once) == 1
        calc.ask("put_rows", area=area, rows=[[""]] * ROWS)
        calc.ask("put_array", area=area, formula=f"=DAMP.OIL_VISCOSITY(404;28;A1:A{ROWS})")
        assert _requests_within(calc, 0.5, at_once) == 1
        assert calc.ask("get", area=f"B{ROWS}:B{ROWS}") == [mapped[-1]]
