"""The command ``new``: a fresh workbook, never over one that is there."""

from __future__ import annotations

import datetime
from importlib.resources import files
from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner

from dampcell.functions.errors import InputError, WorkbookError
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.forms.templates import KINDS
from dampcell.workbooks.new_command import write_new
from dampcell.workbooks.package import open_package
from dampcell.workbooks.reading import read_record
from dampcell.workbooks.sheets import area
from dampcell.workbooks.sources import SavedCells

DAY = datetime.date(2025, 6, 1)


def test_a_fresh_workbook_has_the_date_and_all_that_the_template_has(tmp_path: Path) -> None:
    path = write_new("stack_record", tmp_path, DAY, {})
    assert path.name == "stack_record 2025-06-01.xlsx"
    saved = SavedCells(open_package(path.read_bytes(), path.name))
    shipped = files("dampcell.templates").joinpath("stack_record.xlsx").read_bytes()
    template = SavedCells(open_package(shipped, "stack_record.xlsx"))
    assert saved.defined_names == template.defined_names
    with pytest.raises(WorkbookError, match="Job number is missing"):
        read_record(saved, path.name)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_made_with_its_date_and_never_twice(kind: str, tmp_path: Path) -> None:
    path = write_new(kind.replace("_", " ").title(), tmp_path, DAY, {})
    assert path.name == f"{kind} 2025-06-01.xlsx"
    saved = SavedCells(open_package(path.read_bytes(), path.name))
    sheet, _, cell = saved.defined_names[KINDS[kind]].rpartition("!")
    corners = area(cell)
    assert corners is not None
    assert saved.block(sheet.strip("'"), *corners) == [[datetime.date(2025, 6, 1)]]
    with pytest.raises(WorkbookError, match="is there already and is left as it is"):
        write_new(kind, tmp_path, DAY, {})


@pytest.mark.parametrize(("paper", "size"), [("a4", 9), ("us-letter", 1)])
def test_every_sheet_is_set_up_for_the_paper_that_is_asked_for(paper: str, size: int, tmp_path: Path) -> None:
    target = tmp_path / "a.xlsx"
    result = CliRunner().invoke(build_app("new"), ["new", "oil_shelf", str(target), "--paper", paper])
    assert result.exit_code == 0, result.output
    sheets = openpyxl.load_workbook(target).worksheets
    assert {sheet.page_setup.paperSize for sheet in sheets} == {size}


def test_fields_are_filled_by_name(tmp_path: Path) -> None:
    path = write_new("Stack record", tmp_path / "a.xlsx", DAY, {"job_number": "7", "load_diameter": "27"})
    with pytest.raises(WorkbookError, match="Date done is missing"):
        read_record(SavedCells(open_package(path.read_bytes(), "a.xlsx")), "a.xlsx")


def test_an_ending_is_added_where_it_lacks(tmp_path: Path) -> None:
    assert write_new("stack-record", tmp_path / "job 7.1", DAY, {}).name == "job 7.1.xlsx"


def test_a_file_that_is_there_is_left_as_it_is(tmp_path: Path) -> None:
    target = tmp_path / "mine.xlsx"
    target.write_bytes(b"mine")
    with pytest.raises(WorkbookError, match=r"mine\.xlsx: is there already and is left as it is"):
        write_new("stack_record", target, DAY, {})
    assert target.read_bytes() == b"mine"


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WorkbookError, match="cannot be written"):
        write_new("stack_record", tmp_path / "none" / "a.xlsx", DAY, {})


def test_an_unknown_kind_is_refused_with_the_nearest_one(tmp_path: Path) -> None:
    with pytest.raises(InputError, match='no template of that kind: did you mean "stack_record"'):
        write_new("stack_recrd", tmp_path, DAY, {})


def test_an_unknown_field_is_refused_with_the_nearest_one(tmp_path: Path) -> None:
    with pytest.raises(InputError, match='no field of that name: did you mean "technician"'):
        write_new("stack_record", tmp_path, DAY, {"technicin": "MK"})
    assert list(tmp_path.iterdir()) == []


def test_a_setting_without_a_value_is_refused(tmp_path: Path) -> None:
    arguments = ["new", "stack_record", str(tmp_path), "--date", "2025-06-01", "--set", "technician"]
    result = CliRunner().invoke(build_app("new"), arguments)
    assert isinstance(result.exception, InputError)
    assert "is no pair of name and value" in str(result.exception)


def test_the_command_prints_the_file_it_made(tmp_path: Path) -> None:
    target = tmp_path / "a.xlsx"
    arguments = ["new", "stack_record", str(target), "--date", "2025-06-01", "--set", "technician=MK"]
    result = CliRunner().invoke(build_app("new"), arguments)
    assert result.exit_code == 0, result.output
    assert result.output == f"{target}\n"
    assert target.exists()
