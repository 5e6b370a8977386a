"""Money: exact decimals from cells, half up, tax for each item or for the invoice."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions.errors import InputError
from dampcell.functions.money import decimal_of, rounded, sales_tax, total

cents = st.integers(-(10**9), 10**9)


def test_an_amount_is_the_decimal_that_was_typed() -> None:
    assert decimal_of(0.1) + decimal_of(0.2) == Decimal("0.3")
    assert decimal_of(Decimal("2.50")) == Decimal("2.5")


@pytest.mark.parametrize(
    ("amount", "wanted"),
    [("2.675", "2.68"), ("2.665", "2.67"), ("-2.675", "-2.68"), ("0.005", "0.01"), ("1.0049", "1.00")],
)
def test_halves_go_away_from_zero(amount: str, wanted: str) -> None:
    assert str(rounded(Decimal(amount))) == wanted


@pytest.mark.parametrize("amount", [float("nan"), float("inf"), 1.1e12])
def test_an_amount_that_cannot_be_exact_is_refused(amount: float) -> None:
    with pytest.raises(InputError, match="no amount of money that can be counted exactly"):
        decimal_of(amount)


@pytest.mark.parametrize("rate", ["-0.01", "1.01"])
def test_a_rate_outside_0_to_1_is_refused(rate: str) -> None:
    with pytest.raises(InputError, match="tax_rate: must be from 0 to 1"):
        sales_tax([Decimal(1)], Decimal(rate))


def test_no_items_give_no_tax_in_cents() -> None:
    assert str(sales_tax([], Decimal("0.19"), "item")) == "0.00"
    assert str(sales_tax([], Decimal("0.19"))) == "0.00"


@given(st.lists(cents, max_size=30))
def test_a_sum_of_cents_is_exact_in_any_order(amounts: list[int]) -> None:
    money = [decimal_of(amount / 100) for amount in amounts]
    assert total(money) == total(reversed(money)) == Decimal(sum(amounts)) / 100


@given(st.lists(cents.filter(lambda amount: amount >= 0), max_size=30), st.integers(0, 100))
def test_the_two_bases_differ_by_half_a_cent_an_item_at_most(amounts: list[int], percent: int) -> None:
    money = [Decimal(amount) / 100 for amount in amounts]
    rate = Decimal(percent) / 100
    difference = sales_tax(money, rate, "item") - sales_tax(money, rate, "invoice")
    assert abs(difference) <= Decimal("0.005") * (len(money) + 1)
