"""The ledger of a folder: one entry per job workbook, as a workbook, as CSV and as Parquet.

The ledger is a view that can be made again at any time; the folder of workbooks
is the truth. Jobs that cannot be read are named with their reason, and jobs that
lack something are in the ledger with what they have.
"""

from __future__ import annotations

import csv
import datetime
import importlib
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from dampcell.functions.errors import DampcellError, WorkbookError
from dampcell.functions.ledger import Entry, Ledger, gather
from dampcell.functions.money import Basis, decimal_of, rounded, total
from dampcell.functions.tables import is_blank
from dampcell.workbooks.engine import recalculate_package
from dampcell.workbooks.fields import load_fields
from dampcell.workbooks.forms import service_ledger
from dampcell.workbooks.kinds import JOB, kind_of
from dampcell.workbooks.package import Package, open_package, read_file, refreshed
from dampcell.workbooks.reading import read_what_is_there
from dampcell.workbooks.record import JobRecord
from dampcell.workbooks.refill import Cell, named_area, refilled
from dampcell.workbooks.sources import SavedCells

__all__ = [
    "JobRead",
    "as_csv",
    "as_parquet",
    "entry_of",
    "filled_ledger",
    "gathered",
    "read_job",
    "rows_by_hand",
]

TABLE = "jobs"
_SPARE_ROWS = 100
# Texts that a spreadsheet program would take for a formula when it opens a CSV file.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_TAKEN = frozenset(
    {
        "job_number",
        "job_date",
        "service_kind",
        "damper",
        "serial",
        "technician",
        "customer_code",
        "hours_since_last",
        "service_interval",
        "oil_name",
        "price_lines",
        "bleed_log",
    }
)


@dataclass(frozen=True, slots=True)
class JobRead:
    """What became of one workbook of the folder.

    Parameters
    ----------
    source : Path
        The workbook.
    entry : Entry, optional
        Its entry; None if it is no job, or cannot be read.
    failure : text
        Why it cannot be read, or empty.
    doubts : tuple of text
        What is missing or cannot be understood in a job that is in the ledger.
    other_kind : text
        Kind of template if it is no job, such as ``oil_shelf``, or empty.
    """

    source: Path
    entry: Entry | None = None
    failure: str = ""
    doubts: tuple[str, ...] = ()
    other_kind: str = ""


def read_job(source: Path, name: str, *, basis: Basis = "item") -> JobRead:
    """Read the entry of one job workbook.

    Parameters
    ----------
    source : Path
        The workbook; it is only read.
    name : text
        How the ledger calls it.
    basis : {"item", "invoice"}
        Whether each price line is rounded to cents, or their sum only.

    Returns
    -------
    JobRead
        With a sentence instead of an entry when the workbook cannot be read.
    """
    try:
        package = open_package(read_file(source), source.name)
        kind = kind_of(package.public_names)
        if kind not in (None, JOB):
            return JobRead(source, other_kind=kind or "")
        # What the ledger takes was typed in: only where a person typed a formula is there more to do.
        recalculated = recalculate_package(package) if _asks_a_formula(package) else None
        record, problems = read_what_is_there(SavedCells(package, recalculated), source.name)
        entry = entry_of(record, name, basis=basis)
    except WorkbookError as error:
        return JobRead(source, failure=str(error))
    except DampcellError as error:
        told = WorkbookError(
            f"price lines: {error.problem}", file=source.name, found=error.found, allowed=error.allowed
        )
        return JobRead(source, failure=str(told))
    return JobRead(source, entry, doubts=tuple(map(str, problems)))


def entry_of(record: JobRecord, name: str, *, basis: Basis = "item") -> Entry:
    """Make the ledger entry of a job record.

    Parameters
    ----------
    record : JobRecord
        As read from its workbook.
    name : text
        How the ledger calls the workbook.
    basis : {"item", "invoice"}
        Whether each price line is rounded to cents, or their sum only.

    Returns
    -------
    Entry
        Its row is 0 until it has a place in a table. Without price lines or bleed log,
        amount and oil volume are None: not known, which is not 0.
    """
    job = record.job
    lines = [decimal_of(line.count or 0.0) * decimal_of(line.price or 0.0) for line in job.price_lines]
    if basis == "item":
        lines = [rounded(line) for line in lines]
    poured = [step.oil_in for step in record.fill.bleed_log if step.oil_in is not None]
    return Entry(
        row=0,
        job_number=job.job_number,
        day=job.job_date,
        service_kind=job.service_kind,
        damper=job.damper,
        serial=job.serial,
        technician=job.technician,
        customer_code=job.customer_code,
        amount=rounded(total(lines)) if lines else None,
        oil=record.oil.oil_name,
        oil_volume=sum(poured) if poured else None,
        hours_since_last=job.hours_since_last,
        service_interval=job.service_interval,
        workbook=name,
    )


def gathered(jobs: Iterable[JobRead]) -> Ledger:
    """Put the entries of a folder in order of day, number and workbook, and take each job once.

    Parameters
    ----------
    jobs : iterable of JobRead
        From `read_job`.

    Returns
    -------
    Ledger
        The undated last.
    """
    entries = sorted(
        (job.entry for job in jobs if job.entry is not None),
        key=lambda entry: (entry.day or datetime.date.max, entry.job_number, entry.workbook),
    )
    return gather(replace(entry, row=number) for number, entry in enumerate(entries, start=1))


def filled_ledger(data: bytes, file: str, ledger: Ledger) -> bytes:
    """Fill a service ledger with the jobs of a folder, and calculate it.

    Parameters
    ----------
    data : bytes
        A service ledger, fresh or in use.
    file : text
        Its name, for messages.
    ledger : Ledger
        From `gathered`; duplicates go in as well, for the ledger counts each job once.

    Returns
    -------
    bytes
        Rows that earlier runs filled are replaced, rows typed by hand (without a workbook)
        stay where they are; all else is byte for byte the same, but for the values of
        formula cells.

    Raises
    ------
    WorkbookError
        If it is no service ledger, its columns were moved, or it cannot grow.
    """
    by_hand = rows_by_hand(data, file)
    entries = sorted(
        (*ledger.jobs, *(one.left_out for one in ledger.duplicates)), key=lambda entry: entry.row
    )
    rows = [_row(entry) for entry in entries]
    fresh = refilled(data, file, TABLE, rows, keep=by_hand.__contains__, spare=_SPARE_ROWS)
    package = open_package(fresh, file)
    return refreshed(package, recalculate_package(package))


def rows_by_hand(data: bytes, file: str) -> frozenset[int]:
    """Find the rows of a service ledger that a person typed in.

    Parameters
    ----------
    data : bytes
        A service ledger.
    file : text
        Its name, for messages.

    Returns
    -------
    frozenset of int
        Rows of the sheet, from 1, that hold something but no workbook.

    Raises
    ------
    WorkbookError
        If it is no service ledger, or its columns were moved.
    """
    package = open_package(data, file)
    found = named_area(package, TABLE)
    if kind_of(package.public_names) != service_ledger.KIND or found is None:
        raise WorkbookError(
            "is there already and is no service ledger, so it is left as it is",
            file=file,
            allowed='a ledger that "dampcell new service_ledger" made, or a new name (option --out)',
        )
    title, (top, left, bottom, right) = found
    saved = SavedCells(package)
    _check_heads(saved.block(title, top - 1, left, top - 1, right)[0], file, title)
    block = saved.block(title, top, left, bottom, right)
    return frozenset(
        top + index
        for index, cells in enumerate(block)
        if is_blank(cells[-1]) and not all(map(is_blank, cells))
    )


def as_csv(ledger: Ledger) -> bytes:
    """Write the entries as CSV (UTF-8, commas, heads with units).

    Parameters
    ----------
    ledger : Ledger
        From `gathered`.

    Returns
    -------
    bytes
        A text that a spreadsheet program would take for a formula has an apostrophe before it.
    """
    output = io.StringIO()
    writer = csv.writer(output, lineterminator="\r\n")
    writer.writerow([head for head, _ in _COLUMNS])
    for values in _table(ledger):
        writer.writerow([_csv_cell(value) for value in values])
    return output.getvalue().encode()


def as_parquet(ledger: Ledger) -> bytes:
    """Write the entries as Parquet: texts, dates, exact decimals, numbers.

    Parameters
    ----------
    ledger : Ledger
        From `gathered`.

    Returns
    -------
    bytes

    Raises
    ------
    WorkbookError
        If the library for it is not installed.
    """
    try:
        # An optional extra without type hints: it is large, and few need it.
        arrow: Any = importlib.import_module("pyarrow")
        parquet: Any = importlib.import_module("pyarrow.parquet")
    except ImportError:
        raise WorkbookError(
            "Parquet needs the library pyarrow, which is not installed",
            allowed='pip install "dampcell[parquet]", or --csv',
        ) from None
    kinds = {
        "text": arrow.string(),
        "date": arrow.date32(),
        "money": arrow.decimal128(18, 2),
        "number": arrow.float64(),
        "truth": arrow.bool_(),
    }
    rows = _table(ledger)
    columns = [
        arrow.array([_typed(row[index], kind) for row in rows], type=kinds[kind])
        for index, (_, kind) in enumerate(_COLUMNS)
    ]
    table = arrow.table(columns, names=[head for head, _ in _COLUMNS])
    output = io.BytesIO()
    parquet.write_table(table, output)
    return output.getvalue()


_COLUMNS = (
    ("job number", "text"),
    ("date", "date"),
    ("service kind", "text"),
    ("damper", "text"),
    ("serial", "text"),
    ("technician", "text"),
    ("customer code", "text"),
    ("amount", "money"),
    ("oil", "text"),
    ("oil volume [ml]", "number"),
    ("hours since last [h]", "number"),
    ("service interval [h]", "number"),
    ("workbook", "text"),
    ("counted", "truth"),
)


def _table(ledger: Ledger) -> list[tuple[object, ...]]:
    left_out = {one.left_out.row for one in ledger.duplicates}
    entries = (*ledger.jobs, *(one.left_out for one in ledger.duplicates))
    return [
        (*_values(entry), entry.row not in left_out) for entry in sorted(entries, key=lambda entry: entry.row)
    ]


def _values(entry: Entry) -> tuple[object, ...]:
    return (
        entry.job_number,
        entry.day,
        entry.service_kind,
        entry.damper,
        entry.serial,
        entry.technician,
        entry.customer_code,
        None if entry.amount is None else rounded(entry.amount),
        entry.oil,
        entry.oil_volume,
        entry.hours_since_last,
        entry.service_interval,
        entry.workbook,
    )


def _row(entry: Entry) -> list[Cell]:
    return [
        float(value) if isinstance(value, Decimal) else value  # type: ignore[misc] # Entry holds nothing else
        for value in _values(entry)
    ]


def _csv_cell(value: object) -> object:
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return f"'{value}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else value


def _typed(value: object, kind: str) -> object:
    return None if kind == "text" and value == "" else value


def _asks_a_formula(package: Package) -> bool:
    """Whether a cell that the ledger takes from a job holds a formula."""
    wanted = [
        (found[0], found[1], declared)
        for declared in load_fields(JOB)
        if declared.name in _TAKEN and (found := named_area(package, declared.name)) is not None
    ]
    for sheet in package.sheets:
        areas = [(corners, declared) for title, corners, declared in wanted if title == sheet.name]
        if not areas:
            continue
        for cell in package.scan(sheet).cells:
            for (top, left, bottom, right), declared in areas:
                if top <= cell.row <= bottom and left <= cell.column <= right:
                    column = cell.column - left
                    # A column of formulas belongs to the template; the ledger does not take it.
                    if column >= len(declared.columns) or not declared.columns[column].formula:
                        return True
    return False


def _check_heads(heads: Sequence[object], file: str, sheet: str) -> None:
    declared = next(field for field in load_fields(service_ledger.KIND) if field.name == TABLE)
    for column, head in zip(declared.columns, heads, strict=False):
        if str(head or "").split("[")[0].strip().casefold() != column.label.casefold():
            raise WorkbookError(
                "the heads of the table are not the expected ones; put the columns back in order",
                file=file,
                sheet=sheet,
                found=head,
                allowed=f'"{column.label}"',
            )
    if len(heads) != len(declared.columns):
        raise WorkbookError(
            "the table has lost or gained a column",
            file=file,
            sheet=sheet,
            found=len(heads),
            allowed=f"{len(declared.columns)} columns",
        )
