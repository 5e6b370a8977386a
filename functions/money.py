"""Money: exact decimals, rounded half up, and tax per item or per invoice.

A cell hands money over as a binary number; its shortest decimal spelling is what
the person typed, so that is taken, and from there on nothing is lost.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from dampcell.functions.errors import InputError

__all__ = ["Basis", "decimal_of", "rounded", "sales_tax", "total"]

Basis = Literal["invoice", "item"]
"""Whether tax is rounded once on the sum, or for each item."""

_LARGEST = 1e12


def decimal_of(amount: float | Decimal) -> Decimal:
    """Take an amount of money as the decimal that it was typed as.

    Parameters
    ----------
    amount : float or Decimal
        Amount, within ±1e12 [-].

    Returns
    -------
    Decimal
        The shortest decimal that reads back as this number, so 0.1 is 0.1 [-].

    Raises
    ------
    InputError
        If it is not finite, or too large for its cents to be exact.

    Notes
    -----
    A binary number holds 15 decimal digits for sure; beyond 1e12 the cents are at risk.

    References
    ----------
    Counting.

    Examples
    --------
    >>> decimal_of(10.99)
    Decimal('10.99')
    """
    if not math.isfinite(amount) or abs(float(amount)) > _LARGEST:
        raise InputError(
            "is no amount of money that can be counted exactly",
            parameter="amount",
            found=amount,
            allowed="-1e12 to 1e12",
        )
    return amount if isinstance(amount, Decimal) else Decimal(repr(float(amount)))


def rounded(amount: Decimal, places: int = 2) -> Decimal:
    """Round an amount half up: halves go away from zero.

    Parameters
    ----------
    amount : Decimal
        Any amount [-].
    places : int
        Decimal places, 0 to 6 [-].

    Returns
    -------
    Decimal
        Amount with exactly these places [-].

    Notes
    -----
    Half up is what tax laws and invoices use; binary rounding of 2.675 gives 2.67.

    References
    ----------
    Streamlined Sales and Use Tax Agreement, section 324 (third decimal, half up).

    Examples
    --------
    >>> rounded(Decimal("2.675"))
    Decimal('2.68')
    """
    return amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)


def total(amounts: Iterable[Decimal]) -> Decimal:
    """Sum amounts exactly.

    Parameters
    ----------
    amounts : iterable of Decimal
        Any number of them [-].

    Returns
    -------
    Decimal
        Sum, 0 if there are none [-].

    Notes
    -----
    Decimals add without error, in any order.

    References
    ----------
    Counting.

    Examples
    --------
    >>> total([Decimal("0.1"), Decimal("0.2")])
    Decimal('0.3')
    """
    return sum(amounts, Decimal(0))


def sales_tax(amounts: Iterable[Decimal], rate: Decimal, basis: Basis = "invoice") -> Decimal:
    """Tax on some amounts, rounded half up to cents for each item or once on the invoice.

    Parameters
    ----------
    amounts : iterable of Decimal
        Amounts without tax [-].
    rate : Decimal
        Tax over amount, 0 to 1, such as 0.19 [-].
    basis : {"invoice", "item"}
        "item" rounds the tax of each amount, "invoice" that of their sum [-].

    Returns
    -------
    Decimal
        Tax [-].

    Raises
    ------
    InputError
        If the rate is not from 0 to 1.

    Notes
    -----
    Which of the two is right depends on the law that applies; they differ by cents.

    References
    ----------
    Streamlined Sales and Use Tax Agreement, section 324: either basis may be chosen.

    Examples
    --------
    >>> sales_tax([Decimal("1.37")] * 50, Decimal("0.20"), "item")
    Decimal('13.50')
    >>> sales_tax([Decimal("1.37")] * 50, Decimal("0.20"), "invoice")
    Decimal('13.70')
    """
    if not 0 <= rate <= 1:
        raise InputError(
            "must be from 0 to 1", parameter="tax_rate", found=float(rate), allowed='such as 0.19 or "19 %"'
        )
    if basis == "item":
        return total(rounded(amount * rate) for amount in amounts) + Decimal("0.00")
    return rounded(total(amounts) * rate)
