"""Services due and bottles to order, by hand calculation."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions.dues import Bottle, bottles_to_order, months_later, orders, services_due
from dampcell.functions.errors import InputError
from dampcell.functions.ledger import Entry

START = datetime.date(2026, 1, 1)


def job(day: datetime.date, **given: object) -> Entry:
    return Entry(1, "", day, **{"damper": "F43", "serial": "7", **given})  # type: ignore[arg-type] # by name


def test_the_use_between_two_services_says_when_the_next_is_due() -> None:
    # 45 h in 90 days is half an hour a day: an interval of 50 h lasts 100 days.
    before = job(START)
    last = job(START + datetime.timedelta(90), hours_since_last=45.0, service_interval=50.0)
    found = services_due([last, before], datetime.date(2027, 1, 1))
    assert len(found) == 1
    assert found[0].day == START + datetime.timedelta(190)
    assert found[0].reason == "50 h at 15 h a month as recorded"


def test_whatever_is_sooner_counts() -> None:
    last = job(START, service_interval=60.0)
    due = services_due([last], datetime.date(2028, 1, 1), hours_per_month=5.0, months_at_most=6)[0]
    assert (due.day, due.reason) == (datetime.date(2026, 7, 1), "6 months")
    due = services_due([last], datetime.date(2028, 1, 1), hours_per_month=30.0, months_at_most=6)[0]
    # 60 h at 30 h a month are two months of 30.436875 days.
    assert (due.day, due.reason) == (START + datetime.timedelta(60), "60 h at 30 h a month assumed")


def test_only_what_is_due_within_the_days_ahead_is_listed() -> None:
    jobs = [job(START)]
    asked = datetime.date(2026, 6, 20)
    assert services_due(jobs, asked, months_at_most=6) == ()
    assert len(services_due(jobs, asked, months_at_most=6, within_days=11)) == 1
    assert services_due(jobs, asked, months_at_most=6, within_days=10) == ()


def test_the_longest_overdue_stands_first_and_the_unknown_last() -> None:
    jobs = [
        job(START + datetime.timedelta(40), serial="late", service_interval=10.0),
        job(START, serial="unknown"),
        job(START, serial="early", service_interval=10.0),
    ]
    found = services_due(jobs, datetime.date(2027, 1, 1), hours_per_month=10.0)
    assert [due.last.serial for due in found] == ["early", "late", "unknown"]
    assert found[-1].reason == "cannot be told: its service interval is not known"
    assert services_due(jobs, START)[0].reason.startswith("cannot be told: its use is not known")


def test_a_damper_without_serial_is_known_by_its_customer_and_one_without_both_is_not() -> None:
    jobs = [
        job(START, serial="", customer_code="C-1"),
        job(START + datetime.timedelta(9), serial="", customer_code="c-1 "),
        job(START, serial="", customer_code="C-2"),
        job(START, serial=""),
    ]
    assert len(services_due(jobs, START, months_at_most=1, within_days=365)) == 2


def test_an_inspection_does_not_renew_the_interval_and_an_undated_job_says_nothing() -> None:
    jobs = [job(START), job(START + datetime.timedelta(200), service_kind="Inspection"), Entry(9, serial="7")]
    found = services_due(jobs, datetime.date(2027, 1, 1), months_at_most=12)
    assert [due.day for due in found] == [datetime.date(2027, 1, 1)]


def test_two_services_on_one_day_do_not_divide_by_zero() -> None:
    jobs = [job(START), job(START, hours_since_last=4.0, service_interval=50.0)]
    assert services_due(jobs, START)[0].day is None


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"hours_per_month": 0.0}, "hours_per_month: must be above 0"),
        ({"months_at_most": 0}, "months_at_most: is out of range"),
        ({"within_days": -1}, "within_days: is out of range"),
    ],
)
def test_odd_numbers_are_refused(given: dict[str, float], sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        services_due([], START, **given)  # type: ignore[arg-type] # by name


def test_a_month_later_ends_with_a_shorter_month() -> None:
    assert months_later(datetime.date(2028, 1, 31), 1) == datetime.date(2028, 2, 29)
    assert months_later(datetime.date(2026, 11, 30), 3) == datetime.date(2027, 2, 28)


@given(st.dates(datetime.date(2000, 1, 1), datetime.date(2090, 1, 1)), st.integers(0, 100))
def test_months_later_reaches_the_right_month(day: datetime.date, months: int) -> None:
    later = months_later(day, months)
    assert later.year * 12 + later.month == day.year * 12 + day.month + months
    assert later.day <= day.day


@pytest.mark.parametrize(
    ("needed", "bottle", "stock", "count"),
    [
        (2350.0, 1000.0, 0.0, 3),
        (2350.0, 1000.0, 400.0, 2),
        (2000.0, 1000.0, 0.0, 2),
        (0.0, 500.0, 0.0, 0),
        (100.0, 500.0, 200.0, 0),
        # A sum of tenths that ends a hair above two bottles does not order a third.
        (sum([0.1] * 20000), 1000.0, 0.0, 2),
    ],
)
def test_bottles_are_whole_and_rounded_up(needed: float, bottle: float, stock: float, count: int) -> None:
    assert bottles_to_order(needed, bottle, stock=stock) == count


@pytest.mark.parametrize(
    ("arguments", "stock", "sentence"),
    [
        ((1.0, 0.0), 0.0, "bottle_volume: must be above 0"),
        ((-1.0, 1.0), 0.0, "needed: must not be negative"),
        ((1.0, 1.0), -1.0, "stock: must not be negative"),
    ],
)
def test_odd_volumes_are_refused(arguments: tuple[float, float], stock: float, sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        bottles_to_order(*arguments, stock=stock)


def test_orders_follow_the_shelf_and_then_name_what_is_on_none() -> None:
    jobs = [
        Entry(1, oil="F-Line", oil_volume=900.0),
        Entry(2, oil="f-line ", oil_volume=600.0),
        Entry(3, oil="Damp 5"),
        Entry(4, oil="Damp 5", oil_volume=10.0),
        Entry(5, oil="Strange", oil_volume=5.0),
        Entry(6),
    ]
    shelf = [Bottle("Damp 5", 500.0, 100.0), Bottle("F-Line", 1000.0, 200.0), Bottle("Idle", 500.0)]
    found = orders(jobs, shelf)
    assert [(order.oil, order.used, order.stock, order.bottles) for order in found] == [
        ("Damp 5", 10.0, 100.0, 0),
        ("F-Line", 1500.0, 200.0, 2),
        ("Idle", 0.0, 0.0, 0),
        ("Strange", 5.0, None, None),
    ]
    assert [order.finding for order in found] == [
        "enough in stock; some jobs state no volume, so more was used",
        "order 2",
        "not used in this time",
        "is on no shelf: its bottle and stock are not known",
    ]


def test_a_cover_factor_makes_the_stock_last_longer() -> None:
    jobs = [Entry(1, oil="F-Line", oil_volume=1500.0)]
    assert orders(jobs, [Bottle("F-Line", 1000.0)], cover_factor=2.0)[0].bottles == 3
    with pytest.raises(InputError, match="cover_factor: must be above 0"):
        orders(jobs, [], cover_factor=0.0)


def test_two_bottles_of_one_oil_are_added_up_but_not_of_two_sizes() -> None:
    jobs = [Entry(1, oil="F-Line", oil_volume=1500.0)]
    half = Bottle("F-line", 500.0, 250.0)
    assert orders(jobs, [half, half])[0].bottles == 2
    with pytest.raises(InputError, match=r'two sizes of bottles|bottles of two sizes of "F-Line"'):
        orders(jobs, [half, Bottle("F-Line", 1000.0)])
