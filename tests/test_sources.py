"""Cells of a saved workbook, read back as values."""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable

import openpyxl
import pytest

from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import CellError
from dampcell.workbooks.package import open_package
from dampcell.workbooks.sources import SavedCells

Maker = Callable[..., bytes]


def _read(data: bytes) -> SavedCells:
    return SavedCells(open_package(data, "job.xlsx"))


def _saved(workbook: openpyxl.Workbook) -> bytes:
    output = io.BytesIO()
    workbook.save(output)
    return output.getvalue()


def test_each_kind_of_content_is_read_as_what_it_is() -> None:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet.append([1.5, "a  b ", True, datetime.date(2025, 3, 4), "#N/A", None])
    sheet["E1"].data_type = "e"
    values = _read(_saved(workbook)).block(sheet.title, 1, 1, 2, 7)
    assert values == [
        [1.5, "a  b ", True, datetime.date(2025, 3, 4), CellError("#N/A"), None, None],
        [None] * 7,
    ]


def test_a_sheet_that_does_not_begin_at_its_first_cell_keeps_its_places() -> None:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet["C3"] = 7
    assert _read(_saved(workbook)).block(sheet.title, 2, 2, 3, 3) == [[None, None], [None, 7.0]]


def test_an_empty_sheet_has_blank_cells() -> None:
    workbook = openpyxl.Workbook()
    assert _read(_saved(workbook)).block("Sheet", 1, 1, 1, 2) == [[None, None]]


def test_a_cell_far_out_is_refused_with_its_place_before_memory_is_asked_for(package_of: Maker) -> None:
    rows = "<row r='1'><c r='A1'><v>1</v></c></row><row r='1048576'><c r='XFD1048576'><v>1</v></c></row>"
    with pytest.raises(WorkbookError, match=r"S1.*XFD1048576.*so far out"):
        _read(package_of(rows)).block("S1", 1, 1, 1, 1)


def test_a_workbook_with_a_broken_part_is_refused(package_of: Maker) -> None:
    row = "<row r='1'><c r='A1' t='s'><v>0</v></c></row>"
    broken = package_of(row, parts={"xl/sharedStrings.xml": "<sst><si><t>a</si>"})
    with pytest.raises(WorkbookError, match="cannot be read as a workbook"):
        _read(broken)


def test_a_rectangle_far_larger_than_any_table_is_refused_with_its_place(package_of: Maker) -> None:
    values = _read(package_of('<row r="1"><c r="A1"><v>1</v></c></row>'))
    with pytest.raises(
        WorkbookError, match=r"S1!B1:B1048576: a cell name takes in far more cells than its table"
    ):
        values.block("S1", 1, 2, 1_048_576, 2)


def test_a_library_that_gives_up_says_nothing_to_the_workshop(capfd: pytest.CaptureFixture[str]) -> None:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet["A1"] = 12345
    sheet["A1"].number_format = "yyyy-mm-dd"
    package = open_package(_saved(workbook), "job.xlsx")
    part = package.sheets[0].part
    endless = package.rewritten({part: package.part(part).replace(b"<v>12345<", b"<v>-1e400<")})
    with pytest.raises(WorkbookError, match="cannot be read as a workbook"):
        _read(endless).block(sheet.title, 1, 1, 1, 1)
    assert capfd.readouterr().err == ""
