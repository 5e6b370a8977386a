"""The damping part of the report: its words come from the numbers, and its signs from the physics.

Expected signs are facts of the trade (common practice, no source): a face shim less is softer, opening
the adjuster takes more off at low speed than at high speed, and below the opening of the shims the
bleed decides. The demo job is a vehicle only: its stacks are changed here.
"""

from __future__ import annotations

import dataclasses
import functools
import io
import itertools
from collections.abc import Callable
from importlib.resources import files

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions.registry import CellError, evaluate
from dampcell.workbooks import pages
from dampcell.workbooks.answers import as_cell
from dampcell.workbooks.damping_answers import (
    BuildDamping,
    Curve,
    DampingAnswers,
    Shares,
    Summary,
    ask_damping,
)
from dampcell.workbooks.damping_findings import Finding, change_runs, damping_findings, in_short
from dampcell.workbooks.damping_report import damping_blocks
from dampcell.workbooks.findings import figure, percent
from dampcell.workbooks.package import open_package
from dampcell.workbooks.reading import read_record
from dampcell.workbooks.record import JobRecord, Pair
from dampcell.workbooks.sources import SavedCells

DEMO = "2025-060 bicycle shock, oil change.xlsx"
STACK = (("shim", 22, 0.15, 2, 6), ("shim", 18, 0.15, 1, 6), ("clamp", 10, 0.3, 1, 6))
SOFT = (("shim", 22, 0.15, 1, 6), *STACK[1:])


@functools.cache
def demo() -> JobRecord:
    data = files("dampcell.templates").joinpath("demo", DEMO).read_bytes()
    return read_record(SavedCells(open_package(data, DEMO)), DEMO)


def job(*stacks: tuple[str, tuple[tuple[object, ...], ...], float]) -> JobRecord:
    """The demo job with other stacks, each with its label and clicks, and a table of three velocities."""
    variants = tuple(
        dataclasses.replace(demo().variants[0], label=label, rows=rows, clicks_open=clicks)
        for label, rows, clicks in stacks
    )
    valve = dataclasses.replace(demo().valve, velocities=(4.0, 0.05, 0.5))
    return dataclasses.replace(demo(), variants=variants, valve=valve)


BUILDS = (("As found", STACK, 6.0), ("Soft", SOFT, 6.0), ("Open", STACK, 12.0), ("Same", STACK, 6.0))


@functools.cache
def answered() -> DampingAnswers:
    return ask_damping(job(*BUILDS))


@functools.cache
def told() -> str:
    return words(answered())


def words(answers: DampingAnswers) -> str:
    page = pages.Page("T", "", "W", "K", "F", "C", tuple(damping_blocks(answers, damping_findings(answers))))
    read = pypdf.PdfReader(io.BytesIO(pages.render(page)))
    return " ".join(" ".join(sheet.extract_text() for sheet in read.pages).split())


def about(found: list[Finding], label: str) -> Finding:
    return next(one for one in found if one.subject == f"{label}, damping:")


def test_forces_and_percentages_of_the_report_are_those_of_the_cell_functions() -> None:
    record = job(*BUILDS)
    oil = [[record.oil.viscosity_40, record.oil.viscosity_100, record.oil.density_15]]
    shared = (record.valve.rows, oil, as_cell(record.oil.working_temperature))
    found, soft = ([list(row) for row in variant.rows] for variant in record.variants[:2])
    assert answered().velocities == (0.05, 0.5, 4.0)
    for velocity, force in zip(answered().velocities, answered().builds[1].forces, strict=True):
        assert force == evaluate("DAMPING_FORCE", (velocity, soft, *shared, 6.0)).value
        moved = evaluate("DAMPING_CHANGE", (velocity, soft, *shared, 6.0, found)).value
        assert isinstance(moved, float)
        assert figure(force) in told()
        assert percent(moved) in told()


def test_a_face_shim_less_is_softer_and_the_numbers_are_in_the_order_of_the_physics() -> None:
    found, soft = answered().builds[:2]
    for before, after in zip(found.forces[1:], soft.forces[1:], strict=True):
        assert before is not None
        assert after is not None
        assert after < before
    finding = about(damping_findings(answered()), "Soft")
    assert "softer" in finding.headline
    assert "firmer" not in " ".join(finding.sentences)
    assert "Soft, damping:" in told()


def test_more_clicks_take_more_off_at_low_speed_and_are_told_as_part_of_the_change() -> None:
    found, opened = answered().builds[0], answered().builds[2]
    ratios = [
        after / before for before, after in zip(found.forces, opened.forces, strict=True) if before and after
    ]
    assert ratios == sorted(ratios)
    assert ratios[0] < ratios[-1] < 1
    finding = about(damping_findings(answered()), "Open")
    assert "reckoned with the adjuster 12 clicks open, as found 6, which is part of the change" in (
        finding.sentences
    )
    assert "adjuster 12 clicks open" in finding.headline


def test_an_equal_build_changes_nothing_at_any_velocity() -> None:
    finding = about(damping_findings(answered()), "Same")
    assert finding.headline == "up to 4 m/s nothing changes (less than 3 %)"


def test_below_the_opening_nothing_changes_and_the_bleed_decides() -> None:
    # A seat 0.05 mm high presses both stacks on it: at first all the oil goes through bleed and adjuster.
    soft = answered().builds[1]
    assert soft.slow is not None
    assert soft.fast is not None
    assert soft.slow.bleed > soft.slow.shims
    assert soft.fast.shims > 0.5 > soft.fast.bleed
    first = about(damping_findings(answered()), "Soft").sentences[0]
    assert first.startswith("below ")
    assert f"nothing changes (less than 3 %), as the bleed ({100 * soft.slow.bleed:.0f} %)" in first


def test_curves_start_at_zero_within_their_bands_and_the_dial_weakens_from_closed_to_open() -> None:
    for build in answered().builds:
        for curve in (build.curve, build.slow_curve):
            assert (curve.velocities[0], curve.forces[0], len(curve.forces)) == (0.0, 0.0, 25)
            assert all(
                low <= force <= high
                for low, force, high in zip(curve.low, curve.forces, curve.high, strict=True)
            )
        assert (build.curve.velocities[-1], build.slow_curve.velocities[-1]) == (4.0, 0.5)
        forces = [force for _, force in build.dial]
        assert forces == sorted(forces, reverse=True)
        assert [click for click, _ in build.dial] == [float(click) for click in range(15)]


def test_where_jets_cavitate_the_margin_is_used_up() -> None:
    found = answered().builds[0]
    assert found.cavitates_from is not None
    for velocity, margin in zip(answered().velocities, found.margins, strict=True):
        assert margin is not None
        assert (margin <= 0) == (velocity > found.cavitates_from)


def test_the_report_shows_plots_summary_shares_and_findings() -> None:
    for expected in (
        "Force against velocity",
        "shaft velocity [m/s]",
        "damping force [N]",
        "Shaded: every shim 5 µm thicker or thinner",
        "At low speed",
        "Low-speed slope [N·s/m]",
        "Margin at 4 m/s [bar]",
        "At 0.05 m/s",
        "Dial: it works from click 1 to 14",
        "Cavitation: the jets cavitate from about",
        "as if no base valve helped",
        "Tolerance: ±5 µm on every shim make the force of “As found”",
    ):
        assert expected in told()


Change = Callable[[JobRecord], JobRecord]


def without_oil(record: JobRecord) -> JobRecord:
    return dataclasses.replace(record, oil=dataclasses.replace(record.oil, viscosity_40=None))


def with_pairs(change: Callable[[Pair], Pair]) -> Change:
    def changed(record: JobRecord) -> JobRecord:
        pairs = tuple(map(change, record.valve.pairs))
        return dataclasses.replace(record, valve=dataclasses.replace(record.valve, pairs=pairs))

    return changed


def emptied(pair: Pair) -> Pair:
    return pair if pair.name == "face" else dataclasses.replace(pair, value=None)


def without_displaced(pair: Pair) -> Pair:
    return dataclasses.replace(pair, value=None) if pair.name == "displaced diameter" else pair


def without_valve(record: JobRecord) -> JobRecord:
    return dataclasses.replace(record, valve=dataclasses.replace(record.valve, pairs=()))


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (with_pairs(emptied), "nothing about the valve stands on the sheet Valve."),
        (without_valve, "the workbook was made from a template without a sheet for the valve."),
        (with_pairs(without_displaced), "displaced diameter"),
        (without_oil, "viscosity 40"),
    ],
)
def test_a_job_without_what_it_takes_has_one_line_that_says_why(change: Change, reason: str) -> None:
    answers = ask_damping(change(job(*BUILDS[:2])))
    blocks = damping_blocks(answers, damping_findings(answers))
    assert damping_findings(answers) == []
    assert [block["kind"] for block in blocks] == ["text"]
    assert str(blocks[0]["text"]).startswith("Force against velocity is not shown: ")
    assert reason in str(blocks[0]["text"])


def test_a_job_without_a_stack_has_no_damping_part() -> None:
    answers = ask_damping(job())
    assert damping_blocks(answers, damping_findings(answers)) == []


def test_a_build_that_cannot_be_computed_is_named_and_the_others_are_shown() -> None:
    broken = ask_damping(job(BUILDS[0], ("Broken", STACK[:-1], 6.0)))
    finding = about(damping_findings(broken), "Broken")
    assert finding.headline.startswith("cannot be computed: ")
    assert "clamp" in finding.headline
    shown = words(broken)
    assert "Broken N – – –" in shown
    assert figure(broken.builds[0].forces[-1]) in shown


def test_more_clicks_than_the_adjuster_has_are_refused_with_the_sentence_of_the_cell() -> None:
    broken = ask_damping(job(BUILDS[0], ("Too far", STACK, 15.0)))
    assert "clicks" in about(damping_findings(broken), "Too far").headline


def test_a_tolerance_too_large_for_a_thin_shim_costs_the_band_and_not_the_curve() -> None:
    record = job(("As found", (("shim", 22, 0.15, 1, 6), ("shim", 18, 0.06, 1, 6), STACK[-1]), 6.0))
    entry = record.entries["thickness_tolerance"]
    entries = {**record.entries, "thickness_tolerance": dataclasses.replace(entry, value=0.04)}
    answers = ask_damping(dataclasses.replace(record, entries=entries))
    build = answers.builds[0]
    assert build.curve.forces
    assert build.curve.low == ()
    refused = evaluate("STACK_TOLERANCE", ([list(row) for row in record.variants[0].rows], 10, 19.5, 0.04))
    assert isinstance(refused.value, CellError)
    shown = words(answers)
    assert "As found has no band: " in shown
    assert "Shaded" not in shown


def test_without_a_tolerance_there_is_no_band_and_no_word_of_it() -> None:
    record = job(BUILDS[0])
    entry = record.entries["thickness_tolerance"]
    entries = {**record.entries, "thickness_tolerance": dataclasses.replace(entry, value=0.0)}
    answers = ask_damping(dataclasses.replace(record, entries=entries))
    assert answers.builds[0].curve.high == ()
    assert "Tolerance:" not in {finding.subject for finding in damping_findings(answers)}


# From here on numbers are made up: what is tested is the sentence that they lead to.

BLANK = BuildDamping(
    label="As found",
    style=0,
    clicks=5.0,
    forces=(10.0, 100.0),
    margins=(10.0, 6.0),
    slow=Shares(0.1, 0.6, 0.28, 0.02),
    fast=Shares(0.9, 0.07, 0.02, 0.01),
    summary=Summary(200.0, 0.2, 40.0, 25.0, 0.0),
    curve=Curve((0.0, 0.05, 0.5, 1.0, 2.0, 4.0), (0.0, 10.0, 40.0, 50.0, 70.0, 100.0)),
    rest_margin=11.0,
)


def given_builds(*builds: BuildDamping, has_rod: bool = False, tolerance: float = 0.005) -> DampingAnswers:
    return DampingAnswers(builds, "", (0.05, 4.0), tolerance, 40.0, has_rod)


def said(*builds: BuildDamping, has_rod: bool = False) -> dict[str, str]:
    found = damping_findings(given_builds(*builds, has_rod=has_rod))
    return {finding.subject: ". ".join(finding.sentences) for finding in found}


def variant(*percents: float, **changed: object) -> BuildDamping:
    forces = tuple(
        force * (1 + moved / 100) for force, moved in zip(BLANK.curve.forces, (0.0, *percents), strict=True)
    )
    curve = dataclasses.replace(BLANK.curve, forces=forces)
    return dataclasses.replace(BLANK, label="B", style=1, curve=curve, **changed)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("percents", "expected"),
    [
        ((0, 0, -18, -18, -18), "above 0.58 m/s it is about 18 % softer"),
        ((0, 0, 18, 17, 16.5), "above 0.58 m/s it is about 17 % firmer"),
        ((0, 0, -20, -12, -5), "above 0.57 m/s it is softer: 20 % at 1 m/s, 5 % at 4 m/s"),
        ((-22, -10, 0, 0, 0), "below 0.85 m/s it is up to 22 % softer"),
        (
            (-10, -10, 0, 10, 10),
            "below 0.85 m/s it is about 10 % softer; above 1.3 m/s it is about 10 % firmer",
        ),
        ((0, 0, -30, 0, 0), "between 0.55 and 1.9 m/s it is about 30 % softer"),
        ((0, 1, -1, 2, 0), "up to 4 m/s nothing changes (less than 3 %)"),
        ((-9, -9, -9, -9, -9), "up to 4 m/s it is about 9 % softer"),
    ],
)
def test_where_a_build_differs_is_told_in_velocities_and_percent(
    percents: tuple[float, ...], expected: str
) -> None:
    found = damping_findings(given_builds(BLANK, variant(*percents)))
    assert about(found, "B").headline == expected
    assert ("B, damping:", f"{expected}.") in in_short(found)


def test_the_bleed_decides_where_nothing_changes() -> None:
    assert said(BLANK, variant(0, 0, -18, -18, -18))["B, damping:"] == (
        "below 0.58 m/s nothing changes (less than 3 %), as the bleed (60 %) and the adjuster (28 %) carry "
        "most of the oil at 0.05 m/s. above 0.58 m/s it is about 18 % softer"
    )


def test_a_quiet_range_below_the_table_is_not_told() -> None:
    found = dataclasses.replace(BLANK, curve=Curve((0.0, 0.01, 0.02, 4.0), (0.0, 1.0, 5.0, 100.0)))
    other = dataclasses.replace(BLANK, label="B", curve=Curve((0.0, 0.01, 0.02, 4.0), (0.0, 1.0, 4.0, 80.0)))
    assert "nothing changes" not in said(found, other)["B, damping:"]


def test_a_change_within_the_band_is_told_as_such() -> None:
    low, high = (tuple(force * by for force in BLANK.curve.forces) for by in (0.92, 1.08))
    found = dataclasses.replace(BLANK, curve=dataclasses.replace(BLANK.curve, low=low, high=high))
    told_of = said(found, variant(-5, -5, -5, -5, -5))
    assert "all of it lies within what ±5 µm on every shim make" in told_of["B, damping:"]
    assert told_of["Tolerance:"].startswith(
        "±5 µm on every shim make the force of “As found” up to 8 % lower or 8 % higher"
    )
    assert "lies within" not in said(found, variant(-9, -9, -9, -9, -9))["B, damping:"]


def test_the_build_as_found_says_who_carries_the_oil() -> None:
    assert said(BLANK)["As found, damping:"] == (
        "at 0.05 m/s the bleed (60 %) and the adjuster (28 %) carry most of the oil. "
        "from 0.2 m/s (40.0 N) on more than half of it goes under the shims, and they decide. "
        "at 4 m/s the shims (90 %) carry most of it"
    )
    pressed = dataclasses.replace(BLANK, slow=None, fast=None, summary=Summary(opening_pressure=2.5))
    assert said(pressed)["As found, damping:"] == "the shims stay shut until 2.50 bar"


def dial(*forces: float, fast: tuple[float, float] = (100.0, 95.0)) -> BuildDamping:
    clicks = tuple((float(click), force) for click, force in enumerate(forces))
    return dataclasses.replace(BLANK, dial=clicks, dial_fast=fast)


@pytest.mark.parametrize(
    ("forces", "expected"),
    [
        ((50, 45, 40), "it works from click 1 to 2 ("),
        ((50, 45, 40, 40, 40), "it works from click 1 to 2 of 4 ("),
        ((50, 50, 40, 38), "it works from click 2 to 3 ("),
        ((50, 50, 50), "no click changes the force at 0.1 m/s by 0.5 % or more"),
    ],
)
def test_the_dial_is_told_by_the_clicks_that_change_the_force(
    forces: tuple[float, ...], expected: str
) -> None:
    assert said(dial(*forces))["Dial:"].startswith(expected)


def test_what_the_whole_dial_takes_off_is_told_at_low_and_at_high_speed() -> None:
    other = dataclasses.replace(dial(50, 50, 30, fast=(100.0, 91.0)), label="B")
    told_of = said(dial(50, 45, 40), other)["Dial:"]
    assert told_of.startswith("“As found”: it works from click 1 to 2 (")
    assert "“B”: it works from click 2 to 2 (" in told_of
    assert told_of.endswith(
        "from fully closed to fully open it takes 20 to 40 % off the force at 0.1 m/s, and 5 to 9 % at 4 m/s"
    )
    assert "Dial:" not in said(BLANK)


@pytest.mark.parametrize(
    ("margin", "expected"),
    [
        (6.0, "at 4 m/s at least 6.0 bar are left"),
        (2.0, "the margin at 4 m/s is thin: 2.0 bar (“As found”) of 11 bar at standstill"),
    ],
)
def test_the_margin_to_cavitation_is_told(margin: float, expected: str) -> None:
    build = dataclasses.replace(BLANK, margins=(10.0, margin))
    assert said(build)["Cavitation:"] == expected
    short = dict(in_short(damping_findings(given_builds(build))))
    assert ("Cavitation:" in short) == ("thin" in expected)


def test_cavitation_is_told_with_its_velocity_and_what_was_left_out() -> None:
    first = dataclasses.replace(BLANK, cavitates_from=1.5)
    other = dataclasses.replace(first, label="B", cavitates_from=2.5)
    assert said(first, other)["Cavitation:"] == (
        "the jets cavitate from about 1.5 m/s (“As found”) and 2.5 m/s (“B”) on, where the force "
        "is uncertain and the oil foams"
    )
    assert "as if no base valve helped" in said(first, other, has_rod=True)["Cavitation:"]
    short = dict(in_short(damping_findings(given_builds(first, other))))
    assert "from about 1.5 to 2.5 m/s on, depending on the build" in short["Cavitation:"]
    assert (
        "from about 1.5 m/s on; there" in dict(in_short(damping_findings(given_builds(first))))["Cavitation:"]
    )
    unknown = dataclasses.replace(BLANK, margins=(), rest_margin=None)
    assert "Cavitation:" not in said(unknown)


def test_where_the_line_is_only_a_trend_is_told() -> None:
    rough = said(dataclasses.replace(BLANK, limit=0.41))["Beyond the axisymmetric range:"]
    assert rough == (
        "above 0.41 m/s (“As found”) a shim lifts more than twice its thickness, "
        "and the force is a trend only"
    )


def test_no_force_no_words() -> None:
    assert damping_findings(given_builds()) == []
    failed = dataclasses.replace(BLANK, problem="no solution.", curve=Curve())
    found = damping_findings(given_builds(failed, variant(0, 0, 0, 0, 0)))
    # Without the build as found there is nothing to compare with.
    assert [finding.subject for finding in found if "damping" in finding.subject] == ["As found, damping:"]
    assert damping_blocks(given_builds(failed), []) == []


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=25))
def test_runs_cover_all_velocities_in_order_and_keep_every_change(percents: list[float]) -> None:
    changes = [(0.1 * (index + 1), moved) for index, moved in enumerate(percents)]
    runs = change_runs(changes)
    assert [point for run in runs for point in run.changes] == changes
    assert (runs[0].start, runs[-1].end) == (changes[0][0], changes[-1][0])
    for before, after in itertools.pairwise(runs):
        assert before.end == after.start
        assert before.sign != after.sign
        assert before.changes[-1][0] <= before.end <= after.changes[0][0]
