"""The ledger of a folder: entries from job workbooks, the workbook refilled, CSV and Parquet."""

from __future__ import annotations

import csv
import datetime
import functools
import io
import zipfile
from dataclasses import replace
from decimal import Decimal
from importlib.resources import files
from pathlib import Path

import openpyxl
import pyarrow.parquet  # type: ignore[import-untyped] # it ships no types
import pytest
from openpyxl import Workbook
from openpyxl.cell import Cell

from dampcell.functions.errors import WorkbookError
from dampcell.functions.ledger import Entry, Ledger, gather
from dampcell.workbooks import ledger_book
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.forms.demo_year import demo_ledger, demo_shelf
from dampcell.workbooks.forms.service_ledger import build_service_ledger
from dampcell.workbooks.forms.templates import template_bytes
from dampcell.workbooks.ledger_book import as_csv, as_parquet, entry_of, filled_ledger, gathered, read_job
from dampcell.workbooks.package import open_package
from dampcell.workbooks.reading import read_what_is_there
from dampcell.workbooks.record import JobRecord, PriceLine
from dampcell.workbooks.sources import SavedCells

DEMO = files("dampcell.templates").joinpath("demo")
SHOCK = "2025-041 enduro shock, softer.xlsx"
ENTRIES = [
    Entry(1, "A-1", datetime.date(2025, 3, 6), "", "bleed", "F43", amount=Decimal("0.10"), workbook="a.xlsx"),
    Entry(2, "A-2", datetime.date(2025, 3, 7), "", "=cmd", "F43", amount=Decimal("0.20"), workbook="b.xlsx"),
    Entry(3, "A-1", datetime.date(2025, 3, 5), "", "bleed", "F43", workbook="c.xlsx"),
    Entry(4, "A-3", None, "", "-bleed", oil="@oil", oil_volume=12.5, workbook="d.xlsx"),
]
LEDGER = gather(ENTRIES)


@functools.cache
def record() -> JobRecord:
    data = DEMO.joinpath(SHOCK).read_bytes()
    return read_what_is_there(SavedCells(open_package(data, SHOCK)), SHOCK)[0]


def parts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return {name: package.read(name) for name in package.namelist()}


def cells_of(book: Workbook, name: str) -> tuple[tuple[Cell, ...], ...]:
    sheet, _, cells = str(book.defined_names[name].attr_text).rpartition("!")
    found: tuple[tuple[Cell, ...], ...] = book[sheet.strip("'")][cells.replace("$", "")]
    return found


def jobs_sheet(data: bytes) -> list[tuple[object, ...]]:
    book = openpyxl.load_workbook(io.BytesIO(data))
    rows = [tuple(cell.value for cell in row) for row in cells_of(book, "jobs")]
    return [row for row in rows if any(value is not None for value in row)]


def saved(book: Workbook) -> bytes:
    output = io.BytesIO()
    book.save(output)
    return output.getvalue()


def with_own_sheet(data: bytes) -> bytes:
    book = openpyxl.load_workbook(io.BytesIO(data))
    own = book.create_sheet("My own")
    own["A1"], own["A2"] = "mine", 5
    own["A3"] = "=services_total*2"
    return saved(book)


def test_an_entry_holds_what_the_job_says() -> None:
    entry = entry_of(record(), "jobs/a.xlsx")
    # By hand: 2.5 h at 58, 0.4 l at 32, 41.50 and 8; 262, 14 and 8 ml went in.
    assert entry.amount == Decimal("207.30")
    assert entry.oil_volume == 284.0
    assert (entry.job_number, entry.day) == ("2025-041", datetime.date(2025, 3, 6))
    assert (entry.technician, entry.oil, entry.serial) == ("MK", "Brindlemoor Oils Damp 5", "RS46-20811")
    assert (entry.hours_since_last, entry.service_interval) == (46.0, 40.0)
    assert entry.workbook == "jobs/a.xlsx"


def test_price_lines_are_rounded_each_or_together() -> None:
    lines = tuple(PriceLine("Oil", 0.5, 0.05) for _ in range(3))
    billed = replace(record(), job=replace(record().job, price_lines=lines))
    # 0.025 each: three times 0.03, or 0.075 as 0.08.
    assert entry_of(billed, "a").amount == Decimal("0.09")
    assert entry_of(billed, "a", basis="invoice").amount == Decimal("0.08")


def test_what_a_job_does_not_say_is_not_known_rather_than_nothing() -> None:
    silent = replace(
        record(),
        job=replace(record().job, price_lines=()),
        fill=replace(record().fill, bleed_log=()),
    )
    assert entry_of(silent, "a").amount is None
    assert entry_of(silent, "a").oil_volume is None


def test_a_job_without_a_date_is_read_and_doubted(tmp_path: Path) -> None:
    source = tmp_path / "new.xlsx"
    source.write_bytes(template_bytes("stack_record", {"job_number": "7"}))
    read = read_job(source, "new.xlsx")
    assert read.entry is not None
    assert (read.entry.job_number, read.entry.day) == ("7", None)
    assert any("Date done is missing" in doubt for doubt in read.doubts)


def test_other_workbooks_of_ours_are_known_and_strange_ones_fail_with_a_sentence(tmp_path: Path) -> None:
    shelf, strange = tmp_path / "shelf.xlsx", tmp_path / "strange.xlsx"
    shelf.write_bytes(demo_shelf())
    strange.write_bytes(b"no workbook")
    assert read_job(shelf, "shelf.xlsx").other_kind == "oil_shelf"
    assert "is no workbook" in read_job(strange, "strange.xlsx").failure


def test_a_price_that_is_a_formula_is_calculated(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(io.BytesIO(DEMO.joinpath(SHOCK).read_bytes()))
    cells_of(book, "price_lines")[0][2].value = "=50+8"
    source = tmp_path / "a.xlsx"
    book.save(source)
    read = read_job(source, "a.xlsx")
    assert read.entry is not None
    assert read.entry.amount == Decimal("207.30")


def test_entries_stand_by_day_with_the_undated_last() -> None:
    read = [ledger_book.JobRead(Path(entry.workbook), entry) for entry in reversed(ENTRIES)]
    known = gathered([*read, ledger_book.JobRead(Path("x"), failure="broken")])
    assert [entry.workbook for entry in known.jobs] == ["a.xlsx", "b.xlsx", "d.xlsx"]
    assert [one.left_out.workbook for one in known.duplicates] == ["c.xlsx"]


def test_the_ledger_is_filled_and_calculated_and_counts_each_job_once() -> None:
    made = filled_ledger(demo_ledger(), "l.xlsx", LEDGER)
    result = recalculate(made, "l.xlsx")
    assert [str(told) for told in (*result.findings, *result.errors(), *result.stale())] == []
    _, places = build_service_ledger()
    total = places["amount_total"]
    assert result.value(total.sheet, total.cell(0)) == 0.3
    assert len(jobs_sheet(made)) == 4
    assert filled_ledger(demo_ledger(), "l.xlsx", LEDGER) == made


def test_sheets_of_the_user_and_rows_typed_by_hand_survive_a_refill() -> None:
    book = openpyxl.load_workbook(io.BytesIO(with_own_sheet(demo_ledger())))
    second = cells_of(book, "jobs")[1]
    second[0].value, second[1].value, second[7].value = "H-1", datetime.date(2025, 5, 5), 99
    typed = saved(book)
    once = filled_ledger(typed, "l.xlsx", LEDGER)
    again = filled_ledger(once, "l.xlsx", Ledger(LEDGER.jobs[:1], ()))
    assert [row[0] for row in jobs_sheet(once)] == ["A-1", "H-1", "A-2", "A-1", "A-3"]
    assert [row[0] for row in jobs_sheet(again)] == ["A-1", "H-1"]
    own = f"xl/worksheets/sheet{len(openpyxl.load_workbook(io.BytesIO(typed)).sheetnames)}.xml"
    before, after = parts(typed), parts(again)
    changed = {name for name in before if before[name] != after[name]}
    assert all(name.startswith("xl/worksheets/sheet") for name in changed)
    assert b"<f>services_total*2</f><v>4</v>" in after[own]
    assert before[own].replace(b"<v></v>", b"<v>4</v>").replace(b"<v/>", b"<v>4</v>") == after[own]


def test_a_ledger_that_is_too_small_grows_and_still_counts() -> None:
    many = gather(
        Entry(row, f"N-{row}", datetime.date(2025, 1, 1), amount=Decimal("0.01"), workbook=f"{row}.xlsx")
        for row in range(1, 151)
    )
    made = filled_ledger(demo_ledger(), "l.xlsx", many)
    result = recalculate(made, "l.xlsx")
    _, places = build_service_ledger()
    for name, wanted in (("services_total", 150.0), ("amount_total", 1.5)):
        assert result.value(places[name].sheet, places[name].cell(0)) == wanted
    assert len(jobs_sheet(made)) == 150


def test_what_is_no_ledger_is_left_as_it_is() -> None:
    with pytest.raises(WorkbookError, match="is there already and is no service ledger"):
        filled_ledger(demo_shelf(), "shelf.xlsx", LEDGER)


def test_renamed_heads_and_lost_columns_are_refused() -> None:
    book = openpyxl.load_workbook(io.BytesIO(demo_ledger()))
    first = cells_of(book, "jobs")[0][2]
    book["Jobs"].cell(first.row - 1, first.column).value = "Colour"
    with pytest.raises(WorkbookError, match=r'the heads of the table are not.*"Service kind"'):
        filled_ledger(saved(book), "l.xlsx", LEDGER)
    book["Jobs"].cell(first.row - 1, first.column).value = "Service kind"
    defined = book.defined_names["jobs"]
    defined.attr_text = str(defined.attr_text).replace("$N$", "$M$")
    with pytest.raises(WorkbookError, match="the table has lost or gained a column"):
        filled_ledger(saved(book), "l.xlsx", LEDGER)


def test_csv_writes_formula_like_texts_as_texts_and_says_what_counts() -> None:
    rows = list(csv.reader(io.StringIO(as_csv(LEDGER).decode())))
    assert rows[0][:3] == ["job number", "date", "service kind"]
    assert [row[2] for row in rows[1:]] == ["bleed", "'=cmd", "bleed", "'-bleed"]
    assert rows[4][8] == "'@oil"
    assert [row[7] for row in rows[1:]] == ["0.10", "0.20", "", ""]
    assert [row[-1] for row in rows[1:]] == ["yes", "yes", "no", "yes"]
    assert [row[1] for row in rows[1:]] == ["2025-03-06", "2025-03-07", "2025-03-05", ""]


def test_parquet_keeps_dates_decimals_and_blanks() -> None:
    table = pyarrow.parquet.read_table(io.BytesIO(as_parquet(LEDGER))).to_pydict()
    assert table["date"] == [entry.day for entry in ENTRIES]
    assert table["amount"] == [Decimal("0.10"), Decimal("0.20"), None, None]
    assert table["counted"] == [True, True, False, True]
    assert table["oil volume [ml]"] == [None, None, None, 12.5]
    assert table["technician"] == [None] * 4
    assert as_parquet(LEDGER) == as_parquet(LEDGER)


def test_parquet_without_its_library_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> object:
        raise ImportError(name)

    monkeypatch.setattr("importlib.import_module", missing)
    with pytest.raises(WorkbookError, match=r"needs the library pyarrow.*--csv|needs the library pyarrow"):
        as_parquet(LEDGER)
