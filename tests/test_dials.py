"""Adjuster dials: positions from both ends, and whether a dial reads true."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import dampcell.functions.cells  # noqa: F401 - importing declares the functions
from dampcell.functions.dials import dial_position
from dampcell.functions.registry import CellError, evaluate


def row(*arguments: object) -> list[object]:
    rows = evaluate("DIAL_CLICKS", arguments).value
    assert isinstance(rows, list)
    return list(rows[0])


def test_counting_from_either_end_gives_the_same_place() -> None:
    assert row(12, 18, "closed")[:2] == [12.0, 6.0]
    assert row(6, 18, "open")[:2] == [12.0, 6.0]


def test_counting_starts_at_closed_if_nothing_is_said() -> None:
    assert row(12, 18)[:2] == [12.0, 6.0]
    assert row(0, 18)[:2] == [0.0, 18.0]


@given(st.integers(1, 60), st.data())
def test_clicks_from_both_ends_add_up(total: int, data: st.DataObject) -> None:
    clicks = data.draw(st.integers(0, total))
    found = dial_position(clicks, total, "open")
    assert found.from_open == clicks
    assert found.from_closed + found.from_open == total


def test_a_dial_whose_mark_stands_at_its_end_reads_true() -> None:
    assert row(12, 18)[2:] == [
        12.0,
        "the dial reads true, if its mark stands at its printed closed end with the adjuster turned fully in",
    ]
    assert row(12, 18, "closed", 0.4)[3] == row(12, 18)[3]


def test_a_dial_beside_its_end_is_told_with_the_remedy() -> None:
    shows, finding = row(12, 18, "closed", 2)[2:]
    assert shows == 14.0
    assert finding == (
        "the dial does not read true: it shows 2 clicks too far open; set it on its shaft so that its mark "
        "stands at the printed closed end with the adjuster turned fully in, or count clicks"
    )
    shows, finding = row(12, 18, "closed", -1)[2:]
    assert shows == 11.0
    assert "it shows 1 click too far closed" in str(finding)


@pytest.mark.parametrize(
    ("printed", "expected"),
    [
        (18, "the adjuster has all of its 18 clicks"),
        (20, "only 18 clicks of 20: the adjuster does not reach one of its ends"),
        (16, "18 clicks instead of 16: count again, gently against both stops"),
    ],
)
def test_the_clicks_in_all_are_compared_with_what_the_maker_states(printed: int, expected: str) -> None:
    assert f"; {expected}" in str(row(12, 18, "closed", 0, printed)[3])


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ([20, 18], "clicks: more clicks than the adjuster has (found 20); allowed: 0 to 18."),
        ([-1, 18], "clicks: must not be negative (found -1); allowed: 0 clicks or more."),
        ([5, 0], "total_clicks: is blank or 0"),
        ([5, -18], "total_clicks: must be greater than 0"),
        ([5, 18, "closd"], 'counted_from: is not one of its choices: did you mean "closed"?'),
        (
            [5, 18, "open", 19],
            "dial_offset: is more than the adjuster has clicks (found 19); allowed: -18 to 18.",
        ),
        ([5, 18, "open", 0, -2], "printed_clicks: must be greater than 0"),
    ],
)
def test_counts_that_cannot_be_are_refused(arguments: list[object], expected: str) -> None:
    error = evaluate("DIAL_CLICKS", arguments).value
    assert isinstance(error, CellError)
    assert error.message.startswith(expected)
