"""The same call gives the same value to the last digit, or the same error code, in every host.

Calls are made directly, by the headless engine, over HTTP, in LibreOffice, by the Excel add-in's own
script in Node, and by the module for xlwings. The outside programs must be installed; a machine
without them fails these tests on purpose. What a host does beyond that is tested beside it.
"""

from __future__ import annotations

import json
import urllib.request
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from tests.hosts.calc_cells import area_of, formula_of, shown
from tests.hosts.excel_in_node import excel_in_node, matrix
from tests.hosts.xlwings_stub import Variant, call, ranged, xlwings_udfs

from dampcell import __version__
from dampcell.functions.calls import literal
from dampcell.functions.hosts.http.catalogue import example_arguments
from dampcell.functions.registry import NAMESPACE, REGISTRY, CellError, evaluate
from dampcell.workbooks.engine import evaluate_formula

if TYPE_CHECKING:
    from tests.hosts.conftest import Calc, LiveServer

pytestmark = pytest.mark.real_program

Rows = list[list[Any]]
"""What cells show: a number, a text, or the code of an error in a list; a single value is one row of one."""

Call = tuple[str, list[object]]

THICKNESSES: list[object] = [[0.1], ["0,2 mm"], [""], [-1.0], ["14 cSt"]]

CALLS: Mapping[str, Call] = {
    **{function.name: (function.name, list(function.example_call)) for function in REGISTRY.values()},
    "a missing argument": ("PLATE_STIFFNESS", [30, 12, None, 26]),
    "too few arguments": ("PLATE_STIFFNESS", [30, 12, 0.2]),
    "a wrong dimension": ("PLATE_STIFFNESS", [30, 12, "14 cSt", 26]),
    "an unknown part of a stack": ("STACK_LIFT", [[["shin", 30, 0.2, 1], ["clamp", 12, 0.3, 1]], 40, 26]),
    "outside the range of validity": ("OIL_INDEX", [100, 1.5]),
    "no solution": ("OIL_MIX_RATIO", [10, 40, 50]),
    "an error handed on": ("OIL_VISCOSITY", [404, 28, CellError("#DIV/0!")]),
    "a text with a unit": ("PLATE_STIFFNESS", ["1.2 in", 12, "0,2 mm", 26]),
    "a blank optional argument": ("PLATE_STIFFNESS", [30, 12, 0.2, 26, None, 0.31]),
    "a mapped column": ("PLATE_STIFFNESS", [30, 12, THICKNESSES, 26]),
    "a column mapped against a row": ("PLATE_STIFFNESS", [30, 12, [[0.1], [0.3]], [[20, 24, 99]]]),
    "ranges that do not fit": ("PLATE_STIFFNESS", [30, 12, [[0.1], [0.3]], [[20], [24], [26]]]),
    "the sentence of an error": ("WHY", ["PLATE_STIFFNESS", 30, 12, -0.2, 26]),
}
"""Every documented example, and what else a cell may ask for, by what it is."""

CODES = {
    **dict.fromkeys(("a missing argument", "too few arguments"), "#VALUE!"),
    **dict.fromkeys(("a wrong dimension", "an unknown part of a stack", "ranges that do not fit"), "#VALUE!"),
    "outside the range of validity": "#N/A",
    "no solution": "#NUM!",
    "an error handed on": "#DIV/0!",
}


@pytest.fixture(scope="module")
def direct() -> dict[str, Rows]:
    """Make every call directly."""
    return {title: rows_of(evaluate(name, arguments).value) for title, (name, arguments) in CALLS.items()}


def rows_of(value: object) -> Rows:
    """Write a value as cells show it."""
    cells = shown(value)
    return cells if isinstance(value, list) else [[cells]]


def test_examples_give_values_and_mistakes_their_codes(direct: dict[str, Rows]) -> None:
    failed = {title: rows[0][0] for title, rows in direct.items() if isinstance(rows[0][0], list)}
    assert failed == {title: [code] for title, code in CODES.items()}
    assert set(direct) >= set(REGISTRY)


def test_the_headless_engine_agrees(direct: dict[str, Rows]) -> None:
    found = {title: rows_of(evaluate_formula(_in_a_cell(*asked)).value) for title, asked in CALLS.items()}
    assert found == direct


def _in_a_cell(name: str, arguments: list[object]) -> str:
    function = REGISTRY[name]
    if arguments == list(function.example_call):
        return function.example
    written = ("1/0" if isinstance(v, CellError) else "" if v is None else literal(v) for v in arguments)
    return f"={NAMESPACE}.{name}({', '.join(written)})"


def test_the_server_agrees(direct: dict[str, Rows], live_server: LiveServer) -> None:
    live_server.start_if_stopped()
    calls = [
        {"function": name, "arguments": example_arguments(REGISTRY[name])}
        if title == name
        else {"function": name, "arguments": [_sent(value) for value in arguments]}
        for title, (name, arguments) in CALLS.items()
    ]
    request = urllib.request.Request(
        f"http://127.0.0.1:{live_server.port}/v1/calls",
        json.dumps({"version": __version__, "calls": calls}).encode(),
        {"Content-Type": "application/json", "Authorization": f"Bearer {live_server.token}"},
    )
    with urllib.request.urlopen(request, timeout=120) as answer:
        results = json.load(answer)["results"]
    found = [_received(result.get("value", result)) for result in results]
    assert dict(zip(CALLS, found, strict=True)) == direct


def _sent(value: object) -> object:
    return {"error": {"code": value.code}} if isinstance(value, CellError) else value


def _received(value: object) -> Rows:
    rows = value if isinstance(value, list) else [[value]]
    return [[_cell(cell, lambda told: told["error"]["code"]) for cell in row] for row in rows]


def _cell(cell: object, code: Callable[[Any], str]) -> object:
    return [code(cell)] if isinstance(cell, dict) else shown(cell)


def test_libreoffice_agrees(direct: dict[str, Rows], calc: Calc) -> None:
    calc.server.start_if_stopped()
    found = {}
    with calc.workbook():
        row = 1
        for title, (name, arguments) in CALLS.items():
            area, formula = area_of(direct[title], "A", row), formula_of(name, arguments)
            # A single value stands in an ordinary formula, as a person would enter it.
            if len(direct[title]) > 1 or len(direct[title][0]) > 1:
                calc.ask("put_array", area=area, formula=formula)
            else:
                calc.ask("put", cells={f"A{row}": formula})
            found[title] = calc.ask("get", area=area)
            row += len(direct[title])
    assert found == direct


def test_the_script_of_the_excel_addin_agrees(direct: dict[str, Rows], live_server: LiveServer) -> None:
    live_server.start_if_stopped()
    run = excel_in_node(live_server.addin, f"https://localhost:{live_server.secure_port}", live_server.token)
    asked = [(name, [_as_excel_has_it(value) for value in arguments]) for name, arguments in CALLS.values()]
    (results,) = run(asked)["results"]
    found = [
        [[_cell(cell, lambda told: told["code"]) for cell in row] for row in result.get("value", [[result]])]
        for result in results
    ]
    assert dict(zip(CALLS, found, strict=True)) == direct


def _as_excel_has_it(value: object) -> object:
    if isinstance(value, CellError):
        return [[{"type": "Error", "basicType": "Error", "basicValue": value.code, "errorType": "Div0"}]]
    return matrix(value)


def test_the_module_for_xlwings_agrees_but_for_the_kind_of_an_error(
    direct: dict[str, Rows], tmp_path: Path
) -> None:
    found = {}
    with xlwings_udfs(tmp_path) as udfs:
        for title, (name, arguments) in CALLS.items():
            # VBA hands every declared argument over, given or not.
            missing = [None] * (REGISTRY[name].minimum_arguments - len(arguments))
            given: Any = call(udfs, name, *(ranged(value) for value in [*arguments, *missing]))
            found[title] = [[_desktop(cell) for cell in row] for row in given]
    assert found == {
        title: [[["error"] if isinstance(cell, list) else cell for cell in row] for row in rows]
        for title, rows in direct.items()
    }


def _desktop(cell: object) -> object:
    # pywin32 hands an error over, but not its kind.
    return ["error"] if isinstance(cell, Variant) else shown(cell)
