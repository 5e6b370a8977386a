"""Cell functions of the ledger that look ahead: services due, oil used, bottles to order, tax."""

from __future__ import annotations

from typing import Annotated, Literal, cast

from dampcell.functions import dues, ledger, money, periods
from dampcell.functions.cells.ledger import JOBS, NOTHING, Row, filled, ledger_notes, ledger_of, whole
from dampcell.functions.errors import InputError
from dampcell.functions.registry import Noted, Numbers, cell_function
from dampcell.functions.tables import Column, RowLayout

__all__ = ["bottles", "oil_used", "sales_tax", "services_due"]

SHELF = RowLayout(
    (
        Column("oil", meaning="name of the oil, as the ledger has it"),
        Column("bottle_volume", "ml", meaning="oil in a full bottle"),
        Column("stock", "ml", required=False, zero_is_blank=False, default=0.0, meaning="oil in stock"),
    )
)


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
    table_rows: float | None = None,
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
    table_rows : float, optional
        Rows to fill, 1 to 1000: the table is filled up with blanks, or cut with a last row that
        says so; left out, it is as long as it is [-].

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
    [['F43', '7', 'C-1', '2026-01-31', '2026-02-28', 1, '1 month']]
    """
    day = periods.day_of(on_date)
    if day is None:
        raise InputError("is no date", parameter="on_date", found=on_date, allowed="such as 2026-03-01")
    found = dues.services_due(
        ledger_of(jobs).jobs,
        day,
        hours_per_month=hours_per_month,
        months_at_most=None if months_at_most is None else whole(months_at_most, "months_at_most"),
        within_days=whole(within_days, "within_days"),
    )
    rows: list[list[object]] = []
    for due in found:
        last = due.last
        assert last.day is not None
        when = (due.day.isoformat(), (day - due.day).days) if due.day else (NOTHING, NOTHING)
        whose = (last.damper or NOTHING, last.serial or NOTHING, last.customer_code or NOTHING)
        rows.append([*whose, last.day.isoformat(), *when, due.reason])
    nameless = sum(not entry.serial and not entry.customer_code for entry in ledger_of(jobs).jobs)
    told = (
        (f"{nameless} jobs state neither serial number nor customer: their next service cannot be told",)
        if nameless
        else ()
    )
    rows = filled(rows or [["none due", *[NOTHING] * 6]], table_rows)
    return Noted(rows, (*ledger_notes(jobs), *told))


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
    kept = ledger.chosen(ledger_of(jobs), periods.period_of(period), oil=oil)
    lacking = sum(bool(entry.oil) and entry.oil_volume is None for entry in kept)
    told = (f"{lacking} jobs name an oil but no volume: their oil is not counted",) if lacking else ()
    used = sum(entry.oil_volume for entry in kept if entry.oil_volume is not None)
    return Noted(float(used), (*ledger_notes(jobs), *told))


@cell_function(
    family="Ledger",
    result="oil to order",
    columns=(("oil", "-"), ("oil_used", "ml"), ("stock", "ml"), ("bottles", "-"), ("finding", "-")),
)
def bottles(
    jobs: Annotated[list[Row], JOBS],
    shelf: Annotated[list[Row], SHELF] | None = None,
    period: str = "",
    cover_factor: float = 1.0,
    table_rows: float | None = None,
) -> Noted:
    """Bottles of each oil to order, so that the stock lasts for as much as was used.

    Parameters
    ----------
    jobs : table
        Columns of the ledger, see SERVICE_COUNT; oil volume [ml].
    shelf : table, optional
        One oil a row: name, volume of a full bottle [ml], volume in stock [ml].
    period : str, optional
        Year such as 2026, month such as "2026-02" or any day of it, or "undated"; blank is all [-].
    cover_factor : float, optional
        How many such periods the stock has to last, above 0 [-].
    table_rows : float, optional
        Rows to fill, 1 to 1000: the table is filled up with blanks, or cut with a last row that
        says so; left out, it is as long as it is [-].

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
    kept = ledger.chosen(ledger_of(jobs), periods.period_of(period))
    stocked = [
        dues.Bottle(str(row["oil"]), cast(float, row["bottle_volume"]), cast(float, row["stock"]))
        for row in shelf or []
    ]
    rows: list[list[object]] = [
        [
            order.oil,
            order.used,
            NOTHING if order.stock is None else order.stock,
            NOTHING if order.bottles is None else order.bottles,
            order.finding,
        ]
        for order in dues.orders(kept, stocked, cover_factor=cover_factor)
    ]
    return Noted(filled(rows or [["none", 0.0, NOTHING, NOTHING, NOTHING]], table_rows), ledger_notes(jobs))


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
