"""New rows for a table of a saved workbook: nothing else changes, and nothing typed by hand is lost."""

from __future__ import annotations

import datetime
import io
import re
import zipfile

import openpyxl
import pytest
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks.package import open_package
from dampcell.workbooks.refill import Cell, named_area, refilled

ROWS: list[list[Cell]] = [
    ["A-1", datetime.date(2025, 3, 6), 12.5],
    ["=1+1", None, 1e-05],
    ["x\x07<&> ", datetime.date(1999, 12, 31), -3.0],
]


def book(rows: int = 4, *, below: str | None = None, prefix_sheet: str = "My notes") -> bytes:
    """A workbook with a table of three columns, heads in row 2, and a sheet of the user's own."""
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    sheet.title = "Jobs"
    for column, head in enumerate(("Number", "Day", "Amount"), start=2):
        sheet.cell(2, column, head)
        for row in range(3, 3 + rows):
            cell = sheet.cell(row, column)
            cell.number_format = ("@", "yyyy-mm-dd", "0.00")[column - 2]
    sheet["F3"] = "beside"
    if below is not None:
        sheet.cell(3 + rows, 3, below)
    own = workbook.create_sheet(prefix_sheet)
    own["A1"] = "mine"
    own["A2"] = "=Jobs!D3*2"
    rule = DataValidation("decimal", formula1="0")
    rule.add(f"D3:D{2 + rows}")
    sheet.add_data_validation(rule)
    sheet.print_area = f"A1:F{3 + rows}"
    name = DefinedName("jobs", attr_text=f"Jobs!$B$3:$D${2 + rows}")
    workbook.defined_names["jobs"] = name
    output = io.BytesIO()
    workbook.save(output)
    return output.getvalue()


def parts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return {name: package.read(name) for name in package.namelist()}


def cells(data: bytes, area: str) -> list[tuple[object, ...]]:
    sheet = openpyxl.load_workbook(io.BytesIO(data))["Jobs"]
    return [tuple(cell.value for cell in row) for row in sheet[area]]


def keep_none(_: int) -> bool:
    return False


def test_rows_stand_in_the_table_and_all_else_is_as_it_was() -> None:
    source = book()
    made = refilled(source, "l.xlsx", "jobs", ROWS, keep=keep_none)
    assert cells(made, "B3:D6") == [
        ("A-1", datetime.datetime(2025, 3, 6), 12.5),
        ("=1+1", None, 1e-05),
        ("x\ufffd<&> ", datetime.datetime(1999, 12, 31), -3),
        (None, None, None),
    ]
    before, after = parts(source), parts(made)
    assert [name for name in before if before[name] != after[name]] == ["xl/worksheets/sheet1.xml"]
    sheet = openpyxl.load_workbook(io.BytesIO(made))["Jobs"]
    assert sheet["B4"].data_type == "s"
    assert sheet["C3"].number_format == "yyyy-mm-dd"
    assert sheet["F3"].value == "beside"


def test_a_second_filling_replaces_the_first_and_gives_equal_bytes() -> None:
    once = refilled(book(), "l.xlsx", "jobs", ROWS, keep=keep_none)
    assert refilled(once, "l.xlsx", "jobs", ROWS, keep=keep_none) == once
    assert cells(refilled(once, "l.xlsx", "jobs", ROWS[:1], keep=keep_none), "B4:D5") == [(None,) * 3] * 2


def test_a_kept_row_stays_where_it_is_and_the_others_go_around_it() -> None:
    once = refilled(book(), "l.xlsx", "jobs", ROWS, keep=keep_none)
    made = refilled(once, "l.xlsx", "jobs", ROWS[:2], keep=lambda row: row == 4)
    assert [row[0] for row in cells(made, "B3:D6")] == ["A-1", "=1+1", "=1+1", None]


def test_a_table_that_is_too_small_grows_with_its_names_and_rules() -> None:
    source = book(rows=2)
    made = refilled(source, "l.xlsx", "jobs", ROWS, keep=keep_none, spare=2)
    package = open_package(made, "l.xlsx")
    assert named_area(package, "JOBS") == ("Jobs", (3, 2, 7, 4))
    sheet = openpyxl.load_workbook(io.BytesIO(made))["Jobs"]
    assert sheet["B5"].value == "x\ufffd<&> "
    assert sheet["C5"].number_format == "yyyy-mm-dd"
    assert str(sheet.data_validations.dataValidation[0].sqref) == "D3:D7"
    assert sheet.print_area.endswith("$F$8")
    assert parts(made)["xl/worksheets/sheet2.xml"] == parts(source)["xl/worksheets/sheet2.xml"]


def test_a_table_does_not_grow_over_what_stands_below_it() -> None:
    with pytest.raises(WorkbookError, match=r"Jobs.*C5.*cannot grow, because something stands below it"):
        refilled(book(rows=2, below="total"), "l.xlsx", "jobs", ROWS, keep=keep_none)


def test_rows_and_cells_that_the_file_leaves_out_are_put_in_their_place() -> None:
    source = book()
    xml = parts(source)["xl/worksheets/sheet1.xml"]
    xml = re.sub(rb'<row r="4".*?</row>', b'<row r="4" spans="1:6"/>', xml, flags=re.DOTALL)
    xml = re.sub(rb'<row r="5".*?</row>', b"", xml, flags=re.DOTALL)
    xml = re.sub(rb'<c r="C3"[^>]*/>', b"", xml)
    thin = open_package(source, "l.xlsx").rewritten({"xl/worksheets/sheet1.xml": xml})
    made = refilled(thin, "l.xlsx", "jobs", ROWS, keep=keep_none)
    assert [row[0] for row in cells(made, "B3:D6")] == ["A-1", "=1+1", "x\ufffd<&> ", None]
    order = re.findall(rb'<row r="(\d+)"', parts(made)["xl/worksheets/sheet1.xml"])
    assert order == sorted(order, key=int)
    written = re.findall(rb'<c r="([A-Z])3"', parts(made)["xl/worksheets/sheet1.xml"])
    assert written == sorted(written)


def test_a_sheet_without_any_row_is_refused() -> None:
    source = book()
    xml = re.sub(rb"<sheetData>.*</sheetData>", b"<sheetData/>", parts(source)["xl/worksheets/sheet1.xml"])
    bare = open_package(source, "l.xlsx").rewritten({"xl/worksheets/sheet1.xml": xml})
    with pytest.raises(WorkbookError, match="cannot be read") as caught:
        refilled(bare, "l.xlsx", "jobs", ROWS, keep=keep_none)
    assert caught.value.sheet == "Jobs"


def test_dates_count_from_1904_where_the_workbook_does() -> None:
    source = book()
    main = parts(source)["xl/workbook.xml"].replace(b"<workbookPr", b'<workbookPr date1904="1"', 1)
    main = re.sub(rb'(<workbookPr date1904="1")[^>]*>', rb"\1/>", main, count=1)
    old = open_package(source, "l.xlsx").rewritten({"xl/workbook.xml": main})
    made = refilled(old, "l.xlsx", "jobs", ROWS[:1], keep=keep_none)
    assert cells(made, "C3:C3") == [(datetime.datetime(2025, 3, 6),)]


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (b'name="jobs"', b'name="other"', 'the cell name "jobs" is missing or points nowhere'),
        (b"Jobs!$B$3:$D$6", b"#REF!", 'the cell name "jobs" is missing or points nowhere'),
        (b"Jobs!$B$3:$D$6", b"Gone!$B$3:$D$6", 'the sheet "Gone" is missing'),
    ],
)
def test_a_table_that_is_not_there_is_named(old: bytes, new: bytes, sentence: str) -> None:
    source = book()
    main = parts(source)["xl/workbook.xml"].replace(old, new)
    with pytest.raises(WorkbookError, match=re.escape(sentence)):
        refilled(
            open_package(source, "l.xlsx").rewritten({"xl/workbook.xml": main}),
            "l.xlsx",
            "jobs",
            ROWS,
            keep=keep_none,
        )


def test_a_sheet_of_broken_xml_is_named() -> None:
    source = book()
    xml = parts(source)["xl/worksheets/sheet1.xml"].replace(b"</sheetData>", b"")
    broken = open_package(source, "l.xlsx").rewritten({"xl/worksheets/sheet1.xml": xml})
    with pytest.raises(WorkbookError, match="the sheet cannot be read"):
        refilled(broken, "l.xlsx", "jobs", ROWS, keep=keep_none)
