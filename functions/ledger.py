"""The ledger: one entry per job, each job once; counts and money by month, kind, damper and technician.

The entries come from a range of cells or from saved job workbooks; nothing here
knows which. What cannot be placed is reported, never dropped: an entry without a
readable date stands under "undated", a job saved twice is counted once and told.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from dampcell.functions.money import Basis, rounded, sales_tax, total
from dampcell.functions.periods import UNDATED, Period, folded

__all__ = [
    "NOT_STATED",
    "Duplicate",
    "Entry",
    "Group",
    "Grouping",
    "Ledger",
    "Remark",
    "chosen",
    "gather",
    "groups",
    "remarks",
    "shortened",
]

NOT_STATED = "not stated"
"""Group of the entries that leave a kind, damper or technician blank."""

Grouping = Literal["month", "service kind", "damper", "technician", "customer", "oil"]


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


def shortened(made: Sequence[Group], rows: int) -> tuple[Group, ...]:
    """Put the last groups together, so that no more than some rows are left and nothing is lost.

    Parameters
    ----------
    made : sequence of Group
        From `groups` [-].
    rows : int
        Largest number of groups, 1 or more [-].

    Returns
    -------
    tuple of Group
        With one named after the number of groups in it at the end, if they did not fit [-].

    Notes
    -----
    Services, money and oil of the groups add up as before.

    References
    ----------
    Counting.

    Examples
    --------
    >>> made = groups([Entry(1, damper="A"), Entry(2, damper="B"), Entry(3, damper="C")], "damper")
    >>> [(group.name, group.services) for group in shortened(made, 2)]
    [('A', 1), ('2 others', 2)]
    """
    if len(made) <= rows:
        return tuple(made)
    rest = made[rows - 1 :]
    others = Group(
        f"{len(rest)} others",
        sum(group.services for group in rest),
        total(group.amount for group in rest),
        total(group.tax for group in rest),
        sum(group.oil_volume for group in rest),
    )
    return (*made[: rows - 1], others)


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
