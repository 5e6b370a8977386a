"""Excel on Windows through xlwings: the VBA that the real xlwings makes of our module, and calls through it.

pywin32 exists on Windows alone, so it is put in place by empty modules; xlwings itself is the real one.
"""

from __future__ import annotations

import datetime
import importlib
import itertools
import re
import sys
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any
from unittest.mock import MagicMock

import pytest
from tests.hosts.xlwings_stub import ERRORS, MISSING, call, xlwings_udfs

from dampcell import __version__
from dampcell.functions.errors import InputError
from dampcell.functions.hosts.excel_desktop.module import HELP, MODULE, cell_name, module_text, vba_name
from dampcell.functions.registry import REGISTRY, CellError, evaluate


class Workbook:
    """In place of Excel's own object: takes the VBA file in, and notes the help texts."""

    Name = "job.xlsm"

    def __init__(self) -> None:
        self.vba = ""
        self.options: dict[str, dict[str, Any]] = {}
        self.VBProject = MagicMock()
        self.VBProject.VBComponents.Import = self._take
        self.Application = MagicMock(Version="16.0")
        self.Application.MacroOptions = self._note

    def _take(self, file: str) -> None:
        self.vba = Path(file).read_text(encoding="utf-8")

    def _note(self, name: str, **options: Any) -> None:
        self.options[name.removeprefix("'job.xlsm'!")] = options


@pytest.fixture(scope="module")
def udfs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Give the real xlwings.udfs, with our module where it finds it."""
    with xlwings_udfs(tmp_path_factory.mktemp("workbook")) as real:
        yield real


@pytest.fixture(scope="module")
def workbook(udfs: Any) -> Workbook:
    """Let xlwings import the functions into a workbook."""
    book = Workbook()
    udfs.import_udfs(MODULE, book)
    return book


def heads(vba: str) -> dict[str, str]:
    """Give the arguments of each VBA function."""
    joined = vba.replace(" _\n", "")
    return dict(re.findall(r"^Function (\w+)\((.*)\)$", joined, re.MULTILINE))


def test_there_is_a_vba_function_for_every_cell_function(workbook: Workbook) -> None:
    assert set(heads(workbook.vba)) == {f"DAMP_{name}" for name in REGISTRY}


@pytest.mark.parametrize("name", list(REGISTRY))
def test_every_vba_function_has_the_arguments_of_the_registry(workbook: Workbook, name: str) -> None:
    declared = REGISTRY[name].arguments
    given = [part.strip() for part in heads(workbook.vba)[f"DAMP_{name}"].split(",")] if declared else []
    assert len(given) == len(declared)
    for part, argument in zip(given, declared, strict=True):
        words = part.split()
        if argument.variadic:
            assert words == ["ParamArray", f"{vba_name(argument.name)}()"]
        elif argument.required:
            assert words == [vba_name(argument.name)]
        else:
            assert words == ["Optional", vba_name(argument.name)]
    passed = ", ".join(vba_name(argument.name) for argument in declared if not argument.variadic)
    assert f"Array({passed})" in workbook.vba.replace(" _\n", "")
    assert f'XLPy.CallUDF("{MODULE}", "DAMP_{name}", ' in workbook.vba.replace(" _\n", "")


@pytest.mark.parametrize("name", list(REGISTRY))
def test_help_of_functions_and_arguments_is_whole_and_short_enough(workbook: Workbook, name: str) -> None:
    function = REGISTRY[name]
    options = workbook.options[f"DAMP_{name}"]
    assert options["Description"].startswith(function.summary)
    assert len(options["Description"]) <= HELP
    assert options["Category"] == f"Dampcell: {function.family}"
    texts = options["ArgumentDescriptions"] or []
    assert len(texts) == len(function.arguments)
    for text, argument in zip(texts, function.arguments, strict=True):
        assert 0 < len(text) <= HELP
        assert text.startswith(argument.help[:100].rsplit(" ", 1)[0])


def test_the_vba_code_keeps_to_the_limits_of_vba(workbook: Workbook) -> None:
    # A line has 1023 characters at most, and a statement 24 continuations (limits of VBA, from memory).
    lines = workbook.vba.splitlines()
    assert max(map(len, lines)) <= 1024
    assert not any(a.endswith(" _") and b.endswith(" _") for a, b in itertools.pairwise(lines))
    assert workbook.vba.isascii()


@pytest.mark.parametrize("name", ["function", "Next", "caller", "string", "xlPy"])
def test_a_word_that_vba_keeps_for_itself_gets_an_underscore(name: str) -> None:
    assert vba_name(name) == f"{name}_"


@pytest.mark.parametrize("name", ["1st", "_a", "a.b", "größe", "a" * 256])
def test_what_cannot_be_a_name_in_vba_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="cannot be a name in VBA"):
        vba_name(name)


def test_a_cell_name_has_no_dot() -> None:
    assert cell_name(REGISTRY["OIL_INDEX"]) == "DAMP_OIL_INDEX"


def test_the_same_registry_gives_the_same_text() -> None:
    assert module_text(REGISTRY.values()) == module_text(REGISTRY.values())


# Calls, as the COM server of xlwings makes them


def test_left_out_and_blank_arguments_take_their_defaults(udfs: Any) -> None:
    full = call(udfs, "PLATE_STIFFNESS", 30.0, 12.0, 0.2, 26.0, 206.0, 0.3)
    for blank in (MISSING, None, ""):
        assert call(udfs, "PLATE_STIFFNESS", 30.0, 12.0, 0.2, 26.0, blank, blank) == full
    assert call(udfs, "PLATE_STIFFNESS", 30.0, 12.0, 0.2, 26.0, 0.0, MISSING) == full


def test_a_blank_required_argument_is_an_error_value(udfs: Any) -> None:
    rows: Any = call(udfs, "PLATE_STIFFNESS", 30.0, 12.0, None, 26.0, MISSING, MISSING)
    [[cell]] = rows
    assert (cell.varianttype, cell.value) == (10, ERRORS["#VALUE!"])


def test_a_range_is_mapped_and_its_blanks_and_errors_stay_in_their_cells(udfs: Any) -> None:
    temperatures = ((60.0,), (None,), (ERRORS["#N/A"],), ("60 °C",))
    rows: Any = call(udfs, "OIL_VISCOSITY", 404.0, 28.0, temperatures)
    value = evaluate("OIL_VISCOSITY", [404.0, 28.0, 60.0]).value
    assert [rows[0], rows[1], rows[3]] == [[value], [""], [value]]
    assert (rows[2][0].varianttype, rows[2][0].value) == (10, ERRORS["#N/A"])


def test_a_row_and_a_column_keep_their_direction(udfs: Any) -> None:
    rows: Any = call(udfs, "OIL_VISCOSITY", 404.0, 28.0, ((20.0, 40.0, 60.0),))
    assert [len(row) for row in rows] == [3]
    rows = call(udfs, "OIL_VISCOSITY", 404.0, 28.0, ((20.0,), (40.0,), (60.0,)))
    assert [len(row) for row in rows] == [1, 1, 1]


@pytest.mark.parametrize(
    ("name", "arguments", "code"),
    [
        ("PLATE_STIFFNESS", (30.0, 12.0, -0.2, 26.0, MISSING, MISSING), "#VALUE!"),
        ("OIL_VISCOSITY", (404.0, 28.0, ERRORS["#DIV/0!"]), "#DIV/0!"),
        ("OIL_INDEX", (100.0, 1.5), "#N/A"),
    ],
)
def test_an_error_reaches_the_cell_as_an_error_value(
    udfs: Any, name: str, arguments: tuple[object, ...], code: str
) -> None:
    rows: Any = call(udfs, name, *arguments)
    [[cell]] = rows
    assert (cell.varianttype, cell.value) == (10, ERRORS[code])


def test_why_tells_the_sentence(udfs: Any) -> None:
    got = call(udfs, "WHY", "PLATE_STIFFNESS", 30.0, 12.0, -0.2, 26.0)
    error = evaluate("PLATE_STIFFNESS", [30.0, 12.0, -0.2, 26.0]).value
    assert isinstance(error, CellError)
    assert got == [[error.message]]


def test_money_and_dates_come_as_the_numbers_that_the_cells_hold(udfs: Any) -> None:
    bridge = importlib.import_module("dampcell.functions.hosts.excel_desktop.bridge")
    # 1 March 1900 is day 61 and 1 January 2000 day 36526 of Excel, by its own count.
    days = [datetime.datetime(1900, 3, 1), datetime.datetime(2000, 1, 1, 12)]
    assert bridge.Cells.read_value([[Decimal("12.50"), *days, True, "x"]], {}) == [
        [12.5, 61.0, 36526.5, True, "x"]
    ]


def test_error_numbers_are_those_of_xlwings(udfs: Any) -> None:
    bridge = importlib.import_module("dampcell.functions.hosts.excel_desktop.bridge")
    windows_part = importlib.import_module("xlwings._xlwindows")
    assert {number: code for code, number in bridge.ERROR_NUMBERS.items()} == windows_part.cell_errors


def test_a_module_of_another_version_is_refused(udfs: Any) -> None:
    bridge = importlib.import_module("dampcell.functions.hosts.excel_desktop.bridge")
    bridge.check_version(__version__)
    with pytest.raises(InputError, match=rf"written for Dampcell 7\.3\.0, and installed is {__version__}"):
        bridge.check_version("7.3.0")


def test_nothing_but_the_free_part_of_xlwings_is_named() -> None:
    folder = Path(sys.modules["dampcell.functions.hosts.excel_desktop.module"].__file__ or "").parent
    for text in [module_text(REGISTRY.values()), *(path.read_text("utf-8") for path in folder.glob("*.py"))]:
        used = set(re.findall(r"^(?:from|import) (xlwings[\w.]*)", text, re.MULTILINE))
        assert used <= {"xlwings", "xlwings.conversion"}
