"""The ledger: one entry per job, each job once; counts and money by month, kind, damper and technician.

The entries come from a range of cells or from saved job workbooks; nothing here
knows which. What cannot be placed is reported, never dropped: an entry without a
readable date stands under "undated", a job saved twice is counted once and told.
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from dampcell.functions.errors import InputError
from dampcell.functions.money import Basis, rounded, sales_tax, total

__all__ = [
    "NOT_STATED",
    "UNDATED",
    "Duplicate",
    "Entry",
    "Group",
    "Grouping",
    "Ledger",
    "Period",
    "Remark",
    "chosen",
    "day_of",
    "folded",
    "gather",
    "groups",
    "period_of",
    "remarks",
]

UNDATED = "undated"
"""Where entries without a readable date are counted."""

NOT_STATED = "not stated"
"""Group of the entries that leave a kind, damper or technician blank."""

Grouping = Literal["month", "service kind", "damper", "technician", "customer", "oil"]

# Serial numbers of the days from 2000-01-01 to 2099-12-31; others are no dates a workshop means.
_FIRST_SERIAL, _LAST_SERIAL = 36526.0, 73050.0
_EPOCH = datetime.date(1899, 12, 30)
_FIRST_YEAR, _LAST_YEAR = 1950, 2150
_SERIAL = re.compile(r"[0-9]{5}(?:\.[0-9]+)?")
_DAY_FIRST = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})(?:[ ,T].*)?")
_MONTH = re.compile(r"([0-9]{4})-([0-9]{1,2})")
_YEAR = re.compile(r"[0-9]{4}")


@dataclass(frozen=True, slots=True)
class Entry:
    """One job of the ledger; texts are empty where nothing is stated.

    Parameters
    ----------
    row : int
        Where it stands in its list, from 1 [-].
    job_number : text
        The workshop's own number; the same number is the same job.
    day : date, optional
        Day the work was done, by the local calendar.
    written_date : text
        What stood there if no date could be read.
    service_kind, damper, serial, technician, customer_code : text
        As written.
    amount : Decimal, optional
        Billed without tax [-].
    oil : text
        Name of the oil.
    oil_volume : float, optional
        Oil taken from the bottle [ml].
    hours_since_last, service_interval : float, optional
        Hours of use since the service before, and the interval by the manual [h].
    workbook : text
        File that it was read from; empty if it was typed in by hand.
    """

    row: int
    job_number: str = ""
    day: datetime.date | None = None
    written_date: str = ""
    service_kind: str = ""
    damper: str = ""
    serial: str = ""
    technician: str = ""
    customer_code: str = ""
    amount: Decimal | None = None
    oil: str = ""
    oil_volume: float | None = None
    hours_since_last: float | None = None
    service_interval: float | None = None
    workbook: str = ""


@dataclass(frozen=True, slots=True)
class Duplicate:
    """An entry that is not counted, the one that is counted instead, and in what they differ."""

    left_out: Entry
    counted: Entry
    differs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ledger:
    """All entries that count, in their order, and those left out because the job stands there twice."""

    jobs: tuple[Entry, ...]
    duplicates: tuple[Duplicate, ...]


@dataclass(frozen=True, slots=True)
class Period:
    """A year, a month of a year, all undated entries, or, with nothing set, everything."""

    year: int | None = None
    month: int | None = None
    undated: bool = False

    def holds(self, day: datetime.date | None) -> bool:
        """Whether an entry of this day belongs to the period."""
        if self.undated:
            return day is None
        if self.year is None:
            return True
        return day is not None and day.year == self.year and self.month in (None, day.month)


@dataclass(frozen=True, slots=True)
class Group:
    """Counts of one group: services [-], amount and tax as exact money [-], oil [ml]."""

    name: str
    services: int
    amount: Decimal
    tax: Decimal
    oil_volume: float


@dataclass(frozen=True, slots=True)
class Remark:
    """What has to be known about an entry: subject, row from 1, and a sentence."""

    subject: Literal["duplicate", "undated", "job number", "oil", "amount"]
    row: int
    sentence: str


def folded(text: str) -> str:
    """Fold a text for comparing: outer and double spaces, case and spelling of letters do not count.

    Examples
    --------
    >>> folded("  FULL   Service ")
    'full service'
    """
    return " ".join(unicodedata.normalize("NFKC", text).split()).casefold()


def day_of(value: object, zone: datetime.tzinfo | None = None) -> datetime.date | None:
    """Read the day from what stands in a date cell.

    Parameters
    ----------
    value : object
        A date, a date and time, a serial number of the 1900 system, or a text such as
        ``2026-02-28``, ``2026-02-28 23:30`` or ``28.02.2026`` [-].
    zone : tzinfo, optional
        Local zone into which a time with its own zone is turned; without it the day
        counts as it is written [-].

    Returns
    -------
    date or None
        None if it is blank, or no day that can be read without guessing [-].

    Notes
    -----
    02/03/2026 is the second of March or the third of February, so it is not read.

    References
    ----------
    ISO 8601 for the written form.

    Examples
    --------
    >>> day_of("2026-02-28 23:30")
    datetime.date(2026, 2, 28)
    >>> day_of("02/03/2026") is None
    True
    """
    day = _written_day(value, zone)
    return day if day is not None and _FIRST_YEAR <= day.year <= _LAST_YEAR else None


def _written_day(value: object, zone: datetime.tzinfo | None) -> datetime.date | None:
    if isinstance(value, datetime.datetime):
        return (value.astimezone(zone) if zone and value.tzinfo else value).date()
    if isinstance(value, datetime.date):
        return value
    if isinstance(value, bool) or value is None:
        return None
    text = str(value).strip()
    if _SERIAL.fullmatch(text):
        serial = float(text)
        if not _FIRST_SERIAL <= serial < _LAST_SERIAL + 1:
            return None
        return _EPOCH + datetime.timedelta(days=int(serial))
    day_first = _DAY_FIRST.fullmatch(text)
    try:
        if day_first is not None:
            day, month, year = map(int, day_first.groups())
            return datetime.date(year, month, day)
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        return None
    return (moment.astimezone(zone) if zone and moment.tzinfo else moment).date()


def period_of(text: str) -> Period:
    """Read a period: ``2026``, ``2026-02``, a day of the month meant, ``undated``, or nothing for all.

    Parameters
    ----------
    text : text
        As typed, or the serial number that a date cell holds [-].

    Returns
    -------
    Period
        The period [-].

    Raises
    ------
    InputError
        If it is none of these.

    Notes
    -----
    A spreadsheet makes a date of a typed "2026-02", so any day stands for its month.

    References
    ----------
    ISO 8601 for the written form.

    Examples
    --------
    >>> period_of("2026-02")
    Period(year=2026, month=2, undated=False)
    """
    wanted = text.strip()
    if not wanted:
        return Period()
    if wanted.casefold() == UNDATED:
        return Period(undated=True)
    if _YEAR.fullmatch(wanted):
        return Period(year=int(wanted))
    month = _MONTH.fullmatch(wanted)
    if month is not None and 1 <= int(month[2]) <= 12:
        return Period(year=int(month[1]), month=int(month[2]))
    day = day_of(wanted)
    if day is None:
        raise InputError(
            "is no period",
            parameter="period",
            found=wanted,
            allowed=f'a year such as "2026", a month such as "2026-02", or "{UNDATED}"',
        )
    return Period(year=day.year, month=day.month)


def gather(entries: Iterable[Entry]) -> Ledger:
    """Take each job once: of entries with the same job number the one with the latest day counts.

    Parameters
    ----------
    entries : iterable of Entry
        All there are; one without a job number is a job of its own [-].

    Returns
    -------
    Ledger
        Entries that count, and the duplicates [-].

    Notes
    -----
    Of equal days, and where none is dated, the first counts.

    References
    ----------
    Counting.

    Examples
    --------
    >>> day = datetime.date(2026, 2, 1)
    >>> len(gather([Entry(1, "A-1", day), Entry(2, "a-1 ", day), Entry(3)]).jobs)
    2
    """
    listed = list(entries)
    counted: dict[str, Entry] = {}
    for entry in listed:
        key = folded(entry.job_number)
        best = counted.get(key)
        if key and (best is None or (entry.day or datetime.date.min) > (best.day or datetime.date.min)):
            counted[key] = entry
    jobs: list[Entry] = []
    duplicates: list[Duplicate] = []
    for entry in listed:
        best = counted.get(folded(entry.job_number), entry)
        if best is entry:
            jobs.append(entry)
        else:
            duplicates.append(Duplicate(entry, best, _differences(entry, best)))
    return Ledger(tuple(jobs), tuple(duplicates))


def chosen(
    ledger: Ledger,
    period: Period,
    *,
    service_kind: str = "",
    damper: str = "",
    technician: str = "",
    oil: str = "",
) -> tuple[Entry, ...]:
    """Take the jobs of a period and of a kind, damper, technician or oil; an empty text takes all.

    Parameters
    ----------
    ledger : Ledger
        From `gather` [-].
    period : Period
        From `period_of` [-].
    service_kind, damper, technician, oil : text
        Compared without regard to case and outer spaces; ``not stated`` takes the blank ones [-].

    Returns
    -------
    tuple of Entry
        In their order [-].

    Notes
    -----
    All conditions hold together.

    References
    ----------
    Counting.

    Examples
    --------
    >>> ledger = gather([Entry(1, service_kind="FULL "), Entry(2, service_kind="lower")])
    >>> [entry.row for entry in chosen(ledger, Period(), service_kind="full")]
    [1]
    """
    wanted = [
        (name, folded(text))
        for name, text in (
            ("service_kind", service_kind),
            ("damper", damper),
            ("technician", technician),
            ("oil", oil),
        )
        if folded(text)
    ]
    return tuple(
        entry
        for entry in ledger.jobs
        if period.holds(entry.day)
        and all((folded(getattr(entry, name)) or NOT_STATED) == key for name, key in wanted)
    )


def groups(
    jobs: Sequence[Entry], by: Grouping, *, tax_rate: Decimal = Decimal(0), basis: Basis = "item"
) -> tuple[Group, ...]:
    """Count jobs and add up their money and oil by groups.

    Parameters
    ----------
    jobs : sequence of Entry
        From `chosen` [-].
    by : text
        What makes the groups; a group is shown as it is written first [-].
    tax_rate : Decimal
        Tax over amount, 0 to 1 [-].
    basis : {"item", "invoice"}
        "item" rounds the tax of each job, as each has a bill of its own; "invoice" rounds
        once, on the sum of the group [-].

    Returns
    -------
    tuple of Group
        Months in order with the undated last; others with the most services first [-].

    Notes
    -----
    Money is summed as exact decimals and rounded half up at the end.

    References
    ----------
    Counting.

    Examples
    --------
    >>> groups([Entry(1, damper="F43"), Entry(2, damper="f43")], "damper")[0].services
    2
    """
    gathered: dict[str, list[Entry]] = {}
    shown: dict[str, str] = {}
    for entry in jobs:
        name = _group_name(entry, by)
        shown.setdefault(folded(name), name)
        gathered.setdefault(folded(name), []).append(entry)
    made = [
        Group(
            shown[key],
            len(members),
            rounded(total(entry.amount for entry in members if entry.amount is not None)),
            sales_tax((entry.amount for entry in members if entry.amount is not None), tax_rate, basis),
            float(sum(entry.oil_volume or 0.0 for entry in members)),
        )
        for key, members in gathered.items()
    ]
    if by == "month":
        return tuple(sorted(made, key=lambda group: (group.name == UNDATED, group.name)))
    return tuple(sorted(made, key=lambda group: (-group.services, folded(group.name))))


def remarks(ledger: Ledger) -> tuple[Remark, ...]:
    """List what has to be known: duplicates, undated entries, missing numbers, oil and amounts.

    Parameters
    ----------
    ledger : Ledger
        From `gather` [-].

    Returns
    -------
    tuple of Remark
        Duplicates first, then by row [-].

    Notes
    -----
    Nothing of this stops the counting.

    References
    ----------
    Counting.

    Examples
    --------
    >>> [remark.subject for remark in remarks(gather([Entry(1, "A-1", oil="F-Line")]))]
    ['undated', 'oil', 'amount']
    """
    found = [
        Remark(
            "duplicate",
            duplicate.left_out.row,
            f"job {duplicate.left_out.job_number} stands in row {duplicate.counted.row} too and is counted "
            "once, from there"
            + (f"; the two differ in {', '.join(duplicate.differs)}" if duplicate.differs else ""),
        )
        for duplicate in ledger.duplicates
    ]
    for entry in ledger.jobs:
        called = f"job {entry.job_number}" if entry.job_number else "this entry"
        if entry.day is None:
            told = f' (found "{entry.written_date}")' if entry.written_date else ""
            found.append(
                Remark(
                    "undated", entry.row, f'{called} has no date that can be read{told}: under "{UNDATED}"'
                )
            )
        if not entry.job_number:
            found.append(
                Remark("job number", entry.row, "without a job number a second copy cannot be told from it")
            )
        if entry.oil and entry.oil_volume is None:
            found.append(
                Remark("oil", entry.row, f"{called} names an oil but no volume: its oil is not counted")
            )
        if entry.amount is None:
            found.append(Remark("amount", entry.row, f"{called} has no amount: it adds nothing to the money"))
    return tuple(found)


_COMPARED = (
    ("day", "date"),
    ("service_kind", "service kind"),
    ("damper", "damper"),
    ("serial", "serial"),
    ("technician", "technician"),
    ("amount", "amount"),
    ("oil", "oil"),
    ("oil_volume", "oil volume"),
)


def _differences(one: Entry, other: Entry) -> tuple[str, ...]:
    def plain(value: object) -> object:
        return folded(value) if isinstance(value, str) else value

    return tuple(
        shown for name, shown in _COMPARED if plain(getattr(one, name)) != plain(getattr(other, name))
    )


def _group_name(entry: Entry, by: Grouping) -> str:
    if by == "month":
        return entry.day.isoformat()[:7] if entry.day is not None else UNDATED
    written = {
        "service kind": entry.service_kind,
        "damper": entry.damper,
        "technician": entry.technician,
        "customer": entry.customer_code,
        "oil": entry.oil,
    }[by]
    return " ".join(written.split()) or NOT_STATED
