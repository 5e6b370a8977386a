"""The generated templates: complete, protected, printable, and equal byte for byte when made again."""

from __future__ import annotations

import functools
import io
import re
import zipfile
from importlib.resources import files

import openpyxl
import pytest
from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.worksheet.properties import PageSetupProperties

from dampcell.functions import cells
from dampcell.functions.data import read_table
from dampcell.functions.registry import REGISTRY, lookup
from dampcell.functions.tables import RowLayout
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.fields import Field, load_fields, read_template_table
from dampcell.workbooks.forms import styles
from dampcell.workbooks.forms.book import drawing_part
from dampcell.workbooks.forms.demo import demo_bytes, demo_jobs, fill
from dampcell.workbooks.forms.sheet import Place
from dampcell.workbooks.forms.stack_record import build_stack_record, finished
from dampcell.workbooks.forms.templates import KINDS, template_bytes
from dampcell.workbooks.forms.templates import TEMPLATES as TEMPLATES_BY_KIND

FIELDS = load_fields("stack_record")
TEMPLATES = files("dampcell.templates")
REMEDY = "run python -m dampcell.workbooks.forms"
GENERATED = [job for job in demo_jobs() if "saved_by" not in job]
OUR_CALL = re.compile(r"DAMP\.([A-Z0-9_]+)\(")


@functools.cache
def built() -> tuple[Workbook, dict[str, Place]]:
    workbook, places = build_stack_record()
    return workbook, dict(places)


def parts(data: bytes) -> list[tuple[str, bytes]]:
    """Names and bytes of all parts in order; how hard they are packed depends on the machine's zlib."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return [(name, package.read(name)) for name in package.namelist()]


def formulas(workbook: Workbook) -> list[tuple[str, str]]:
    return [
        (f"{sheet.title}!{cell.coordinate}", str(cell.value))
        for sheet in workbook.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    ]


def test_cell_functions_are_loaded() -> None:
    assert cells.__all__


@pytest.mark.parametrize("kind", KINDS)
def test_regenerated_template_has_the_committed_bytes(kind: str) -> None:
    committed = TEMPLATES.joinpath(f"{kind}.xlsx").read_bytes()
    assert parts(template_bytes(kind, {})) == parts(committed), REMEDY


def test_every_field_has_its_name_on_its_cells() -> None:
    workbook, places = built()
    for declared in FIELDS:
        target = workbook.defined_names[declared.name].attr_text
        assert target == places[declared.name].address, declared.name
        assert places[declared.name].sheet == declared.sheet


def test_quantities_of_fields_are_in_the_nomenclature() -> None:
    known = {row["name"] for row in read_table("nomenclature")}
    quantities = {row["quantity"] for row in read_template_table("fields")} - {""}
    assert quantities <= known


def test_stack_columns_are_those_of_the_cell_functions() -> None:
    layout = lookup("STACK_LIFT").arguments[0].layout
    assert isinstance(layout, RowLayout)
    stack = next(declared for declared in FIELDS if declared.type == "stack")
    assert [column.name for column in layout.columns] == [column.name for column in stack.columns[:-1]]
    assert [column.unit for column in layout.columns] == [column.unit for column in stack.columns[:-1]]
    assert layout.columns[0].choices == stack.columns[0].choices


def test_only_input_cells_are_unlocked_and_sheets_have_no_password() -> None:
    workbook, places = built()
    inputs = [place for name, place in places.items() if _is_input(name)]
    for sheet in workbook.worksheets:
        assert sheet.protection.sheet
        assert not sheet.protection.password
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell, Cell) and not cell.protection.locked:
                    here = Place(sheet.title, cell.row, cell.column, cell.row, cell.column)
                    assert any(_holds(place, here) for place in inputs), here.address
    for name, place in places.items():
        declared = next((one for one in FIELDS if one.name == name), None)
        if declared is not None and declared.kind == "input" and not declared.is_table:
            assert not workbook[place.sheet].cell(place.top, place.left).protection.locked, name


def test_inputs_and_results_differ_by_more_than_colour() -> None:
    workbook, places = built()
    boxed = workbook["Stacks"].cell(places["load_diameter"].top, places["load_diameter"].left)
    lined = workbook["Results"].cell(places["oil_viscosity"].top, places["oil_viscosity"].left)
    assert boxed.style == styles.INPUT
    assert lined.style == styles.RESULT
    assert boxed.border.left.style == boxed.border.top.style == "thin"
    assert lined.border.left is None or lined.border.left.style is None
    assert lined.font.b
    assert not boxed.font.b


def test_every_input_cell_has_validation_with_a_message() -> None:
    workbook, places = built()
    for name, place in places.items():
        if not _is_input(name) or _declared(name).is_table:
            continue
        rules = [
            rule
            for rule in workbook[place.sheet].data_validations.dataValidation
            if place.cell(0) in _cells(str(rule.sqref))
        ]
        assert len(rules) == 1, name
        assert rules[0].prompt, name
        assert rules[0].error, name
        assert len(rules[0].prompt) <= 255
        assert len(rules[0].promptTitle) <= 32


def test_number_validation_lets_text_with_a_unit_pass() -> None:
    workbook, places = built()
    cell = places["load_diameter"].cell(0)
    rules = workbook["Stacks"].data_validations.dataValidation
    rule = next(one for one in rules if cell in _cells(str(one.sqref)))
    assert rule.formula1 == f"IF(ISNUMBER({cell}),AND({cell}>=5,{cell}<=80),ISTEXT({cell}))"


def test_a_newcomer_is_told_what_a_and_b_are_and_where_the_dials_stand() -> None:
    workbook, _ = built()
    texts = {
        sheet.title: " ".join(str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value)
        for sheet in workbook.worksheets
    }
    assert "a and b are the two faces of the piston" in texts["Valve"]
    assert "recorded on the sheet Job" in texts["Stacks"]
    assert "reckoned with stand on the sheet Stacks" in texts["Job"]


def test_rows_grow_with_the_notes_that_are_filled_in() -> None:
    workbook, places = build_stack_record()
    place = places["teardown"]
    note = "Two marks beside the port, looked at against the light; kept until the next service, then changed"
    fill(workbook, places, {"fields": {}, "tables": {"teardown": [["", "", "", "", "", note], ["", "Nut"]]}})
    heights = [workbook["Teardown"].row_dimensions[place.top + row].height for row in (0, 1)]
    # At 44 characters a line the note needs three.
    assert heights == [40.0, None]


def test_texts_in_merged_cells_have_room_for_two_lines() -> None:
    workbook, places = built()
    for name in ("vehicle", "damper", "piston_face"):
        assert workbook[places[name].sheet].row_dimensions[places[name].top].height >= 28, name
    place = places["checklist"]
    for row in range(place.top, place.bottom + 1):
        assert workbook["Checklist"].row_dimensions[row].height >= 28


def test_units_stand_beside_single_inputs() -> None:
    workbook, places = built()
    place = places["viscosity_40"]
    assert workbook["Oil and fill"].cell(place.top, place.left + 1).value == "mm²/s"


# Millimetres between the margins of A4 and Letter, whichever is less. A character is 7 pixels of 1/96 inch,
# 9 where a program lacks the usual font and takes a wider one, as LibreOffice was seen to do.
PAPER = {"portrait": 210.0 - 20.4, "landscape": 279.4 - 20.4}


@pytest.mark.parametrize("kind", KINDS)
def test_every_sheet_prints_one_page_wide_on_a4_and_letter(kind: str) -> None:
    workbook, _ = TEMPLATES_BY_KIND[kind].build()
    for sheet in workbook.worksheets:
        assert sheet.print_area, sheet.title
        assert sheet.page_setup.paperSize == 9
        assert sheet.freeze_panes, sheet.title
        fitted = sheet.sheet_properties.pageSetUpPr == PageSetupProperties(fitToPage=True)
        if fitted:
            assert sheet.page_setup.fitToWidth == 1
            continue
        widths = [column.width for column in sheet.column_dimensions.values()]
        scale, orientation = sheet.page_setup.scale, sheet.page_setup.orientation
        assert scale, sheet.title
        assert orientation, sheet.title
        across = sum(9 * width + 5 for width in widths) * 25.4 / 96 * scale / 100
        assert across <= PAPER[orientation], sheet.title


def test_formulas_call_known_functions_with_enough_arguments() -> None:
    workbook, _ = built()
    called = set()
    for place, formula in formulas(workbook):
        for name in OUR_CALL.findall(formula):
            assert name in REGISTRY, f"{place}: {name}"
            called.add(name)
    assert {"STACK_LIFT", "STACK_STIFFNESS", "STACK_OPENING", "STACK_STRESS", "STACK_CHECK"} <= called
    assert {"DAMPING_FORCE", "DAMPING_CURVE", "DAMPING_SHARE", "DAMPING_SUMMARY"} <= called
    assert {"CAVITATION_MARGIN", "DIAL_CLICKS"} <= called
    assert {"OIL_VISCOSITY", "OIL_INDEX", "OIL_GRADE", "FILL_VOLUME", "TORQUE_CONVERT"} <= called


def test_template_has_no_error_cell_when_it_is_new() -> None:
    data = template_bytes("stack_record", {})
    result = recalculate(data, "stack_record.xlsx")
    assert [str(finding) for finding in (*result.findings, *result.errors())] == []


@pytest.mark.parametrize("kind", KINDS)
def test_the_first_sheet_tells_what_to_do_where_the_functions_are_not_known(kind: str) -> None:
    workbook, _ = TEMPLATES_BY_KIND[kind].build()
    told = [sheet for sheet in workbook.worksheets if "dampcell connect" in str(sheet["B3"].value)]
    assert told == workbook.worksheets[:1]


def test_help_sheet_lists_every_cell_function() -> None:
    workbook, _ = built()
    shown = [str(cell.value) for cell in workbook["Help"]["B"] if cell.value]
    assert [function.signature for function in REGISTRY.values() if function.signature not in shown] == []


def test_checklist_holds_every_line_and_its_cautions() -> None:
    workbook, places = built()
    place = places["checklist"]
    rows = list(
        workbook["Checklist"].iter_rows(
            min_row=place.top, max_row=place.bottom, min_col=place.left, max_col=place.right, values_only=True
        )
    )
    lines = read_template_table("checklist")
    assert [row[2] for row in rows[: len(lines)]] == [line["item"] for line in lines]
    text = " ".join(str(row[5]) for row in rows)
    for word in ("pressure", "Springs", "Eye protection", "brake", "maker's manual", "low speed"):
        assert word in text


def test_charts_picture_and_cautions_are_in_the_package() -> None:
    with zipfile.ZipFile(io.BytesIO(template_bytes("stack_record", {}))) as package:
        names = package.namelist()
        assert len([name for name in names if name.startswith("xl/charts/chart")]) == 4
        assert len([name for name in names if name.startswith("xl/media/")]) == 3
        drawing = package.read(drawing_part(built()[0], "Results")).decode()
        assert names[0] == "[Content_Types].xml"
    assert "Springs and small parts fly" in drawing
    assert drawing.count("<c:chart") == 2


def test_text_box_leaves_no_foreign_prefix() -> None:
    with zipfile.ZipFile(io.BytesIO(template_bytes("stack_record", {}))) as package:
        assert b"ns0:" not in package.read(drawing_part(built()[0], "Results"))


def test_filling_refuses_a_cell_that_is_no_input() -> None:
    workbook, places = build_stack_record()
    with pytest.raises(ValueError, match=r"Results!D\d+ is no input cell"):
        fill(workbook, places, {"fields": {"oil_index": 100}, "tables": {}})


@pytest.mark.parametrize("job", demo_jobs(), ids=lambda job: str(job["fields"]["job_number"]))
def test_demo_jobs_hold_values_charts_and_picture(job: dict[str, object]) -> None:
    data = TEMPLATES.joinpath("demo", str(job["file"])).read_bytes()
    result = recalculate(data, str(job["file"]))
    assert [str(finding) for finding in (*result.findings, *result.errors())] == []
    assert [(cell.sheet, cell.cell) for cell in result.stale()] == []
    assert [cell.cell for cell in result.cells.values() if cell.saved is None and cell.value] == []
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        names = package.namelist()
        assert len([name for name in names if re.fullmatch(r"xl/charts/chart\d+\.xml", name)]) == 4
        assert any(name.startswith("xl/media/") for name in names)
    # A program without our add-in writes the names of functions it does not know in small letters.
    assert f"{job['spelling']}STACK_LIFT(".casefold() in _sheet_text(data).casefold()


@pytest.mark.parametrize(
    "job",
    [job for job in demo_jobs() if "saved_by" not in job],
    ids=lambda job: str(job["fields"]["job_number"]),
)
def test_regenerated_demo_has_the_committed_bytes(job: dict[str, object]) -> None:
    committed = TEMPLATES.joinpath("demo", str(job["file"])).read_bytes()
    assert parts(demo_bytes(job, build_stack_record, finished)) == parts(committed), REMEDY


def test_saved_bytes_do_not_depend_on_the_time() -> None:
    first, _ = build_stack_record()
    second, _ = build_stack_record()
    assert finished(first) == finished(second)
    with zipfile.ZipFile(io.BytesIO(finished(first))) as package:
        assert {info.date_time for info in package.infolist()} == {(2025, 1, 1, 0, 0, 0)}


def test_a_template_for_excel_has_its_spelling_everywhere() -> None:
    text = _sheet_text(template_bytes("stack_record", {}, program="excel"))
    assert "_xldudf_DAMP_STACK_LIFT(" in text
    assert re.search(r"<f>[^<]*DAMP\.", text) is None


def test_openpyxl_reads_the_template_back() -> None:
    workbook = openpyxl.load_workbook(io.BytesIO(template_bytes("stack_record", {"job_number": "7"})))
    place = built()[1]["job_number"]
    assert workbook[place.sheet].cell(place.top, place.left).value == "7"


def _declared(name: str) -> Field:
    return next(declared for declared in FIELDS if declared.name == name)


def _is_input(name: str) -> bool:
    return any(declared.name == name and declared.kind == "input" for declared in FIELDS)


def _holds(place: Place, cell: Place) -> bool:
    # The note column of a stack stands right beside the named cells; wide inputs are merged to the right.
    inside = place.top <= cell.top <= place.bottom and place.left <= cell.left <= place.right + 4
    return place.sheet == cell.sheet and inside


def _cells(reference: str) -> set[str]:
    sheet = Workbook().active
    assert sheet is not None
    found = set()
    for part in reference.split():
        rows = sheet[part]
        for row in rows if isinstance(rows, tuple) else ((rows,),):
            found |= {cell.coordinate for cell in (row if isinstance(row, tuple) else (row,))}
    return found


def _sheet_text(data: bytes) -> str:
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return "".join(
            package.read(name).decode()
            for name in package.namelist()
            if name.startswith("xl/worksheets/sheet")
        )
