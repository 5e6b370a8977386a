"""Reading a stack record: what people type is understood, or refused with sheet and cell."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import functools
import io
from collections.abc import Callable

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from dampcell.functions import cells
from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import CellError
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.fields import VARIANTS, field_names
from dampcell.workbooks.forms.demo import demo_jobs, fill, respell
from dampcell.workbooks.forms.pinned import pinned_bytes
from dampcell.workbooks.forms.stack_record import build_stack_record
from dampcell.workbooks.package import open_package
from dampcell.workbooks.reading import check_record, read_record
from dampcell.workbooks.record import Job, JobRecord, Oil, Seat
from dampcell.workbooks.sheets import address
from dampcell.workbooks.sources import SavedCells

FILE = "job.xlsx"
PLACES = dict(build_stack_record()[1])
Change = Callable[["Cells"], None]


class Cells:
    """A demo job as a source of cells, with some of them changed by a test."""

    def __init__(self, job: int = 0) -> None:
        self.saved = _saved(job)
        self.changed: dict[tuple[str, int, int], object] = {}
        self.sheet_names: list[str] = list(self.saved.sheet_names)
        self.defined_names: dict[str, str] = dict(self.saved.defined_names)
        self.date1904 = False

    def block(self, sheet: str, top: int, left: int, bottom: int, right: int) -> list[list[object]]:
        rows = self.saved.block("Job" if sheet == RENAMED else sheet, top, left, bottom, right)
        return [
            [self.changed.get((sheet, row, column), cell) for column, cell in enumerate(line, start=left)]
            for row, line in enumerate(rows, start=top)
        ]


RENAMED = "Fred's job"


@functools.cache
def _saved(job: int) -> SavedCells:
    return SavedCells(open_package(filled(job=job), FILE))


def filled(change: Callable[[Workbook], None] | None = None, job: int = 0) -> bytes:
    """A demo job as the bytes of a workbook."""
    workbook, places = build_stack_record()
    fill(workbook, places, demo_jobs()[job])
    if change is not None:
        change(workbook)
    return pinned_bytes(workbook)


def read(change: Change | None = None, job: int = 0) -> JobRecord:
    cells_of_job = Cells(job)
    if change is not None:
        change(cells_of_job)
    return read_record(cells_of_job, FILE)


def typed(name: str, value: object, *, down: int = 0, across: int = 0) -> Change:
    place = PLACES[name]

    def change(source: Cells) -> None:
        source.changed[place.sheet, place.top + down, place.left + across] = value

    return change


def refusal(change: Change) -> WorkbookError:
    with pytest.raises(WorkbookError) as caught:
        read(change)
    return caught.value


def test_cell_functions_are_loaded() -> None:
    assert cells.__all__


def test_job_fields_are_read_with_their_types() -> None:
    job = read().job
    assert job.job_number == "2025-041"
    assert job.job_date == datetime.date(2025, 3, 6)
    assert job.service_kind == "revalve"
    assert job.hours_since_last == 46.0
    assert job.dials[1].adjuster == "high-speed compression"
    assert (job.dials[0].total_clicks, job.dials[0].as_found, job.dials[0].as_left) == (22.0, 12.0, 14.0)
    assert len(job.dials) == 3
    assert (job.price_lines[0].item, job.price_lines[0].count, job.price_lines[0].price) == (
        "Labour",
        2.5,
        58.0,
    )


def test_members_of_the_groups_are_fields() -> None:
    names = field_names("stack_record")
    for group in (Job, Seat, Oil):
        for member in dataclasses.fields(group):
            assert member.name in names, member.name


def test_filled_variants_are_read_in_order_and_blank_ones_left_out() -> None:
    assert [variant.key for variant in read().variants] == list(VARIANTS[:4])
    variants = read(job=1).variants
    assert [variant.key for variant in variants] == ["as_found", "a", "b"]
    assert variants[1].label == "A: wider gap"
    assert variants[0].rows[1] == ("shim", 18.0, 0.10, 1.0, 8.0)
    assert variants[0].notes[1] == "Makes the gap"
    top = PLACES["stack_as_found"].top
    assert variants[0].places[1] == f"C{top + 1}:G{top + 1}"


def test_teardown_is_read_in_order() -> None:
    data = filled()
    teardown = read_record(SavedCells(open_package(data, FILE), recalculate(data, FILE)), FILE).teardown
    assert [layer.part for layer in teardown.layers][:2] == ["Shaft nut", "Washer and cup washer"]
    assert teardown.layers[0].refitted == "new part"
    assert teardown.orientations[0].finding == "as found"
    assert [(part.counted_out, part.counted_in) for part in teardown.small_parts] == [(2, 2), (1, 1), (4, 4)]
    assert {part.finding for part in teardown.small_parts} == {"all in"}


@pytest.mark.parametrize(
    ("counted_in", "finding", "summary"),
    [
        (1, "1 missing", "1 kinds of small parts are not all in"),
        (3, "1 too many", "1 kinds of small parts are not all in"),
        (None, "not counted in yet", "1 kinds of small parts are not all in"),
        (2, "all in", "all small parts are in"),
    ],
)
def test_small_parts_that_are_not_all_in_are_told(
    counted_in: float | None, finding: str, summary: str
) -> None:
    found = teardown_results("small_parts", 3, counted_in)
    assert found("small_parts", 4) == finding
    assert found("small_parts_finding", 0) == summary


def test_a_part_that_was_turned_round_is_told() -> None:
    found = teardown_results("orientations", 3, "the piston")
    assert found("orientations", 4) == "turned round: is that meant?"


def teardown_results(name: str, across: int, value: object) -> Callable[[str, int], object]:
    """A record with nothing but its teardown, which is quick to recalculate, and one cell typed over."""
    job = demo_jobs()[0]
    workbook, places = build_stack_record()
    kept = {table: job["tables"][table] for table in ("orientations", "teardown", "small_parts")}
    fill(workbook, places, {"fields": {}, "tables": kept})
    place = places[name]
    workbook[place.sheet].cell(place.top, place.left + across).value = value  # type: ignore[assignment]
    result = recalculate(pinned_bytes(workbook), FILE)

    def found(name: str, across: int) -> object:
        place = places[name]
        return result.value(place.sheet, address(place.top, place.left + across))

    return found


def test_valve_is_read_ready_for_the_functions() -> None:
    data = filled()
    valve = read_record(SavedCells(open_package(data, FILE), recalculate(data, FILE)), FILE).valve
    assert valve.sheet == "Valve"
    assert ["displaced diameter", 16.0, "mm"] in valve.rows
    assert ["a seat diameter", 27.0, "mm"] in valve.rows
    assert valve.velocities == (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0)


def test_a_variant_without_clicks_has_those_of_the_stack_as_found() -> None:
    assert [variant.clicks_open for variant in read().variants] == [12.0, 14.0, 12.0, 12.0]


def test_without_any_clicks_the_adjuster_is_closed() -> None:
    assert read(typed("clicks_open_as_found", None)).variants[2].clicks_open == 0.0


def test_blank_rows_within_a_stack_are_skipped_and_places_stay_true() -> None:
    def change(source: Cells) -> None:
        for across in range(5):
            typed("stack_as_found", None, down=3, across=across)(source)

    variant = read(change).variants[0]
    top = PLACES["stack_as_found"].top
    assert len(variant.rows) == 10
    assert variant.places[3] == f"C{top + 4}:G{top + 4}"


def test_seat_and_oil_take_their_defaults_when_blank() -> None:
    def change(source: Cells) -> None:
        for name in ("modulus", "theory", "seat_height"):
            typed(name, None)(source)

    seat = read(change).seat
    assert (seat.modulus, seat.theory, seat.seat_height) == (206.0, "large", 0.0)
    assert seat.endurance_limit is None
    assert seat.loads == (10.0, 20.0, 40.0, 60.0, 80.0, 120.0)


def test_checklist_keeps_state_torque_and_caution() -> None:
    checklist = read(job=2).checklist
    caps = next(point for point in checklist if "cap threads" in point.item)
    assert (caps.phase, caps.state, caps.torque) == ("during", "done", 5.0)
    assert "maker's manual" in checklist[0].caution


def test_results_are_the_recalculated_values() -> None:
    data = filled()
    record = read_record(SavedCells(open_package(data, FILE), recalculate(data, FILE)), FILE)
    assert record.entries["oil_index"].value == pytest.approx(191, abs=1)
    assert record.results["oil_index"].sheet == "Results"
    opening = record.variants[0].results["opening"].value
    assert isinstance(opening, float)
    assert opening > 0
    assert isinstance(record.variants[0].lifts[-1], float)


def test_error_values_that_were_saved_stay_errors() -> None:
    def change(workbook: Workbook) -> None:
        cell = workbook["Results"].cell(PLACES["oil_index"].top, PLACES["oil_index"].left)
        cell.value, cell.data_type = "#VALUE!", "e"

    record = read_record(SavedCells(open_package(filled(change), FILE)), FILE)
    assert record.entries["oil_index"].value == CellError("#VALUE!")


@pytest.mark.parametrize(
    ("value", "number"),
    [("0.015 in", 0.381), ("2,5 mm", 2.5), ("0.3 mm", 0.3), (0.3, 0.3), ("−0", 0.0)],
)
def test_numbers_may_carry_their_unit(value: object, number: float) -> None:
    assert read(typed("seat_height", value)).seat.seat_height == pytest.approx(number)


@pytest.mark.parametrize(
    "value", [datetime.date(2025, 3, 6), datetime.datetime(2025, 3, 6, 9, 30), 45722, " 2025-03-06 "]
)
def test_dates_are_understood_however_they_are_kept(value: object) -> None:
    assert read(typed("job_date", value)).job.job_date == datetime.date(2025, 3, 6)


def test_dates_of_a_1904_workbook_are_the_same_days() -> None:
    def change(workbook: Workbook) -> None:
        workbook.epoch = CALENDAR_MAC_1904

    record = read_record(SavedCells(open_package(filled(change), FILE)), FILE)
    assert record.job.job_date == datetime.date(2025, 3, 6)


def test_serial_dates_follow_the_calendar_of_the_source() -> None:
    def change(source: Cells) -> None:
        source.date1904 = True
        typed("job_date", 45722.0 - 1462.0)(source)
        typed("date_in", 45719.0 - 1462.0)(source)

    assert read(change).job.job_date == datetime.date(2025, 3, 6)


def test_choices_are_understood_in_any_case() -> None:
    assert read(typed("service_kind", " Oil Change ")).job.service_kind == "oil change"


def test_a_renamed_sheet_is_found_by_its_names() -> None:
    def change(source: Cells) -> None:
        source.sheet_names[0] = RENAMED
        for name, target in source.defined_names.items():
            source.defined_names[name] = target.replace("'Job'!", "'Fred''s job'!")

    assert read(change).job.job_number == "2025-041"


def test_wrong_dimension_names_sheet_and_cell() -> None:
    place = PLACES["stack_as_found"]
    error = refusal(typed("stack_as_found", "14 cSt", across=2))
    assert (error.sheet, error.cell) == ("Stacks", f"E{place.top}")
    assert str(error).startswith(f"job.xlsx, Stacks!E{place.top}: Thickness ")
    assert "mm" in str(error)


@pytest.mark.parametrize(
    ("name", "value", "down", "across", "sentence"),
    [
        ("stack_as_found", "shimm", 0, 0, 'Part is none of its choices: did you mean "shim"?'),
        ("stack_as_found", None, 0, 2, "Thickness is missing"),
        ("stack_as_found", None, 0, 1, "Outer diameter is missing"),
        ("stack_as_found", None, 0, 0, "Part is missing"),
        ("stack_as_found", -0.1, 0, 2, "Thickness must be above 0"),
        ("stack_as_found", 0, 0, 2, "Thickness must be above 0"),
        ("load_diameter", None, 0, 0, "Load circle is missing"),
        ("load_diameter", "wide", 0, 0, "Load circle "),
        ("load_diameter", True, 0, 0, "Load circle is true or false"),
        ("job_number", None, 0, 0, "Job number is missing"),
        ("dials", "twelve", 0, 1, "Clicks in all "),
        ("price_lines", "58 N", 0, 2, "Price each "),
        ("bleed_log", "a jug", 0, 1, "Oil in "),
        ("velocities", "fast", 3, 0, "Force at a velocity of "),
        ("small_parts", "two", 0, 2, "Counted out "),
        ("valve", "14 cSt", 17, 1, "displaced diameter: "),
        ("cartridge", "wide", 0, 1, "tube inner diameter: "),
        ("job_date", "last week", 0, 0, 'Date done is no date (found "last week")'),
        ("job_date", 0.5, 0, 0, "Date done is no date"),
        ("theory", "huge", 0, 0, "Theory is none of its choices"),
    ],
)
def test_a_bad_cell_is_refused_with_its_place(
    name: str, value: object, down: int, across: int, sentence: str
) -> None:
    error = refusal(typed(name, value, down=down, across=across))
    assert sentence in str(error)
    assert error.sheet == PLACES[name].sheet
    assert error.cell is not None
    assert str(PLACES[name].top + down) in error.cell


def test_a_clamp_needs_no_thickness() -> None:
    assert read(typed("stack_as_found", None, down=10, across=2)).variants[0].rows[10][2] is None


def test_a_blank_stack_as_found_is_refused() -> None:
    def change(source: Cells) -> None:
        for down in range(14):
            for across in range(5):
                typed("stack_as_found", " ", down=down, across=across)(source)

    assert "As found: the stack is blank" in str(refusal(change))


def test_an_error_value_in_an_input_is_refused() -> None:
    error = refusal(typed("viscosity_40", CellError("#REF!")))
    assert "Viscosity at 40 °C holds the error value #REF!" in str(error)


def test_an_error_value_in_the_cartridge_is_refused() -> None:
    error = refusal(typed("cartridge", CellError("#N/A"), across=1))
    assert "holds the error value #N/A" in str(error)
    assert error.cell == f"C{PLACES['cartridge'].top}"


def test_a_workbook_of_another_kind_is_refused_in_one_sentence() -> None:
    saved = io.BytesIO()
    Workbook().save(saved)
    with pytest.raises(WorkbookError, match=r"job\.xlsx: is no stack record: its named cells are not there"):
        read_record(SavedCells(open_package(saved.getvalue(), FILE)), FILE)


def test_a_missing_name_is_refused() -> None:
    def change(source: Cells) -> None:
        del source.defined_names["load_diameter"]

    error = refusal(change)
    assert 'the cell name "load_diameter" (Load circle, sheet Stacks) is missing' in str(error)


def test_several_missing_names_are_counted() -> None:
    def change(source: Cells) -> None:
        for name in ("load_diameter", "job_number", "damper"):
            del source.defined_names[name]

    assert "and 2 more are missing" in str(refusal(change))


OLDER = (
    "valve",
    "velocities",
    "thickness_tolerance",
    "maximum_velocity",
    "small_parts",
    "stack_d",
    "endurance_limit",
)
OLDER_RESULTS = ("damping_missing", "forces_as_found", "cavitation_a", "small_parts_finding", "oil")


def older(source: Cells) -> None:
    """A workbook as an older template made it, without the names that came later."""
    for name in (*OLDER, *OLDER_RESULTS, *(f"clicks_open_{variant}" for variant in VARIANTS)):
        del source.defined_names[name]


def test_names_that_an_older_template_lacks_count_as_blank() -> None:
    record = read(older)
    assert record.valve.pairs == ()
    assert record.valve.velocities == ()
    assert record.seat.endurance_limit is None
    assert record.teardown.small_parts == ()
    assert [variant.clicks_open for variant in record.variants] == [0.0] * 4
    assert record.variants[0].forces == ()
    assert record.entries["damping_missing"].value is None
    # Nothing of what is there is lost.
    assert record.variants == tuple(
        dataclasses.replace(one, clicks_open=0.0, forces=own.forces, results=own.results)
        for one, own in zip(read().variants, record.variants, strict=True)
    )


def test_an_older_template_is_told_once_among_the_doubts() -> None:
    source = Cells()
    older(source)
    told = [str(doubt) for doubt in check_record(source, FILE) if "older template" in str(doubt)]
    assert len(told) == 1
    assert "more are missing, and counted as blank" in told[0]


def test_a_name_whose_cells_were_deleted_is_refused() -> None:
    def change(source: Cells) -> None:
        source.defined_names["load_diameter"] = "Stacks!#REF!"

    assert 'the cell name "load_diameter" (Load circle) points nowhere' in str(refusal(change))


def test_a_missing_sheet_is_refused() -> None:
    def change(source: Cells) -> None:
        source.sheet_names[source.sheet_names.index("Stacks")] = "Stack"

    assert 'the sheet "Stacks" is missing' in str(refusal(change))
    assert 'did you mean "Stack"?' in str(refusal(change))


def test_a_moved_column_is_refused_at_its_head() -> None:
    def change(source: Cells) -> None:
        typed("stack_as_found", "Thickness [mm]", down=-1, across=1)(source)
        typed("stack_as_found", "Outer diameter [mm]", down=-1, across=2)(source)

    error = refusal(change)
    assert "the head of this column is not the expected one" in str(error)
    assert error.cell == f"D{PLACES['stack_as_found'].top - 1}"


def test_rows_that_moved_away_from_their_name_are_refused() -> None:
    def change(source: Cells) -> None:
        place = PLACES["stack_as_found"]
        source.defined_names["stack_as_found"] = f"Stacks!$C${place.top + 1}:$G${place.bottom + 1}"

    assert "the head of this column is not the expected one" in str(refusal(change))


def test_a_file_that_is_no_workbook_is_refused() -> None:
    with pytest.raises(WorkbookError, match=r"job\.xlsx: is damaged or cut short"):
        SavedCells(open_package(b"PK\x03\x04 no workbook", FILE))


def test_check_lists_every_problem_and_doubt() -> None:
    source = Cells()
    for change in (
        typed("technician", None),
        typed("load_diameter", 300),
        typed("stack_a", "14 cSt", across=2),
        typed("job_date", "soon"),
    ):
        change(source)
    found = [str(one) for one in check_record(source, FILE)]
    assert len(found) == 4
    assert "Date done is no date" in found[0]
    assert "Thickness" in found[1]
    assert "Technician is missing" in found[2]
    assert "Load circle is doubtful (found 300); allowed: a number in mm from 5 to 80" in found[3]


def test_check_of_a_good_record_is_empty() -> None:
    assert [str(one) for one in check_record(Cells(), FILE)] == []


@pytest.mark.parametrize("spelling", ["DAMP.", "_xldudf_DAMP_", "DAMP_", "_xll.DAMP_", "[1]!DAMP_"])
def test_a_record_reads_the_same_however_the_program_spells_the_functions(spelling: str) -> None:
    workbook, places = build_stack_record()
    job = demo_jobs()[2]
    kept = {name: job["tables"][name] for name in ("stack_as_found", "dials")}
    fields = {name: value for name, value in job["fields"].items() if name != "free_stroke"}
    fill(workbook, places, {"fields": fields, "tables": kept})
    respell(workbook, spelling)
    data = pinned_bytes(workbook)
    result = recalculate(data, FILE)
    assert [str(finding) for finding in (*result.findings, *result.errors())] == []
    record = read_record(SavedCells(open_package(data, FILE), result), FILE)
    assert record.entries["oil_index"].value == pytest.approx(194, abs=1)
    assert "reads true" in str(record.job.dials[0].finding)


def test_saved_by_openpyxl_reads_the_same() -> None:
    workbook = openpyxl.load_workbook(io.BytesIO(filled()))
    saved = io.BytesIO()
    workbook.save(saved)
    again = read_record(SavedCells(open_package(saved.getvalue(), FILE)), FILE)
    assert again.variants[0].rows == read().variants[0].rows
    assert again.job == read().job


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from(
        sorted(name for name, one in field_names("stack_record").items() if one.kind == "input")
    ),
    down=st.integers(0, 3),
    across=st.integers(0, 4),
    value=st.one_of(
        st.none(),
        st.booleans(),
        st.floats(),
        st.text(max_size=12),
        st.dates(),
        st.sampled_from(
            [CellError("#N/A"), "0.2 mm", "14 cSt", "2,5", "−1", "1/16", "=1+1", "clamp", "9**9**9"]
        ),
    ),
)
def test_whatever_stands_in_a_cell_is_read_or_refused_with_a_place(
    name: str, down: int, across: int, value: object
) -> None:
    source, place = Cells(), PLACES[name]
    down, across = min(down, place.bottom - place.top), min(across, place.right - place.left)
    typed(name, value, down=down, across=across)(source)
    for problem in check_record(source, FILE):
        assert problem.sheet in source.sheet_names
        assert problem.cell
    with contextlib.suppress(WorkbookError):
        read_record(source, FILE)
