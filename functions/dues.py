"""What the ledger says is coming: services due, and bottles of oil to order."""

from __future__ import annotations

import calendar
import datetime
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from dampcell.functions.errors import InputError
from dampcell.functions.ledger import Entry
from dampcell.functions.periods import folded

__all__ = ["Bottle", "Due", "Order", "bottles_to_order", "months_later", "orders", "services_due"]

_DAYS_PER_MONTH = 365.2425 / 12
# An inspection renews nothing, so the interval runs on.
_NO_SERVICE = "inspection"
# Less than a thousandth of a bottle short is a rounding of the sum, not a bottle.
_SHORT = 1e-3
_LONGEST_DAYS = 36525


@dataclass(frozen=True, slots=True)
class Due:
    """The next service of one damper.

    Parameters
    ----------
    last : Entry
        Its last service.
    day : date, optional
        When the next is due; None if it cannot be told.
    reason : text
        Why then, or why it cannot be told.
    """

    last: Entry
    day: datetime.date | None
    reason: str


@dataclass(frozen=True, slots=True)
class Bottle:
    """An oil on the shelf: name, volume of a full bottle and volume in stock [ml]."""

    oil: str
    bottle_volume: float
    stock: float = 0.0


@dataclass(frozen=True, slots=True)
class Order:
    """What to order of one oil: volume used and in stock [ml], bottles [-], finding in words."""

    oil: str
    used: float
    stock: float | None
    bottles: int | None
    finding: str


def months_later(day: datetime.date, months: int) -> datetime.date:
    """Day that lies some months later; the end of a shorter month stands for days it lacks.

    Parameters
    ----------
    day : date
        Any day [-].
    months : int
        0 to 1200 [-].

    Returns
    -------
    date
        The later day [-].

    Notes
    -----
    Calendar months, as intervals are meant.

    References
    ----------
    Counting.

    Examples
    --------
    >>> months_later(datetime.date(2026, 1, 31), 1)
    datetime.date(2026, 2, 28)
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return datetime.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def services_due(
    jobs: Sequence[Entry],
    on: datetime.date,
    *,
    hours_per_month: float | None = None,
    months_at_most: int | None = None,
    within_days: int = 0,
) -> tuple[Due, ...]:
    """List the dampers whose next service is due.

    Parameters
    ----------
    jobs : sequence of Entry
        Jobs that count; a damper is known by its name and serial number, or customer code
        where it has none [-].
    on : date
        The day on which is asked [-].
    hours_per_month : float, optional
        Use where the ledger holds no hours between two services, above 0 [h].
    months_at_most : int, optional
        Months after which a service is due however little the damper was used, 1 to 1200 [-].
    within_days : int
        Days to look ahead, 0 or more [-].

    Returns
    -------
    tuple of Due
        The longest overdue first; then those whose date cannot be told [-].

    Raises
    ------
    InputError
        If a number is out of range.

    Notes
    -----
    Hours of use a day come from the hours that the last service states and the days since
    the service before; the next is due when the service interval is used up. Whichever is
    sooner counts, hours or months. An inspection does not count as a service.

    References
    ----------
    Counting; the interval comes from the maker's manual.

    Examples
    --------
    >>> day = datetime.date(2026, 1, 31)
    >>> services_due([Entry(1, "A-1", day, damper="F43", serial="7")], datetime.date(2026, 3, 1),
    ...              months_at_most=1)[0].day
    datetime.date(2026, 2, 28)
    """
    if hours_per_month is not None and not hours_per_month > 0:
        raise InputError(
            "must be above 0", parameter="hours_per_month", found=hours_per_month, allowed="hours of use"
        )
    if months_at_most is not None and not 1 <= months_at_most <= 1200:
        raise InputError(
            "is out of range", parameter="months_at_most", found=months_at_most, allowed="1 to 1200"
        )
    if not 0 <= within_days <= _LONGEST_DAYS:
        raise InputError(
            "is out of range", parameter="within_days", found=within_days, allowed=f"0 to {_LONGEST_DAYS}"
        )
    last_day = on + datetime.timedelta(days=within_days)
    found = [_due(known, hours_per_month, months_at_most) for known in _by_damper(jobs)]
    wanted = [due for due in found if due.day is None or due.day <= last_day]
    return tuple(
        sorted(
            wanted, key=lambda due: (due.day is None, due.day or on, folded(due.last.damper), due.last.row)
        )
    )


def bottles_to_order(needed: float, bottle_volume: float, *, stock: float = 0.0) -> int:
    """Whole bottles that are missing for a need.

    Parameters
    ----------
    needed : float
        Oil that is needed, 0 or more [ml].
    bottle_volume : float
        Oil in a full bottle, above 0 [ml].
    stock : float
        Oil in stock, 0 or more [ml].

    Returns
    -------
    int
        Bottles, 0 or more [-].

    Raises
    ------
    InputError
        If a volume is out of range.

    Notes
    -----
    Rounded up; less than a thousandth of a bottle short counts as nothing.

    References
    ----------
    Counting.

    Examples
    --------
    >>> bottles_to_order(2350.0, 1000.0, stock=400.0)
    2
    """
    if not bottle_volume > 0:
        raise InputError(
            "must be above 0", parameter="bottle_volume", found=bottle_volume, allowed="ml in a full bottle"
        )
    for name, volume in (("needed", needed), ("stock", stock)):
        if not volume >= 0:
            raise InputError("must not be negative", parameter=name, found=volume, allowed="0 ml or more")
    return max(0, math.ceil((needed - stock) / bottle_volume - _SHORT))


def orders(jobs: Iterable[Entry], shelf: Sequence[Bottle], *, cover_factor: float = 1.0) -> tuple[Order, ...]:
    """Compare the oil that jobs used with the shelf, and say what to order.

    Parameters
    ----------
    jobs : iterable of Entry
        Jobs of the period that shall last [-].
    shelf : sequence of Bottle
        Oils on the shelf; two bottles of one oil are added up [-].
    cover_factor : float
        How many such periods the stock has to last, above 0 [-].

    Returns
    -------
    tuple of Order
        In the order of the shelf; then oils that were used and stand on no shelf [-].

    Raises
    ------
    InputError
        If a number is out of range, or one oil has bottles of two sizes.

    Notes
    -----
    Oil used is what was taken out of the bottle; oil drained is waste and does not return.

    References
    ----------
    Counting.

    Examples
    --------
    >>> orders([Entry(1, oil="F-Line", oil_volume=1400.0)], [Bottle("f-line", 1000.0, 250.0)])[0].bottles
    2
    """
    if not cover_factor > 0:
        raise InputError(
            "must be above 0", parameter="cover_factor", found=cover_factor, allowed="such as 1 or 1.5"
        )
    used: dict[str, float] = {}
    shown: dict[str, str] = {}
    unknown: set[str] = set()
    for entry in jobs:
        key = folded(entry.oil)
        if not key:
            continue
        shown.setdefault(key, " ".join(entry.oil.split()))
        used[key] = used.get(key, 0.0) + (entry.oil_volume or 0.0)
        if entry.oil_volume is None:
            unknown.add(key)
    made = [
        _order(bottle, used.pop(key, 0.0), cover_factor, key in unknown)
        for key, bottle in _added_up(shelf).items()
    ]
    missing = [
        Order(shown[key], volume, None, None, "is on no shelf: its bottle and stock are not known")
        for key, volume in used.items()
    ]
    return (*made, *missing)


def _by_damper(jobs: Sequence[Entry]) -> list[list[Entry]]:
    known: dict[tuple[str, ...], list[Entry]] = {}
    for entry in jobs:
        if entry.day is None or folded(entry.service_kind) == _NO_SERVICE:
            continue
        serial, customer = folded(entry.serial), folded(entry.customer_code)
        if not serial and not customer:
            continue
        key = (folded(entry.damper), serial) if serial else (folded(entry.damper), "", customer)
        known.setdefault(key, []).append(entry)
    return [sorted(entries, key=lambda entry: entry.day or datetime.date.min) for entries in known.values()]


def _due(known: Sequence[Entry], hours_per_month: float | None, months_at_most: int | None) -> Due:
    last = known[-1]
    assert last.day is not None
    days: list[tuple[datetime.date, str]] = []
    interval = next((entry.service_interval for entry in reversed(known) if entry.service_interval), None)
    use = _hours_a_day(known)
    told = f"{use * _DAYS_PER_MONTH:.0f} h a month as recorded" if use else ""
    if use is None and hours_per_month is not None:
        use, told = hours_per_month / _DAYS_PER_MONTH, f"{hours_per_month:g} h a month assumed"
    if interval and use and interval / use <= _LONGEST_DAYS:
        day = last.day + datetime.timedelta(days=math.floor(interval / use))
        days.append((day, f"{interval:g} h at {told}"))
    if months_at_most is not None:
        days.append(
            (
                months_later(last.day, months_at_most),
                f"{months_at_most} month{'s' if months_at_most > 1 else ''}",
            )
        )
    if not days:
        lacking = "its use" if interval else "its service interval"
        return Due(last, None, f"cannot be told: {lacking} is not known")
    return Due(last, *min(days))


def _hours_a_day(known: Sequence[Entry]) -> float | None:
    """Use between the last two services, if they are days apart and the hours are stated."""
    if len(known) < 2 or not known[-1].hours_since_last:
        return None
    before, last = known[-2].day, known[-1].day
    assert before is not None
    assert last is not None
    return known[-1].hours_since_last / (last - before).days if last > before else None


def _added_up(shelf: Sequence[Bottle]) -> dict[str, Bottle]:
    kept: dict[str, Bottle] = {}
    for bottle in shelf:
        key = folded(bottle.oil)
        same = kept.get(key)
        if same is not None and same.bottle_volume != bottle.bottle_volume:
            raise InputError(
                f'the shelf has bottles of two sizes of "{bottle.oil}"',
                parameter="shelf",
                found=bottle.bottle_volume,
                allowed=f"one size of each oil, here {same.bottle_volume:g} ml, with all its stock in ml",
            )
        kept[key] = (
            bottle if same is None else Bottle(same.oil, same.bottle_volume, same.stock + bottle.stock)
        )
    return kept


def _order(bottle: Bottle, used: float, cover_factor: float, incomplete: bool) -> Order:
    count = bottles_to_order(used * cover_factor, bottle.bottle_volume, stock=bottle.stock)
    finding = f"order {count}" if count else "enough in stock" if used else "not used in this time"
    if incomplete:
        finding += "; some jobs state no volume, so more was used"
    return Order(bottle.oil, used, bottle.stock, count, finding)
