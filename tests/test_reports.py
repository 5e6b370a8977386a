"""The report of a job: its text holds what the workbook says and what the cell functions answer."""

from __future__ import annotations

import functools
import hashlib
import io
from collections.abc import Callable
from importlib.resources import files

import openpyxl
import pypdf
import pytest
from openpyxl.workbook import Workbook

import dampcell
from dampcell.functions.registry import CellError
from dampcell.workbooks.answers import ask_stack
from dampcell.workbooks.audit import cell_text, problems_of
from dampcell.workbooks.damping_answers import ask_damping
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.fields import read_template_table
from dampcell.workbooks.findings import figure
from dampcell.workbooks.package import open_package
from dampcell.workbooks.producing import Job, Product, produce
from dampcell.workbooks.reading import read_record
from dampcell.workbooks.record import JobRecord
from dampcell.workbooks.reports import ESTIMATES
from dampcell.workbooks.results import CellResult, Recalculated
from dampcell.workbooks.sources import SavedCells

DEMOS = sorted(
    item.name
    for item in files("dampcell.templates").joinpath("demo").iterdir()
    if item.name.endswith(".xlsx")
)
SMALL = DEMOS[-1]


def bytes_of(demo: str) -> bytes:
    return files("dampcell.templates").joinpath("demo", demo).read_bytes()


@functools.cache
def record_of(demo: str) -> JobRecord:
    data = bytes_of(demo)
    return read_record(SavedCells(open_package(data, demo), recalculate(data, demo)), demo)


def made_from(data: bytes, file: str) -> Product:
    made = produce(Job(data, file))
    assert isinstance(made, Product)
    return made


def words(pdf: bytes) -> str:
    read = pypdf.PdfReader(io.BytesIO(pdf))
    return " ".join(" ".join(sheet.extract_text() for sheet in read.pages).split())


@functools.cache
def pdf_of(demo: str) -> bytes:
    return made_from(bytes_of(demo), demo).report


@functools.cache
def report_of(demo: str) -> str:
    return words(pdf_of(demo))


def edited(change: Callable[[Workbook], None]) -> bytes:
    """The small demo job with some input changed, as a person would."""
    book = openpyxl.load_workbook(io.BytesIO(bytes_of(SMALL)))
    change(book)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def cells(book: Workbook, name: str) -> list[list[object]]:
    sheet, area = (book.defined_names[name].attr_text or "").replace("'", "").replace("$", "").split("!")
    block = book[sheet][area]
    rows = block if isinstance(block, tuple) else ((block,),)
    return [list(row) for row in rows]


@pytest.mark.parametrize("demo", DEMOS)
def test_head_and_job_data_stand_in_the_report(demo: str) -> None:
    job = record_of(demo).job
    told = report_of(demo)
    for expected in (
        job.workshop,
        job.damper,
        job.vehicle,
        job.serial,
        job.customer_code,
        f"Job {job.job_number}",
        *job.rider_note.split(". ")[:1],
        "What was found and what was done",
    ):
        assert expected in told


@pytest.mark.parametrize("demo", DEMOS)
def test_every_page_says_where_it_is_from_and_that_results_are_estimates(demo: str) -> None:
    data = bytes_of(demo)
    read = pypdf.PdfReader(io.BytesIO(pdf_of(demo)))
    for number, page in enumerate(read.pages, start=1):
        told = " ".join(page.extract_text().split())
        assert f"Page {number} of {len(read.pages)}" in told
        assert hashlib.sha256(data).hexdigest()[:16] in told
        assert f"Dampcell {dampcell.__version__}" in told
        assert ESTIMATES in told


@pytest.mark.parametrize("demo", DEMOS)
def test_numbers_of_the_report_are_those_of_the_cells(demo: str) -> None:
    record = record_of(demo)
    told = report_of(demo)
    for variant in record.variants:
        shown = [
            figure(value)
            for name in ("opening", "stiffness")
            if isinstance(value := variant.results[name].value, float)
        ]
        assert len(shown) == 2
        assert variant.label in told
        assert all(number in told for number in shown)
    for name in ("oil_viscosity", "oil_index", "fill_volume", "oil_ready"):
        value = record.results[name].value
        assert isinstance(value, float)
        assert figure(value) in told


def test_the_answers_are_equal_to_the_cells_to_the_last_digit() -> None:
    record = record_of(SMALL)
    for variant in record.variants:
        load = record.entries["working_load"].value
        assert isinstance(load, float)
        answers = ask_stack(variant, record.seat, load)
        assert answers.opening.number == variant.results["opening"].value
        assert answers.stiffness.number == variant.results["stiffness"].value
        assert answers.stress_ratio == variant.results["stress_ratio"].value


def test_the_damping_answers_are_equal_to_the_cells_to_the_last_digit() -> None:
    record = record_of(SMALL)
    answers = ask_damping(record)
    assert answers.velocities == record.valve.velocities
    for build, variant in zip(answers.builds, record.variants, strict=True):
        assert build.forces == variant.forces
        for name in (
            "low_speed_slope",
            "knee_velocity",
            "knee_force",
            "high_speed_slope",
            "opening_pressure",
        ):
            assert getattr(build.summary, name) == variant.results[name].value


@pytest.mark.parametrize("demo", DEMOS)
def test_force_against_velocity_of_every_variant_stands_in_the_report(demo: str) -> None:
    record = record_of(demo)
    told = report_of(demo)
    assert "Force against velocity" in told
    assert "At low speed" in told
    for variant in record.variants:
        assert f"{variant.label}, damping:" in told
        assert all(figure(force) in told for force in variant.forces if isinstance(force, float))
    # In the box at the top of the first page, before the facts of the job.
    assert f"{record.variants[1].label}, damping:" in told.split("Serial number")[0]


@pytest.mark.parametrize("demo", DEMOS)
def test_changes_are_told_in_percent_against_the_stack_as_found(demo: str) -> None:
    record = record_of(demo)
    found = record.variants[0].results["stiffness"].value
    assert isinstance(found, float)
    for variant in record.variants[1:]:
        own = variant.results["stiffness"].value
        assert isinstance(own, float)
        percent = round(100 * (own - found) / found)
        assert f"{percent:+d}".replace("-", "−") in report_of(demo) or percent == 0


@pytest.mark.parametrize("demo", DEMOS)
def test_the_bottle_is_set_against_what_the_oil_is(demo: str) -> None:
    oil = record_of(demo).oil
    told = report_of(demo)
    assert f"the bottle says “{oil.oil_label}”, which is no standard" in told
    assert f"{figure(oil.viscosity_40)} mm²/s at 40 °C" in told
    assert "ISO VG" in told
    assert "viscosity [mm²/s]" in told


@pytest.mark.parametrize("demo", DEMOS)
def test_checklist_torques_and_all_cautions_stand_in_the_report(demo: str) -> None:
    told = report_of(demo)
    for point in record_of(demo).checklist:
        assert point.item in told
    for row in read_template_table("cautions"):
        assert row["caution"] in told


@pytest.mark.parametrize("demo", DEMOS)
def test_pictures_state_their_factor_and_every_row(demo: str) -> None:
    told = report_of(demo)
    assert "times larger than diameters" in told
    for variant in record_of(demo).variants:
        for row in variant.rows:
            assert f"{row[1]:g} × " in told


def test_a_stack_that_cannot_be_computed_is_named_and_the_others_are_shown() -> None:
    def without_clamp(book: Workbook) -> None:
        for row in cells(book, "stack_a"):
            if row[0].value == "clamp":  # type: ignore[attr-defined]
                for cell in row:
                    cell.value = None  # type: ignore[attr-defined]

    made = made_from(edited(without_clamp), "job.xlsx")
    told = words(made.report)
    label = record_of(SMALL).variants[1].label
    assert f"{label}: cannot be computed: stack: has no clamp row" in told
    assert "What could not be computed" in told
    assert any("has no clamp row" in sentence for sentence in made.problems)
    assert figure(float(str(record_of(SMALL).variants[0].results["stiffness"].value))) in told


def test_a_job_without_oil_data_has_no_oil_part() -> None:
    def without_oil(book: Workbook) -> None:
        cells(book, "viscosity_100")[0][0].value = None  # type: ignore[attr-defined]

    told = words(made_from(edited(without_oil), "job.xlsx").report)
    assert "What it really is" not in told
    assert "Lift against load" in told


def test_a_checklist_line_that_is_not_done_keeps_its_caution() -> None:
    def undone(book: Workbook) -> None:
        for row in cells(book, "checklist"):
            row[0].value = None  # type: ignore[attr-defined]

    told = words(made_from(edited(undone), "job.xlsx").report)
    cautions = [point.caution for point in record_of(SMALL).checklist if point.caution]
    assert cautions
    assert all(caution in told for caution in cautions)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, ""),
        (CellError("#N/A", "seated."), "#N/A"),
        (True, "TRUE"),
        (-0.5, "−0.5"),
        (1 / 3, "0.3333333333"),
        ("x" * 80, "x" * 59 + "…"),
    ],
)
def test_values_of_the_audit_are_written_in_short(value: object, expected: str) -> None:
    assert cell_text(value) == expected  # type: ignore[arg-type]


def test_cells_with_the_same_reason_are_told_together() -> None:
    failed = {
        ("Results", f"G{row}"): CellResult("Results", f"G{row}", "", CellError("#N/A", "too hot."), None)
        for row in range(1, 10)
    }
    other = CellResult("Curves", "A1", "", CellError("#NUM!", "none found."), None)
    given = Recalculated("job.xlsx", {**failed, ("Curves", "A1"): other})
    assert [(one.sheet, one.cell, one.problem) for one in problems_of(given)] == [
        ("Results", "G1, G2, G3, G4, G5, G6 and 3 more", "#N/A too hot"),
        ("Curves", "A1", "#NUM! none found"),
    ]
