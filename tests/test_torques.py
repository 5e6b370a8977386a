"""Torques in other units."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import dampcell.functions.cells  # noqa: F401 - importing declares the functions
from dampcell.functions.registry import CellError, evaluate, lookup
from dampcell.functions.torques import convert_torque

UNITS = ["N·m", "N·cm", "in-lb", "ft-lb", "kgf·cm", "kgf·m"]


@given(st.floats(0.01, 400.0), st.sampled_from(UNITS), st.sampled_from(UNITS))
def test_a_conversion_and_back_gives_the_same_torque(value: float, start: str, end: str) -> None:
    assert convert_torque(convert_torque(value, start, end), end, start) == pytest.approx(value)


@pytest.mark.parametrize("spelling", ["in-lb", "in·lbf", "IN LB", "inlbs", "lb-in"])
def test_spellings_of_the_workshop_are_known(spelling: str) -> None:
    expected = evaluate("TORQUE_CONVERT", [5, "N·m", "in·lbf"]).value
    assert evaluate("TORQUE_CONVERT", [5, "Nm", spelling]).value == expected


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ([-5, "N·m", "in-lb"], "value: must be greater than 0"),
        ([5, "mm", "in"], "mm cannot be converted to N·m"),
        ([5, "N·m", "N"], "N·m cannot be converted to N"),
        ([5, "N·m", "foo"], 'unknown unit (found "foo")'),
        ([5, "N·m"], "to_unit: is missing"),
        (["5 N·m", "N·m", "in-lb"], "value: N·m cannot be converted to a plain number"),
    ],
)
def test_what_is_no_torque_is_refused(arguments: list[object], expected: str) -> None:
    error = evaluate("TORQUE_CONVERT", arguments).value
    assert isinstance(error, CellError)
    assert error.message.startswith(expected)


def test_help_puts_the_makers_manual_before_common_practice() -> None:
    text = lookup("TORQUE_CONVERT").description
    assert text.index("maker's manual") < text.index("about 5 N·m (common practice, no source)")
