"""The ledger: days, periods, each job once, groups and what is reported of them."""

from __future__ import annotations

import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions.errors import InputError
from dampcell.functions.ledger import NOT_STATED, Entry, Grouping, chosen, gather, groups, remarks
from dampcell.functions.periods import UNDATED, Period, day_of, folded, period_of

FEBRUARY = datetime.date(2026, 2, 10)
words = st.sampled_from(["full", "FULL ", "lower", "", "bleed"])
days = st.none() | st.dates(datetime.date(2025, 1, 1), datetime.date(2026, 12, 31))
entries = st.lists(
    st.builds(
        Entry,
        row=st.integers(1, 99),
        job_number=st.sampled_from(["", "A-1", "a-1 ", "A-2", "A-3"]),
        day=days,
        service_kind=words,
        technician=words,
        damper=words,
        amount=st.none() | st.decimals(0, 1000, places=2),
        oil_volume=st.none() | st.floats(0, 500),
    ),
    max_size=12,
)


@pytest.mark.parametrize(
    ("written", "day"),
    [
        ("2026-02-28", (2026, 2, 28)),
        (" 2026-02-28 23:30 ", (2026, 2, 28)),
        ("28.2.2026", (2026, 2, 28)),
        ("28.02.2026 23:30", (2026, 2, 28)),
        # Day 1 of the 1900 system is 1900-01-01 and 1900 counts as a leap year: 46081 is 2026-02-28.
        (46081.0, (2026, 2, 28)),
        ("46081.979", (2026, 2, 28)),
        (datetime.datetime(2026, 2, 28, 23, 30), (2026, 2, 28)),
        (datetime.date(2026, 2, 28), (2026, 2, 28)),
        ("2026-02-28T23:30:00+01:00", (2026, 2, 28)),
    ],
)
def test_days_are_read_as_people_and_programs_write_them(written: object, day: tuple[int, int, int]) -> None:
    assert day_of(written) == datetime.date(*day)


@pytest.mark.parametrize(
    "written",
    ["", None, "soon", "31.02.2026", "02/03/2026", "2026-02-30", 12.0, 99999.0, True, "1026-02-01", "20260"],
)
def test_what_is_no_day_is_none_and_not_guessed(written: object) -> None:
    assert day_of(written) is None


def test_a_moment_with_its_zone_belongs_to_the_local_month() -> None:
    late = "2026-01-31T23:30:00Z"
    assert day_of(late, ZoneInfo("Europe/Berlin")) == datetime.date(2026, 2, 1)
    assert day_of(late) == datetime.date(2026, 1, 31)
    moment = datetime.datetime(2026, 2, 1, 0, 30, tzinfo=ZoneInfo("Europe/Berlin"))
    assert day_of(moment, datetime.UTC) == datetime.date(2026, 1, 31)


@pytest.mark.parametrize(
    ("text", "period"),
    [
        ("", Period()),
        ("2026", Period(2026)),
        ("2026-2", Period(2026, 2)),
        ("2026-02", Period(2026, 2)),
        ("2026-02-01", Period(2026, 2)),
        ("46081", Period(2026, 2)),
        (" Undated ", Period(undated=True)),
    ],
)
def test_periods_are_read(text: str, period: Period) -> None:
    assert period_of(text) == period


@pytest.mark.parametrize("text", ["February", "2026-13", "20", "2026/02"])
def test_what_is_no_period_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=r'period: is no period .*a month such as "2026-02"'):
        period_of(text)


def test_texts_compare_without_case_and_spaces() -> None:
    assert folded("  Ring  STRASSE ") == folded("ring straße")


def test_the_same_job_counts_once_from_its_later_day_and_is_reported() -> None:
    first = Entry(3, "2026-1", FEBRUARY, service_kind="bleed", amount=Decimal(50))
    again = Entry(7, " 2026-1 ", FEBRUARY + datetime.timedelta(1), service_kind="bleed", amount=Decimal(60))
    known = gather([first, again])
    assert known.jobs == (again,)
    assert known.duplicates[0].left_out is first
    assert known.duplicates[0].differs == ("date", "amount")
    told = remarks(known)[0]
    assert (told.subject, told.row) == ("duplicate", 3)
    assert "stands in row 7 too" in told.sentence
    assert "differ in date, amount" in told.sentence


def test_of_two_equal_copies_the_first_counts() -> None:
    copies = [Entry(row, "7", FEBRUARY) for row in (2, 5)]
    assert gather(copies).jobs == (copies[0],)
    assert "differ" not in remarks(gather(copies))[0].sentence


def test_a_dated_copy_counts_rather_than_an_undated_one() -> None:
    assert gather([Entry(1, "7"), Entry(2, "7", FEBRUARY)]).jobs[0].row == 2


def test_jobs_without_a_number_are_all_counted() -> None:
    assert len(gather([Entry(1, day=FEBRUARY), Entry(2, day=FEBRUARY)]).jobs) == 2


def test_conditions_hold_together_and_not_stated_takes_blanks() -> None:
    known = gather(
        [
            Entry(1, day=FEBRUARY, technician="MK", damper="F43"),
            Entry(2, day=FEBRUARY, technician="", damper="F43"),
            Entry(3, day=None, technician="MK", damper="F43"),
        ]
    )
    assert [entry.row for entry in chosen(known, Period(2026), damper="f43", technician="mk")] == [1]
    assert [entry.row for entry in chosen(known, Period(), technician=NOT_STATED)] == [2]
    assert [entry.row for entry in chosen(known, Period(undated=True))] == [3]


def test_months_stand_in_order_with_the_undated_last() -> None:
    jobs = [Entry(1), Entry(2, day=FEBRUARY), Entry(3, day=datetime.date(2025, 12, 31))]
    assert [group.name for group in groups(jobs, "month")] == ["2025-12", "2026-02", UNDATED]


def test_groups_have_the_most_services_first_and_exact_money() -> None:
    jobs = [
        Entry(1, technician="JS", amount=Decimal("0.10"), oil_volume=100.0),
        Entry(2, technician="MK", amount=Decimal("0.10"), oil_volume=150.0),
        Entry(3, technician="mk", amount=Decimal("0.20")),
        Entry(4),
    ]
    found = groups(jobs, "technician", tax_rate=Decimal("0.25"))
    assert [(group.name, group.services, str(group.amount), group.oil_volume) for group in found] == [
        ("MK", 2, "0.30", 150.0),
        ("JS", 1, "0.10", 100.0),
        (NOT_STATED, 1, "0.00", 0.0),
    ]
    # By hand: 0.025 and 0.05 round to 0.03 and 0.05 for each job; 0.075 of the sum to 0.08.
    assert str(found[0].tax) == "0.08"
    assert str(groups(jobs, "technician", tax_rate=Decimal("0.25"), basis="invoice")[0].tax) == "0.08"


def test_remarks_name_what_is_missing() -> None:
    known = gather([Entry(1, "A", None, "soon", oil="F-Line"), Entry(2, "", FEBRUARY, amount=Decimal(1))])
    assert [(remark.subject, remark.row) for remark in remarks(known)] == [
        ("undated", 1),
        ("oil", 1),
        ("amount", 1),
        ("job number", 2),
    ]
    assert '(found "soon")' in remarks(known)[0].sentence


@given(entries, st.sampled_from(["month", "service kind", "damper", "technician", "customer", "oil"]))
def test_nothing_is_dropped_whatever_the_grouping(listed: list[Entry], by: Grouping) -> None:
    known = gather(listed)
    made = groups(known.jobs, by)
    assert sum(group.services for group in made) == len(known.jobs)
    assert sum(group.amount for group in made) == sum(entry.amount or Decimal(0) for entry in known.jobs)
    assert len(known.jobs) + len(known.duplicates) == len(listed)
    numbers = [folded(entry.job_number) for entry in known.jobs if folded(entry.job_number)]
    assert len(numbers) == len(set(numbers))


@given(entries)
def test_the_parts_of_a_period_add_up_to_all(listed: list[Entry]) -> None:
    known = gather(listed)
    parts = [Period(2025), Period(2026), Period(undated=True)]
    assert sum(len(chosen(known, part)) for part in parts) == len(known.jobs)
    months = [Period(2026, month) for month in range(1, 13)]
    assert sum(len(chosen(known, month)) for month in months) == len(chosen(known, Period(2026)))
