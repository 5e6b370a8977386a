"""Findings say in plain words what the numbers of a job mean."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dampcell.workbooks.answers import Answer, OilAnswers, StackAnswers
from dampcell.workbooks.findings import (
    change,
    dial_findings,
    figure,
    oil_findings,
    percent,
    stack_findings,
    stack_remarks,
)
from dampcell.workbooks.record import Dial, Oil

BLANK = StackAnswers(
    key="as_found",
    label="As found",
    rows=(),
    problem="",
    opening=Answer(0.0),
    lift=Answer(0.10),
    stiffness=Answer(500.0),
    stress=Answer([[1.0, 200.0, 0.3]]),
    tolerance=Answer(),
    curve=(),
    limit=None,
    checks=(),
)


def said(*stacks: StackAnswers) -> dict[str, str]:
    return dict(stack_findings(stacks, 100.0, 300.0))


def variant(**changed: object) -> StackAnswers:
    return replace(BLANK, key="a", label="Variant A", **changed)  # type: ignore[arg-type]


def test_a_plain_stack_alone_says_nothing() -> None:
    assert said(BLANK) == {}


def test_no_stack_says_nothing() -> None:
    assert stack_findings([], 100.0, 300.0) == []


def test_preload_as_found_is_told_with_its_opening_load() -> None:
    assert said(replace(BLANK, opening=Answer(20.0))) == {
        "As found:": "it is pressed on its seat and opens at 20.0 N."
    }


@pytest.mark.parametrize(
    ("lift", "expected"),
    [
        (0.125, "softer; at 100 N it lifts 0.125 mm, 25 % further than the stack as found (0.100 mm)."),
        (0.08, "firmer; at 100 N it lifts 0.0800 mm, 20 % less than the stack as found (0.100 mm)."),
        (0.101, "at 100 N it lifts as far as the stack as found, 0.101 mm."),
        (0.31, "softer; at 100 N it lifts 0.310 mm, 3.1 times as far as the stack as found (0.100 mm)."),
    ],
)
def test_a_variant_is_compared_at_the_working_load(lift: float, expected: str) -> None:
    assert said(BLANK, variant(lift=Answer(lift)))["Variant A:"] == expected


def test_a_variant_that_opens_where_the_other_is_shut_is_told() -> None:
    shut = replace(BLANK, lift=Answer(1e-17), opening=Answer(150.0))
    told = said(shut, variant(lift=Answer(0.2)))["Variant A:"]
    assert told.startswith("softer; at 100 N it lifts 0.200 mm, where the stack as found is still shut.")
    assert told.endswith("Nothing presses it on its seat any more, so it opens from the first load on.")


def test_a_variant_that_is_shut_where_the_other_opens_is_told() -> None:
    told = said(BLANK, variant(lift=Answer(2e-17), opening=Answer(150.0)))["Variant A:"]
    assert told.startswith("firmer; at 100 N it is still shut, where the stack as found lifts 0.100 mm.")


def test_two_stacks_that_are_both_shut_are_not_compared() -> None:
    shut = replace(BLANK, lift=Answer(1e-17), opening=Answer(150.0))
    other = variant(lift=Answer(2e-17), opening=Answer(151.0))
    assert said(shut, other)["Variant A:"] == "at 100 N it is still shut, as the stack as found is."


@pytest.mark.parametrize(
    ("was", "opening", "expected"),
    [
        (20.0, 30.0, "It opens at 30.0 N (the stack as found at 20.0 N)."),
        (0.0, 30.0, "It is pressed on its seat and opens at 30.0 N (the stack as found opens at once)."),
    ],
)
def test_a_changed_opening_load_is_told(was: float, opening: float, expected: str) -> None:
    told = said(replace(BLANK, opening=Answer(was)), variant(lift=Answer(0.2), opening=Answer(opening)))
    assert told["Variant A:"].endswith(expected)


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [
        (1.2, "“As found” 120 %; above 100 % a shim will crack with time."),
        (0.85, "“As found” 85 %; that leaves little reserve."),
    ],
)
def test_high_stress_is_told(ratio: float, expected: str) -> None:
    told = said(replace(BLANK, stress=Answer([[2.0, 600.0, ratio]])), variant())["Stress:"]
    assert told == f"at 300 N the worst shim bears, against its endurance limit, {expected}"


def test_stress_with_reserve_is_not_told() -> None:
    assert "Stress:" not in said(BLANK, variant())


def test_lifts_beyond_the_axisymmetric_range_are_called_rough() -> None:
    told = said(replace(BLANK, limit=120.0), variant(limit=80.0))["Beyond the axisymmetric range:"]
    assert told == (
        "“As found” above 120 N, “Variant A” above 80 N: a shim lifts more than twice its thickness there, "
        "and lifts are rough."
    )


def test_a_stack_that_cannot_be_computed_keeps_its_sentence() -> None:
    broken = variant(problem="stack: has no clamp row.", lift=Answer(None, "stack: has no clamp row."))
    assert said(BLANK, broken)["Variant A:"] == "cannot be computed: stack: has no clamp row."


def test_remarks_on_a_build_stand_with_its_name() -> None:
    remarks = stack_remarks([replace(BLANK, checks=("row 2 is thin", "row 3 leaves a gap.")), variant()])
    assert remarks == [("As found:", "row 2 is thin. Row 3 leaves a gap.")]


OIL = Oil("Pale oil", "2.5W", "", 14.0, 3.5, 860.0, 30.0)
OIL_ANSWERS = OilAnswers(
    index=Answer(132.0),
    grade=Answer("ISO VG 15"),
    working=Answer(19.8),
    density=Answer(850.0),
    label=Answer([[7.0, 14.0, 16.0]]),
    curve=(),
)


def test_oil_is_told_by_its_data_against_its_label() -> None:
    ((name, told),) = oil_findings(OIL, OIL_ANSWERS)
    assert name == "Oil:"
    assert "the bottle says “2.5W”, which is no standard; by its data it has 14.0 mm²/s at 40 °C." in told
    assert "At the working temperature of 30 °C it has 19.8 mm²/s." in told
    assert (
        "typically hold 7 to 16 mm²/s at 40 °C (common practice, no source): this one is within that." in told
    )


def test_oil_outside_the_range_of_its_label_is_told() -> None:
    ((_, told),) = oil_findings(replace(OIL, viscosity_40=22.0), OIL_ANSWERS)
    assert "this one is outside that" in told


def test_notes_and_refusals_of_the_oil_functions_are_told() -> None:
    answers = replace(
        OIL_ANSWERS,
        working=Answer(900.0, "", ("outside 0 to 100 °C this is rough",)),
        index=Answer(None, "below 2."),
    )
    ((_, told),) = oil_findings(OIL, answers)
    assert "Outside 0 to 100 °C this is rough." in told
    assert "Below 2." in told


@pytest.mark.parametrize(
    ("found", "left", "expected"),
    [
        (8.0, 10.0, "2 clicks more open, now 10 from closed (found at 8)."),
        (8.0, 7.0, "1 click more closed, now 7 from closed (found at 8)."),
        (8.0, 8.0, "left as found, 8 clicks from closed."),
    ],
)
def test_dials_are_told_by_the_way_they_were_turned(found: float, left: float, expected: str) -> None:
    assert dial_findings([Dial("rebound", 20.0, found, left, "")]) == [("Rebound dial:", expected)]


def test_a_dial_that_was_not_counted_says_nothing() -> None:
    assert dial_findings([Dial("rebound", 20.0, None, 8.0, "")]) == []


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [
        (9.996, 3, "10.0"),
        (0.00123, 3, "0.00123"),
        (123456.0, 3, "123456"),
        (-0.5, 2, "−0.50"),
        (None, 3, "–"),
    ],
)
def test_numbers_are_written_with_significant_digits(value: float | None, digits: int, expected: str) -> None:
    assert figure(value, digits) == expected


@pytest.mark.parametrize(
    ("value", "baseline", "expected"),
    [
        (120.0, 100.0, "+20"),
        (80.0, 100.0, "−20"),
        (100.2, 100.0, "±0"),
        (1.0, 0.0, "–"),
        (None, 1.0, "–"),
        (1.0, None, "–"),
    ],
)
def test_percent_is_told_with_its_sign(value: float | None, baseline: float | None, expected: str) -> None:
    assert percent(change(value, baseline)) == expected
