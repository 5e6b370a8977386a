"""Plots: round ticks, labels apart, lines parted at their limit; and cross-sections to scale."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dampcell.functions.errors import InputError
from dampcell.workbooks.plots import Axis, Guide, Plot, Series, round_ticks, shown_number, spread

numbers = st.floats(-1e6, 1e6, allow_nan=False)


@given(low=numbers, width=st.floats(1e-3, 1e6), count=st.integers(2, 10))
def test_ticks_enclose_the_range_at_even_one_two_five_steps(low: float, width: float, count: int) -> None:
    high = low + width
    ticks = round_ticks(low, high, count)
    steps = {f"{b - a:.6g}" for a, b in itertools.pairwise(ticks)}
    step = ticks[1] - ticks[0]
    assert ticks[0] <= low + 1e-6 * step
    assert ticks[-1] >= high - 1e-6 * step
    assert len(ticks) <= 2.6 * count + 2
    if abs(low) < 1e4 * width:
        assert len(steps) == 1
        assert round(step / 10 ** math.floor(math.log10(step) + 1e-9), 6) in (1, 2, 5)


@pytest.mark.parametrize(
    ("low", "high", "count", "expected"),
    [
        (0, 10, 5, (0, 2, 4, 6, 8, 10)),
        (0, 0.3, 3, (0, 0.1, 0.2, 0.3)),
        (12, 88, 4, (0, 20, 40, 60, 80, 100)),
    ],
)
def test_ticks_are_those_a_person_would_choose(
    low: float, high: float, count: int, expected: tuple[float, ...]
) -> None:
    assert round_ticks(low, high, count) == expected


def test_an_empty_range_is_refused() -> None:
    with pytest.raises(InputError, match="an axis needs a high end above its low end"):
        round_ticks(1.0, 1.0)


@pytest.mark.parametrize("values", [(), (1.0, math.nan), (math.inf,)])
def test_an_axis_over_no_finite_value_is_refused(values: tuple[float, ...]) -> None:
    with pytest.raises(InputError, match="lift: has no finite values to draw"):
        Axis.over("lift", "mm", values)


def test_an_axis_may_end_with_its_largest_value() -> None:
    axis = Axis.over("load", "N", (0.0, 120.0), to_tick=False)
    assert (axis.low, axis.high, axis.ticks) == (0.0, 120.0, (0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0))
    assert Axis.over("load", "N", (0.0, 130.0), to_tick=False).ticks[-1] == 120.0


def test_all_zero_values_still_make_an_axis() -> None:
    assert Axis.over("lift", "mm", (0.0, 0.0)).high > 0


def test_ticks_show_the_same_decimals_and_a_real_minus() -> None:
    axis = Axis.over("change", "%", (-0.5, 0.26))
    texts = [tick["text"] for tick in axis.layout()["ticks"]]  # type: ignore[attr-defined]
    assert texts == ["−0.6", "−0.4", "−0.2", "0.0", "0.2", "0.4"]


def test_a_unit_of_one_is_not_shown() -> None:
    assert Axis.over("stress ratio", "-", (0.0, 1.0)).layout()["title"] == "stress ratio"
    assert Axis.over("lift", "mm", (0.0, 1.0)).layout()["title"] == "lift [mm]"


def test_a_negative_zero_is_written_as_zero() -> None:
    assert shown_number(-1e-9, 0.1) == "0.0"


@settings(max_examples=60)
@given(places=st.lists(st.floats(0, 1), min_size=1, max_size=8), step=st.floats(0.01, 0.1))
def test_labels_keep_their_order_and_their_distance(places: list[float], step: float) -> None:
    moved = spread(places, step)
    order = sorted(range(len(places)), key=lambda index: places[index])
    for first, second in itertools.pairwise(order):
        assert moved[second] - moved[first] >= step - 1e-9
    assert sum(moved) == pytest.approx(sum(places), abs=1e-6)


def test_labels_far_enough_apart_stay_where_they_are() -> None:
    assert spread([0.9, 0.1, 0.5], 0.1) == [0.9, 0.1, 0.5]


def _line(limit: float | None) -> dict[str, object]:
    axis = Axis.over("load", "N", (0.0, 10.0))
    series = Series("as found", (0.0, 10.0), (0.0, 10.0), limit=limit)
    return Plot(axis, axis, (series,)).layout()["lines"][0]  # type: ignore[index,no-any-return]


def test_a_line_is_thin_beyond_its_limit_with_a_ring_where_it_begins() -> None:
    line = _line(4.0)
    assert line["points"] == [[0.0, 0.0], [0.4, 0.4]]
    assert line["thin"] == [[0.4, 0.4], [1.0, 1.0]]
    assert line["ring"] == [[0.4, 0.4]]


@pytest.mark.parametrize("limit", [None, 10.0, 11.0])
def test_a_line_within_its_limit_has_no_ring(limit: float | None) -> None:
    line = _line(limit)
    assert (line["thin"], line["ring"]) == ([], [])


def test_a_line_beyond_its_limit_from_the_start_is_all_thin() -> None:
    line = _line(-1.0)
    assert line["points"] == []
    assert line["thin"] == [[0.0, 0.0], [1.0, 1.0]]


def test_a_guide_outside_the_axis_is_left_out() -> None:
    axis = Axis.over("temperature", "°C", (0.0, 80.0))
    series = Series("oil", (0.0, 80.0), (50.0, 5.0))
    drawn = Plot(axis, axis, (series,), (Guide(35.0, "working"), Guide(120.0, "hot"))).layout()
    assert drawn["guides"] == [{"at": 0.4375, "text": "working"}]


def test_labels_stand_at_the_ends_of_their_lines() -> None:
    axis = Axis.over("load", "N", (0.0, 10.0))
    drawn = Plot(axis, axis, (Series("a", (0.0, 10.0), (0.0, 8.0)), Series("b", (0.0, 10.0), (0.0, 2.0))))
    labels = drawn.layout()["labels"]
    assert [(label["text"], label["at"], label["moved"]) for label in labels] == [  # type: ignore[attr-defined]
        ("a", 0.8, False),
        ("b", 0.2, False),
    ]


def test_a_long_name_is_cut_beside_its_line() -> None:
    axis = Axis.over("load", "N", (0.0, 10.0))
    drawn = Plot(
        axis, axis, (Series("a very long name of a variant that nobody reads", (0.0, 10.0), (0.0, 8.0)),)
    )
    labels = drawn.layout()["labels"]
    assert isinstance(labels, list)
    assert labels[0]["text"] == "a very long name of a variant that…"
