"""Cell functions of the ledger: counts and money over a range of jobs, and what is doubtful there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal, cast

from dampcell.functions import ledger, money, periods
from dampcell.functions.errors import InputError
from dampcell.functions.registry import Noted, cell_function
from dampcell.functions.tables import Column, RowLayout

__all__ = [
    "JOBS",
    "NOTHING",
    "Row",
    "filled",
    "ledger_check",
    "ledger_notes",
    "ledger_of",
    "service_amount",
    "service_count",
    "service_table",
    "whole",
]

Row = Mapping[str, float | str | None]

NOTHING = "–"
"""What stands in a row of a result where there is nothing to say."""


class JobRows(list[Row]):
    """Parsed rows of a ledger, with the ledger they make."""

    ledger: ledger.Ledger


@dataclass(frozen=True, slots=True)
class JobLayout(RowLayout):
    """The columns of a ledger, made into entries once, however many cells ask."""

    def parse(self, value: object, *, parameter: str) -> JobRows:
        """Parse rows; see `RowLayout.parse`."""
        rows = JobRows(RowLayout.parse(self, value, parameter=parameter))
        rows.ledger = ledger.gather(map(_entry, rows))
        return rows


JOBS = JobLayout(
    (
        Column("job_number", required=False, meaning="the same number is the same job"),
        Column("date", required=False, meaning="day the work was done"),
        Column("service_kind", required=False),
        Column("damper", required=False),
        Column("serial", required=False, meaning="serial number of the damper"),
        Column("technician", required=False),
        Column("customer_code", required=False),
        Column("amount", "-", required=False, zero_is_blank=False, meaning="billed without tax"),
        Column("oil", required=False, meaning="name of the oil"),
        Column("oil_volume", "ml", required=False, zero_is_blank=False, meaning="oil taken from the bottle"),
        Column("hours_since_last", "h", required=False, meaning="hours of use since the service before"),
        Column("service_interval", "h", required=False, meaning="by the maker's manual"),
        Column("workbook", required=False, meaning="file of the job; blank if typed in by hand"),
    )
)

By = Literal["month", "service kind", "damper", "technician", "customer", "oil"]


@cell_function(family="Ledger", result="number of services")
def service_count(
    jobs: Annotated[list[Row], JOBS],
    period: str = "",
    service_kind: str = "",
    damper: str = "",
    technician: str = "",
) -> Noted:
    """Number of services in a ledger: of a year or month, kind, damper and technician.

    Parameters
    ----------
    jobs : table
        Columns of the ledger: job number, date, service kind, damper, serial, technician,
        customer code, amount, oil, oil volume [ml], hours since last [h], service interval [h],
        workbook; those at the end may be left out.
    period : str, optional
        Year such as 2026, month such as "2026-02" or any day of it, or "undated"; blank is all [-].
    service_kind : str, optional
        Kind of service, in any case; "not stated" for blank ones; blank is all [-].
    damper : str, optional
        Damper, likewise [-].
    technician : str, optional
        Technician, likewise [-].

    Returns
    -------
    int
        Services, each job once [-].

    Raises
    ------
    InputError
        If a row cannot be read, or the period is none.

    Notes
    -----
    A date counts by the calendar it is written in. Rows without a readable date count as
    "undated". The same job number in two rows is the same job saved twice: the one with the
    later date counts, and a note says so. LEDGER_CHECK lists such rows.
    Dates as numbers are those of the 1900 system.

    References
    ----------
    Counting.

    Examples
    --------
    >>> service_count([["A-1", "2026-02-28", "full"], ["A-2", "2026-02-10", "FULL "]], "2026-02", "full")
    2
    """
    kept = _chosen(jobs, period, service_kind, damper, technician)
    return Noted(len(kept), ledger_notes(jobs))


@cell_function(family="Ledger", result="money")
def service_amount(
    jobs: Annotated[list[Row], JOBS],
    period: str = "",
    service_kind: str = "",
    damper: str = "",
    technician: str = "",
) -> Noted:
    """Money billed in a ledger: of a year or month, kind, damper and technician.

    Parameters
    ----------
    jobs : table
        Columns of the ledger, see SERVICE_COUNT; amounts without tax [-].
    period : str, optional
        Year such as 2026, month such as "2026-02" or any day of it, or "undated"; blank is all [-].
    service_kind : str, optional
        Kind of service, in any case; "not stated" for blank ones; blank is all [-].
    damper : str, optional
        Damper, likewise [-].
    technician : str, optional
        Technician, likewise [-].

    Returns
    -------
    float
        Sum of the amounts, in their currency [-].

    Raises
    ------
    InputError
        If a row cannot be read, or the period is none.

    Notes
    -----
    Added as exact decimals, rounded half up to cents at the end; each job once.

    References
    ----------
    Counting.

    Examples
    --------
    >>> service_amount([["A-1", "2026-02-28", "full", "", "", "", "", 0.1],
    ...                 ["A-2", "2026-02-10", "full", "", "", "", "", 0.2]], "2026")
    0.3
    """
    kept = _chosen(jobs, period, service_kind, damper, technician)
    billed = money.total(entry.amount for entry in kept if entry.amount is not None)
    return Noted(float(money.rounded(billed)), ledger_notes(jobs))


@cell_function(
    family="Ledger",
    result="services by group",
    columns=(("group", "-"), ("services", "-"), ("amount", "-"), ("tax", "-"), ("oil_volume", "ml")),
)
def service_table(
    jobs: Annotated[list[Row], JOBS],
    by: By,
    period: str = "",
    tax_rate: float = 0.0,
    basis: Literal["item", "invoice"] = "item",
    table_rows: float | None = None,
) -> Noted:
    """Services, money, tax and oil by month, kind of service, damper, technician, customer or oil.

    Parameters
    ----------
    jobs : table
        Columns of the ledger, see SERVICE_COUNT; oil volume in ml, hours in h [-].
    by : {"month", "service kind", "damper", "technician", "customer", "oil"}
        What makes the groups [-].
    period : str, optional
        Year such as 2026, month such as "2026-02" or any day of it, or "undated"; blank is all [-].
    tax_rate : float, optional
        Tax over amount, 0 to 1, such as 0.19 or the text "19 %" [-].
    basis : {"item", "invoice"}, optional
        "item" rounds the tax of each job to cents, "invoice" only that of the group's sum [-].
    table_rows : float, optional
        Rows to fill, 1 to 1000: the table is filled up with blanks, or its smallest groups are
        put together; left out, it is as long as it is [-].

    Returns
    -------
    table
        Group, services, amount, tax [-], and oil taken from the bottle [ml]; months in order
        with the undated last, other groups with the most services first.

    Raises
    ------
    InputError
        If a row cannot be read, or the period or rate is none.

    Notes
    -----
    The services of all groups add up to the jobs of the period: nothing is left out.

    References
    ----------
    Counting; tax rounded half up.

    Examples
    --------
    >>> service_table([["A-1", "2026-01-31", "full"], ["A-2", "", "Full"]], "month")
    [['2026-01', 1, 0.0, 0.0, 0.0], ['undated', 1, 0.0, 0.0, 0.0]]
    """
    kept = _chosen(jobs, period)
    made = ledger.groups(kept, by, tax_rate=money.decimal_of(tax_rate), basis=basis)
    if table_rows is not None:
        made = ledger.shortened(made, _wanted_rows(table_rows))
    rows: list[list[object]] = [
        [group.name, group.services, float(group.amount), float(group.tax), group.oil_volume]
        for group in made
    ]
    return Noted(filled(rows or [["none", 0, 0.0, 0.0, 0.0]], table_rows), ledger_notes(jobs))


@cell_function(family="Ledger", result="findings", columns=(("subject", "-"), ("row", "-"), ("finding", "-")))
def ledger_check(jobs: Annotated[list[Row], JOBS], table_rows: float | None = None) -> list[list[object]]:
    """What is doubtful in a ledger: jobs saved twice, undated rows, missing numbers, oil and amounts.

    Parameters
    ----------
    jobs : table
        Columns of the ledger, see SERVICE_COUNT; oil volume in ml, hours in h [-].
    table_rows : float, optional
        Rows to fill, 1 to 1000: the table is filled up with blanks, or cut with a last row that
        says so; left out, it is as long as it is [-].

    Returns
    -------
    table
        Subject, row within the range from 1, and the finding in words [-].

    Raises
    ------
    InputError
        If a row cannot be read.

    Notes
    -----
    None of these stops the counting: each job counts once, undated rows count as "undated".

    References
    ----------
    Counting.

    Examples
    --------
    >>> ledger_check([["A-1", "2026-02-28", "full", "", "", "", "", 80],
    ...               ["a-1", "2026-02-28", "full", "", "", "", "", 80]])
    [['duplicate', 2, 'job a-1 stands in row 1 too and is counted once, from there']]
    """
    found = ledger.remarks(ledger_of(jobs))
    rows: list[list[object]] = [[remark.subject, remark.row, remark.sentence] for remark in found]
    return filled(rows or [["OK", NOTHING, "nothing doubtful"]], table_rows)


def ledger_of(jobs: list[Row]) -> ledger.Ledger:
    assert isinstance(jobs, JobRows)
    return jobs.ledger


def _chosen(
    jobs: list[Row], period: str, service_kind: str = "", damper: str = "", technician: str = ""
) -> tuple[ledger.Entry, ...]:
    return ledger.chosen(
        ledger_of(jobs),
        periods.period_of(period),
        service_kind=service_kind,
        damper=damper,
        technician=technician,
    )


def ledger_notes(jobs: list[Row]) -> tuple[str, ...]:
    """What holds of the whole ledger, whatever part of it is counted."""
    known = ledger_of(jobs)
    twice = len(known.duplicates)
    undated = sum(entry.day is None for entry in known.jobs)
    told = []
    if twice:
        rows = ", ".join(str(duplicate.left_out.row) for duplicate in known.duplicates[:10])
        told.append(
            f"{twice} rows are jobs saved twice and not counted: row {rows}{' …' if twice > 10 else ''}"
        )
    if undated:
        told.append(f'{undated} jobs have no date that can be read: they count as "{periods.UNDATED}"')
    return tuple(told)


def _entry(row: Row) -> ledger.Entry:
    def text(name: str) -> str:
        # A number in a text column: 2026014.0 is the job number 2026014.
        return str(row[name] or "").removesuffix(".0")

    def number(name: str) -> float | None:
        value = row[name]
        return value if isinstance(value, float) else None

    amount = number("amount")
    return ledger.Entry(
        row=int(cast(float, row["row"])),
        job_number=text("job_number"),
        day=periods.day_of(row["date"]),
        written_date=text("date"),
        service_kind=text("service_kind"),
        damper=text("damper"),
        serial=text("serial"),
        technician=text("technician"),
        customer_code=text("customer_code"),
        amount=None if amount is None else money.decimal_of(amount),
        oil=text("oil"),
        oil_volume=number("oil_volume"),
        hours_since_last=number("hours_since_last"),
        service_interval=number("service_interval"),
        workbook=text("workbook"),
    )


def _wanted_rows(table_rows: float) -> int:
    wanted = whole(table_rows, "table_rows")
    if not 1 <= wanted <= 1000:
        raise InputError("is out of range", parameter="table_rows", found=wanted, allowed="1 to 1000")
    return wanted


def filled(rows: list[list[object]], table_rows: float | None) -> list[list[object]]:
    """Fill a table up with blank rows, or cut it, so that it fits the cells that wait for it."""
    if table_rows is None:
        return rows
    wanted, width = _wanted_rows(table_rows), len(rows[0])
    if len(rows) > wanted:
        return [*rows[: wanted - 1], [f"… {len(rows) - wanted + 1} more rows", *[""] * (width - 1)]]
    return rows + [[""] * width for _ in range(wanted - len(rows))]


def whole(value: float, name: str) -> int:
    if value != int(value):
        raise InputError("must be a whole number", parameter=name, found=value, allowed="such as 12")
    return int(value)
