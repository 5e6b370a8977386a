"""Checks of single quantities that several modules make: one sentence each, naming quantity and limit."""

from __future__ import annotations

import math

from dampcell.functions.errors import InputError, ValidityError

__all__ = ["check_not_negative", "check_positive", "check_within"]


def check_positive(parameter: str, value: float, unit: str) -> None:
    """Refuse a quantity that must be above 0.

    Parameters
    ----------
    parameter : text
        Name of the quantity.
    value : float
        Its value.
    unit : text
        Its unit, for the sentence.

    Raises
    ------
    InputError
        If it is 0 or below, or not finite.
    """
    if not 0.0 < value < math.inf:
        raise InputError(
            "must be greater than 0", parameter=parameter, found=value, allowed=f"above 0 {unit}".strip()
        )


def check_not_negative(parameter: str, value: float, unit: str) -> None:
    """Refuse a quantity that must be 0 or above.

    Parameters
    ----------
    parameter : text
        Name of the quantity.
    value : float
        Its value.
    unit : text
        Its unit, for the sentence.

    Raises
    ------
    InputError
        If it is below 0, or not finite.
    """
    if not 0.0 <= value < math.inf:
        raise InputError(
            "must not be negative", parameter=parameter, found=value, allowed=f"0 {unit}".strip() + " or more"
        )


def check_within(parameter: str, value: float, low: float, *, high: float, unit: str) -> None:
    """Refuse a quantity outside the range in which its formula holds.

    Parameters
    ----------
    parameter : text
        Name of the quantity.
    value : float
        Its value.
    low, high : float
        The range, both ends allowed.
    unit : text
        Its unit, for the sentence.

    Raises
    ------
    ValidityError
        If it is outside.
    """
    if not low <= value <= high:
        raise ValidityError(
            "is outside the range of the formula",
            parameter=parameter,
            found=value,
            allowed=f"{low:g} to {high:g} {unit}".strip(),
        )
