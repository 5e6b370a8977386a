"""The shared checks name quantity, value and limit, and let nothing that is not finite pass."""

from __future__ import annotations

import math

import pytest

from dampcell.functions.checks import check_not_negative, check_positive, check_within
from dampcell.functions.errors import InputError, ValidityError


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_what_is_not_above_zero_is_refused(value: float) -> None:
    with pytest.raises(
        InputError, match=r"stroke: must be greater than 0 \(found .*\); allowed: above 0 mm\."
    ):
        check_positive("stroke", value, "mm")
    check_positive("stroke", 1e-9, "mm")


@pytest.mark.parametrize("value", [-1e-9, math.nan, math.inf])
def test_what_is_negative_is_refused(value: float) -> None:
    with pytest.raises(InputError, match=r"clicks: must not be negative \(found .*\); allowed: 0 or more\."):
        check_not_negative("clicks", value, "")
    check_not_negative("clicks", 0.0, "")


@pytest.mark.parametrize("value", [0.99, 1.41, math.nan])
def test_what_is_outside_a_range_is_refused(value: float) -> None:
    with pytest.raises(ValidityError, match=r"exponent: is outside the range .*; allowed: 1 to 1\.4\."):
        check_within("exponent", value, 1.0, high=1.4, unit="")
    check_within("exponent", 1.4, 1.0, high=1.4, unit="")
