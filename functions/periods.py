"""Days and periods as people and spreadsheets write them, by the local calendar."""

from __future__ import annotations

import datetime
import re
import unicodedata
from dataclasses import dataclass

from dampcell.functions.errors import InputError

__all__ = ["UNDATED", "Period", "day_of", "folded", "period_of"]

UNDATED = "undated"
"""Where entries without a readable date are counted."""

# Serial numbers of the days from 2000-01-01 to 2099-12-31; others are no dates a workshop means.
_FIRST_SERIAL, _LAST_SERIAL = 36526.0, 73050.0
_EPOCH = datetime.date(1899, 12, 30)
_FIRST_YEAR, _LAST_YEAR = 1950, 2150
_SERIAL = re.compile(r"[0-9]{5}(?:\.[0-9]+)?")
_DAY_FIRST = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})(?:[ ,T].*)?")
_MONTH = re.compile(r"([0-9]{4})-([0-9]{1,2})")
_YEAR = re.compile(r"[0-9]{4}")


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
