"""Cell functions of the ledger: counts, money, oil and what is due, over a range of jobs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal, cast

from dampcell.functions import dues, ledger, money
from dampcell.functions.errors import InputError
from dampcell.functions.registry import Noted, Numbers, cell_function
from dampcell.functions.tables import Column, RowLayout

__all__ = [
    "JOBS",
    "bottles",
    "ledger_check",
    "oil_used",
    "sales_tax",
    "service_amount",
    "service_count",
    "service_table",
    "services_due",
]

Row = Mapping[str, float | str | None]


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

SHELF = RowLayout(
    (
        Column("oil", meaning="name of the oil, as the ledger has it"),
        Column("bottle_volume", "ml", meaning="oil in a full bottle"),
        Column("stock", "ml", required=False, zero_is_blank=False, default=0.0, meaning="oil in stock"),
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
    return Noted(len(kept), _notes(jobs))


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
    return Noted(float(money.rounded(billed)), _notes(jobs))


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
    rows: list[list[object]] = [
        [group.name, group.services, float(group.amount), float(group.tax), group.oil_volume]
        for group in ledger.groups(kept, by, tax_rate=money.decimal_of(tax_rate), basis=basis)
    ]
    return Noted(rows or [["none", 0, 0.0, 0.0, 0.0]], _notes(jobs))


@cell_function(
    family="Ledger",
    result="services due",
    columns=(
        ("damper", "-"),
        ("serial", "-"),
        ("customer", "-"),
        ("last_service", "-"),
        ("due", "-"),
        ("days_overdue", "-"),
        ("reason", "-"),
    ),
)
def services_due(
    jobs: Annotated[list[Row], JOBS],
    on_date: str,
    within_days: float = 0.0,
    hours_per_month: float | None = None,
    months_at_most: float | None = None,
) -> Noted:
    """Dampers whose next service is due, the longest overdue first.

    Parameters
    ----------
    jobs : table
        Columns of the ledger, see SERVICE_COUNT; hours since last and service interval [h].
    on_date : str
        The day on which is asked, such as TODAY() [-].
    within_days : float, optional
        Days to look ahead, 0 to 36525 [-].
    hours_per_month : float, optional
        Use to assume where the ledger holds no hours between two services, above 0 [h].
    months_at_most : float, optional
        Months after which a service is due however little it was used, 1 to 1200 [-].

    Returns
    -------
    table
        Damper, serial number, customer code, day of the last service, day the next is due, days
        overdue (negative if still to come), and why then [-].

    Raises
    ------
    InputError
        If a row cannot be read, or a number is out of range.

    Notes
    -----
    Hours of use a day come from the hours stated at the last service and the days since the
    one before. Due when the interval is used up, or after the months, whichever is sooner. A
    damper is known by name and serial number, or by name and customer code. An inspection is
    no service. Where nothing can be told, the row says so; it is not left out.

    References
    ----------
    Counting; the interval comes from the maker's manual.

    Examples
    --------
    >>> services_due([["A-1", "2026-01-31", "full", "F43", "7", "MK", "C-1"]], "2026-03-01", 0, None, 1)
    [['F43', '7', 'C-1', '2026-01-31', '2026-02-28', 1, '1 months']]
    """
    day = ledger.day_of(on_date)
    if day is None:
        raise InputError("is no date", parameter="on_date", found=on_date, allowed="such as 2026-03-01")
    found = dues.services_due(
        _ledger(jobs).jobs,
        day,
        hours_per_month=hours_per_month,
        months_at_most=None if months_at_most is None else _whole(months_at_most, "months_at_most"),
        within_days=_whole(within_days, "within_days"),
    )
    rows: list[list[object]] = []
    for due in found:
        last = due.last
        assert last.day is not None
        when = (due.day.isoformat(), (day - due.day).days) if due.day else ("", "")
        rows.append([last.damper, last.serial, last.customer_code, last.day.isoformat(), *when, due.reason])
    nameless = sum(not entry.serial and not entry.customer_code for entry in _ledger(jobs).jobs)
    told = (
        (f"{nameless} jobs state neither serial number nor customer: their next service cannot be told",)
        if nameless
        else ()
    )
    return Noted(rows or [["none due", "", "", "", "", "", ""]], (*_notes(jobs), *told))


@cell_function(family="Ledger", result="oil_volume")
def oil_used(jobs: Annotated[list[Row], JOBS], oil: str = "", period: str = "") -> Noted:
    """Oil that the jobs of a ledger took from the bottle, by oil and by year or month.

    Parameters
    ----------
    jobs : table
        Columns of the ledger, see SERVICE_COUNT; oil volume [ml].
    oil : str, optional
        Name of the oil, in any case; "not stated" for blank ones; blank is all [-].
    period : str, optional
        Year such as 2026, month such as "2026-02" or any day of it, or "undated"; blank is all [-].

    Returns
    -------
    float
        Volume taken from the bottle; what was drained does not come back [ml].

    Raises
    ------
    InputError
        If a row cannot be read, or the period is none.

    Notes
    -----
    A note tells how many jobs state an oil without its volume; they add nothing.

    References
    ----------
    Counting.

    Examples
    --------
    >>> oil_used([["A-1", "2026-02-28", "full", "", "", "", "", "", "F-Line", 284],
    ...           ["A-2", "2026-03-02", "full", "", "", "", "", "", "f-line", 0.3]], "F-Line", "2026")
    284.3
    """
    kept = ledger.chosen(_ledger(jobs), ledger.period_of(period), oil=oil)
    lacking = sum(bool(entry.oil) and entry.oil_volume is None for entry in kept)
    told = (f"{lacking} jobs name an oil but no volume: their oil is not counted",) if lacking else ()
    used = sum(entry.oil_volume for entry in kept if entry.oil_volume is not None)
    return Noted(float(used), (*_notes(jobs), *told))


@cell_function(
    family="Ledger",
    result="oil to order",
    columns=(("oil", "-"), ("oil_used", "ml"), ("stock", "ml"), ("bottles", "-"), ("finding", "-")),
)
def bottles(
    jobs: Annotated[list[Row], JOBS],
    shelf: Annotated[list[Row], SHELF],
    period: str = "",
    cover_factor: float = 1.0,
) -> Noted:
    """Bottles of each oil to order, so that the stock lasts for as much as was used.

    Parameters
    ----------
    jobs : table
        Columns of the ledger, see SERVICE_COUNT; oil volume [ml].
    shelf : table
        One oil a row: name, volume of a full bottle [ml], volume in stock [ml].
    period : str, optional
        Year such as 2026, month such as "2026-02" or any day of it, or "undated"; blank is all [-].
    cover_factor : float, optional
        How many such periods the stock has to last, above 0 [-].

    Returns
    -------
    table
        Oil [-], volume used and in stock [ml], bottles to order and a finding [-]; the shelf's
        order, then oils that were used but stand on no shelf.

    Raises
    ------
    InputError
        If a row cannot be read, a number is out of range, or one oil has two sizes of bottle.

    Notes
    -----
    Bottles = (used · cover factor − stock) / volume of a bottle, rounded up, never below 0.

    References
    ----------
    Counting.

    Examples
    --------
    >>> bottles([["A-1", "2026-02-28", "full", "", "", "", "", "", "F-Line", 1400]],
    ...         [["F-Line", 1000, 250]])
    [['F-Line', 1400.0, 250.0, 2, 'order 2']]
    """
    kept = ledger.chosen(_ledger(jobs), ledger.period_of(period))
    stocked = [
        dues.Bottle(str(row["oil"]), cast(float, row["bottle_volume"]), cast(float, row["stock"]))
        for row in shelf
    ]
    rows: list[list[object]] = [
        [
            order.oil,
            order.used,
            "" if order.stock is None else order.stock,
            "" if order.bottles is None else order.bottles,
            order.finding,
        ]
        for order in dues.orders(kept, stocked, cover_factor=cover_factor)
    ]
    return Noted(rows, _notes(jobs))


@cell_function(family="Ledger", result="money")
def sales_tax(amounts: Numbers, tax_rate: float, basis: Literal["invoice", "item"] = "invoice") -> float:
    """Tax on the amounts of a bill, rounded half up to cents once, or for each item.

    Parameters
    ----------
    amounts : range
        Amounts without tax [-].
    tax_rate : float
        Tax over amount, 0 to 1, such as 0.19 or the text "19 %" [-].
    basis : {"invoice", "item"}, optional
        "invoice" rounds the tax of the sum, "item" that of each amount [-].

    Returns
    -------
    float
        Tax, in the currency of the amounts [-].

    Raises
    ------
    InputError
        If an amount or the rate cannot be read or is out of range.

    Notes
    -----
    The law that applies says which basis is right; the two differ by cents.

    References
    ----------
    Streamlined Sales and Use Tax Agreement, section 324 (half up, either basis).

    Examples
    --------
    >>> sales_tax([[10.99]], 0.0625)
    0.69
    """
    taxed = money.sales_tax(map(money.decimal_of, amounts), money.decimal_of(tax_rate), basis)
    return float(taxed)


@cell_function(family="Ledger", result="findings", columns=(("subject", "-"), ("row", "-"), ("finding", "-")))
def ledger_check(jobs: Annotated[list[Row], JOBS]) -> list[list[object]]:
    """What is doubtful in a ledger: jobs saved twice, undated rows, missing numbers, oil and amounts.

    Parameters
    ----------
    jobs : table
        Columns of the ledger, see SERVICE_COUNT; oil volume in ml, hours in h [-].

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
    found = ledger.remarks(_ledger(jobs))
    rows: list[list[object]] = [[remark.subject, remark.row, remark.sentence] for remark in found]
    return rows or [["OK", "", "nothing doubtful"]]


def _ledger(jobs: list[Row]) -> ledger.Ledger:
    assert isinstance(jobs, JobRows)
    return jobs.ledger


def _chosen(
    jobs: list[Row], period: str, service_kind: str = "", damper: str = "", technician: str = ""
) -> tuple[ledger.Entry, ...]:
    return ledger.chosen(
        _ledger(jobs),
        ledger.period_of(period),
        service_kind=service_kind,
        damper=damper,
        technician=technician,
    )


def _notes(jobs: list[Row]) -> tuple[str, ...]:
    """What holds of the whole ledger, whatever part of it is counted."""
    known = _ledger(jobs)
    twice = len(known.duplicates)
    undated = sum(entry.day is None for entry in known.jobs)
    told = []
    if twice:
        rows = ", ".join(str(duplicate.left_out.row) for duplicate in known.duplicates[:10])
        told.append(
            f"{twice} rows are jobs saved twice and not counted: row {rows}{' …' if twice > 10 else ''}"
        )
    if undated:
        told.append(f'{undated} jobs have no date that can be read: they count as "{ledger.UNDATED}"')
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
        day=ledger.day_of(row["date"]),
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


def _whole(value: float, name: str) -> int:
    if value != int(value):
        raise InputError("must be a whole number", parameter=name, found=value, allowed="such as 12")
    return int(value)
