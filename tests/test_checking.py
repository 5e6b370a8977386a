"""The check: what is missing or doubtful in a workbook of any kind, with sheet and cell."""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl import Workbook
from typer.testing import CliRunner

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks.checking import Checked, check_workbook
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.forms.demo import demo_jobs, fill, respell, with_values
from dampcell.workbooks.forms.sheet import Place
from dampcell.workbooks.forms.templates import KINDS, SPELLINGS, TEMPLATES, template_bytes
from dampcell.workbooks.sheets import address

FILE = "mine.xlsx"
Change = Callable[[Workbook, Mapping[str, Place]], None]


def light_record(change: Change | None = None, *, values: bool = False) -> bytes:
    """A small stack record that is quick to compute: one shim, no valve, nothing else missing."""
    template = TEMPLATES["stack_record"]
    workbook, places = template.build()
    wanted = ("job_number", "job_date", "technician", "service_kind", "damper", "viscosity_40")
    fields = {name: demo_jobs()[0]["fields"][name] for name in (*wanted, "viscosity_100")}
    tables = {"stack_as_found": [["shim", 30, 0.2, 1], ["clamp", 12, 0.3, 1]]}
    fill(workbook, places, {"fields": {**fields, "load_diameter": 27}, "tables": tables})
    if change is not None:
        change(workbook, places)
    data = template.finish(workbook)
    return with_values(data, FILE) if values else data


def typed(name: str, value: Any, down: int = 0, across: int = 0) -> Change:
    def change(workbook: Workbook, places: Mapping[str, Place]) -> None:
        place = places[name]
        workbook[place.sheet].cell(place.top + down, place.left + across).value = value

    return change


def checked(*changes: Change) -> Checked:
    def change(workbook: Workbook, places: Mapping[str, Place]) -> None:
        for one in changes:
            one(workbook, places)

    return check_workbook(light_record(change), FILE)


def sentences(errors: tuple[WorkbookError, ...]) -> list[str]:
    return [str(error) for error in errors]


def test_nothing_is_said_of_a_record_that_has_all_it_needs() -> None:
    found = check_workbook(light_record(values=True), FILE)
    assert (found.kind, found.to_mend, found.to_look_at) == ("stack_record", (), ())


def test_a_fresh_stack_record_says_what_it_needs() -> None:
    found = check_workbook(template_bytes("stack_record", {}), FILE)
    assert [error.problem for error in found.to_mend] == [
        "Job number is missing",
        "Date done is missing",
        "Damper is missing",
        "Load circle is missing",
        "As found: the stack is blank",
    ]
    assert "Technician is missing" in [error.problem for error in found.to_look_at]
    assert all(error.sheet and error.cell for error in (*found.to_mend, *found.to_look_at))


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_known_and_a_fresh_one_has_no_error_cell(kind: str) -> None:
    found = check_workbook(template_bytes(kind, {}), FILE)
    assert found.kind == kind
    assert [error for error in sentences(found.to_mend) if "#" in error] == []


def test_a_record_of_an_older_template_is_not_told_that_its_formulas_were_deleted() -> None:
    def change(workbook: Workbook, places: Mapping[str, Place]) -> None:
        for name in ("rider_note", "small_parts_finding", "cavitation_d"):
            del workbook.defined_names[name]

    found = checked(change)
    assert found.to_mend == ()
    assert 'older template: the cell name "rider_note"' in " ".join(sentences(found.to_look_at))
    assert "formula was deleted" not in " ".join(sentences(found.to_look_at))


def test_a_unit_of_the_wrong_kind_in_the_valve_is_told_with_its_cell() -> None:
    found = checked(typed("valve_displaced_diameter", "14 cSt"))
    assert any("displaced diameter" in text and "mm" in text for text in sentences(found.to_mend))
    assert any(error.sheet == "Valve" and error.cell for error in found.to_mend)


def test_a_changed_name_in_the_valve_is_told_with_the_nearest_one() -> None:
    found = checked(typed("valve", "displaced diametr", down=17), typed("valve", 3, down=17, across=1))
    assert any('did you mean "displaced diameter"?' in text for text in sentences(found.to_mend))


def test_a_value_whose_name_was_deleted_is_told() -> None:
    found = checked(typed("valve", None, down=17), typed("valve", 3, down=17, across=1))
    assert any("a value without its name" in text for text in sentences(found.to_mend))


def test_a_valve_that_is_only_begun_is_told() -> None:
    found = checked(typed("valve_displaced_diameter", 46))
    assert any("force against velocity is not calculated yet" in text for text in sentences(found.to_look_at))


def test_small_parts_that_are_not_all_in_are_told() -> None:
    found = checked(typed("small_parts", "Detent balls"), typed("small_parts", 2, across=2))
    assert "1 kinds of small parts are not all in" in [error.problem for error in found.to_look_at]


def test_a_dial_that_does_not_read_true_is_told() -> None:
    row = ("rebound", 24, 26, 13, 13, 2)
    found = checked(*(typed("dials", value, across=across) for across, value in enumerate(row)))
    assert any("rebound: the dial does not read true" in text for text in sentences(found.to_look_at))


def test_clicks_at_which_no_dial_was_found_are_told() -> None:
    row = ("compression", 22, 22, "12", 14, 0)
    dial = [typed("dials", value, across=across) for across, value in enumerate(row)]
    told = sentences(checked(*dial, typed("clicks_open_as_found", 10)).to_look_at)
    assert any("clicks at which no dial was found" in text and "allowed: 12" in text for text in told)
    for clicks in (12, None):
        told = sentences(checked(*dial, typed("clicks_open_as_found", clicks)).to_look_at)
        assert not any("no dial was found" in text for text in told)


@pytest.mark.parametrize(
    ("kind", "label"), [("comparison", "Variants"), ("oil_shelf", "Bottles"), ("service_ledger", "Jobs")]
)
def test_a_table_without_which_nothing_is_there_is_asked_for(kind: str, label: str) -> None:
    told = check_workbook(template_bytes(kind, {}), FILE).to_look_at
    assert f"{label}: nothing is filled in yet" in [error.problem for error in told]


def test_a_baseline_that_is_no_variant_is_told_with_the_nearest_name() -> None:
    template = TEMPLATES["comparison"]
    workbook, places = template.build()
    fill(workbook, places, {"fields": {"baseline": "As fund"}, "tables": {"variants": [["As found"]]}})
    told = sentences(check_workbook(template.finish(workbook), FILE).to_look_at)
    assert any('no variant has this name: did you mean "As found"?' in text for text in told)
    typed("baseline", "AS FOUND")(workbook, places)
    told = sentences(check_workbook(template.finish(workbook), FILE).to_look_at)
    assert not any("no variant has this name" in text for text in told)


def test_a_formula_that_was_written_over_is_told() -> None:
    found = checked(typed("oil_index", 180), typed("price_total", None))
    texts = sentences(found.to_look_at)
    assert any("Viscosity index should be calculated, but its formula was written over" in t for t in texts)
    assert any("Total should be calculated, but its formula was deleted" in text for text in texts)


def test_results_that_are_errors_are_told_with_their_sentence() -> None:
    found = checked(typed("load_diameter", 29), typed("stack_as_found", 40, down=1, across=1))
    assert any("Results!" in text and "clamp" in text for text in sentences(found.to_mend))


def test_very_many_errors_are_counted() -> None:
    found = checked(typed("stack_as_found", "shim", down=1))
    assert "more results are errors" in str(found.to_mend[-1])


def test_saved_results_that_are_older_than_the_inputs_are_told_once() -> None:
    data = light_record(values=True)
    stale = replaced(data, b"<v>191</v>", b"<v>190</v>")
    found = check_workbook(stale, FILE)
    assert len(found.to_look_at) == 1
    assert "saved results are older than the inputs" in str(found.to_look_at[0])
    assert found.to_mend == ()


def replaced(data: bytes, old: bytes, new: bytes) -> bytes:
    """The same package with a piece of its sheets changed, as another program would leave it."""
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(packed, "w") as target:
        parts = {name: source.read(name) for name in source.namelist()}
        assert any(old in part for part in parts.values())
        for name, part in parts.items():
            target.writestr(name, part.replace(old, new))
    return packed.getvalue()


def test_a_deleted_sheet_is_told_and_ends_the_check() -> None:
    def change(workbook: Workbook, places: Mapping[str, Place]) -> None:
        workbook["Valve"].title = "Valv"

    found = checked(change)
    assert 'the sheet "Valve" is missing' in str(found.to_mend[-1])


def test_a_comparison_says_which_variant_lacks_what() -> None:
    template = TEMPLATES["comparison"]
    workbook, places = template.build()
    fill(workbook, places, {"fields": {}, "tables": {"variants": [["Softer", "Nobody's"]]}})
    found = check_workbook(template.finish(workbook), FILE)
    assert "Softer still needs a stack from the sheet Stacks" in [e.problem for e in found.to_look_at]


@pytest.mark.parametrize(
    ("name", "down", "across", "value", "label"),
    [
        ("variants", 0, 4, "warm", "Oil temperature"),
        ("velocities", 0, 3, "fast", "Velocities"),
        ("oils", 0, 1, "5 wt", "Viscosity at 40 °C"),
        ("valve_2", 0, 1, "c", "face"),
        ("stack_8", 0, 2, "14 cSt", "Thickness"),
        ("band_velocity", 0, 0, "0.5 mm", "Tolerance band at"),
    ],
)
def test_a_bad_cell_of_a_comparison_is_told_with_its_place(
    name: str, down: int, across: int, value: str, label: str
) -> None:
    template = TEMPLATES["comparison"]
    workbook, places = template.build()
    typed(name, value, down, across)(workbook, places)
    found = check_workbook(template.finish(workbook), FILE)
    place = places[name]
    error = next(one for one in found.to_mend if one.problem.startswith(label))
    assert error.sheet == place.sheet
    assert error.cell == address(place.top + down, place.left + across)


@pytest.mark.parametrize("value", ["2,5 m/s", "250 cm/s", 2.5])
def test_decimal_commas_and_units_typed_into_cells_are_understood(value: object) -> None:
    template = TEMPLATES["comparison"]
    workbook, places = template.build()
    typed("maximum_velocity", value)(workbook, places)
    assert check_workbook(template.finish(workbook), FILE).to_mend == ()


@pytest.mark.parametrize(
    ("kind", "table", "across", "text", "problem", "allowed"),
    [
        ("stack_record", "price_lines", 2, "2,5", "Price each is text", "2.5 typed as a number"),
        ("stack_record", "price_lines", 2, "12,50 EUR", "Price each unknown unit", "a number without a unit"),
        ("stack_record", "price_lines", 1, "2,5", "Count is text", "2.5 typed as a number"),
        ("stack_record", "small_parts", 2, "4", "Counted out is text", "4 typed as a number"),
        ("stack_record", "bleed_log", 1, "14 ml", "Oil in is text", "14 typed as a number"),
        ("comparison", "variants", 5, "6", "Clicks open is text", "6 typed as a number"),
        ("oil_shelf", "bottles", 7, "1 l", "Bottle is text", "1000 typed as a number"),
        ("oil_shelf", "bottles", 9, "36,00", "Price of a bottle is text", "36 typed as a number"),
    ],
)
def test_text_in_a_cell_that_the_sheet_reckons_with_is_told_and_refused_when_typed(
    kind: str, table: str, across: int, text: str, problem: str, allowed: str
) -> None:
    template = TEMPLATES[kind]
    workbook, places = template.build()
    typed(table, text, across=across)(workbook, places)
    place = places[table]
    cell = address(place.top, place.left + across)
    told = [one for one in check_workbook(template.finish(workbook), FILE).to_mend if one.cell == cell]
    assert [one.problem.startswith(problem) for one in told] == [True]
    assert told[0].sheet == place.sheet
    assert allowed in str(told[0].allowed)
    rules = workbook[place.sheet].data_validations.dataValidation
    rule = next(one for one in rules if str(one.sqref).startswith(f"{cell}:"))
    assert str(rule.formula1).endswith(",FALSE)")
    assert "without any text" in str(rule.error)


BAD_CELLS = [
    ("stack_record", "cartridge", 1),
    ("comparison", "oils", 1),
    ("oil_shelf", "bottles", 2),
    ("service_ledger", "shelf", 1),
]


@pytest.mark.parametrize(("kind", "table", "across"), BAD_CELLS)
def test_text_pasted_over_a_number_is_told_in_every_kind_of_workbook(
    kind: str, table: str, across: int
) -> None:
    template = TEMPLATES[kind]
    workbook, places = template.build()
    typed(table, "see the data sheet", across=across)(workbook, places)
    place = places[table]
    told = [(error.sheet, error.cell) for error in check_workbook(template.finish(workbook), FILE).to_mend]
    assert (place.sheet, address(place.top, place.left + across)) in told


@pytest.mark.parametrize(("kind", "table", "across"), BAD_CELLS)
def test_a_workbook_saved_again_by_another_library_is_checked_the_same(
    kind: str, table: str, across: int
) -> None:
    template = TEMPLATES[kind]
    workbook, places = template.build()
    typed(table, "see the data sheet", across=across)(workbook, places)
    data, saved = template.finish(workbook), io.BytesIO()
    openpyxl.load_workbook(io.BytesIO(data)).save(saved)
    first, again = check_workbook(data, FILE), check_workbook(saved.getvalue(), FILE)
    assert sentences(again.to_mend) == sentences(first.to_mend)
    assert sentences(again.to_look_at) == sentences(first.to_look_at)


@pytest.mark.parametrize(("kind", "table"), [("comparison", "oils"), ("oil_shelf", "bottles")])
def test_columns_that_changed_places_are_told_at_their_head(kind: str, table: str) -> None:
    template = TEMPLATES[kind]
    workbook, places = template.build()
    place = places[table]
    first, second = (workbook[place.sheet].cell(place.top - 1, place.left + n) for n in (1, 2))
    first.value, second.value = second.value, first.value
    told = check_workbook(template.finish(workbook), FILE).to_mend[-1]
    assert "put the columns back in order" in str(told)
    assert (told.sheet, told.cell) == (place.sheet, first.coordinate)


@pytest.mark.parametrize(
    ("kind", "sheet", "table"), [("comparison", "Stacks", "stack_8"), ("oil_shelf", "Shelf", "bottles")]
)
def test_a_sheet_that_was_renamed_with_its_names_is_read(kind: str, sheet: str, table: str) -> None:
    template = TEMPLATES[kind]
    workbook, places = template.build()
    typed(table, "wide", across=2)(workbook, places)
    data = template.finish(workbook)
    told = sentences(check_workbook(data, FILE).to_mend)
    assert f"{FILE}, {sheet}!" in told[0]
    renamed = check_workbook(_renamed(data, sheet), FILE)
    assert sentences(renamed.to_mend) == [text.replace(f" {sheet}!", f" My own {sheet}!") for text in told]


def _renamed(data: bytes, sheet: str) -> bytes:
    """Rename a sheet as programs do: in the list of sheets, in the names, and in all formulas."""
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(packed, "w") as target:
        for name in source.namelist():
            part = source.read(name)
            if name.startswith(("xl/workbook.xml", "xl/worksheets/")):
                for quote in (b"'", b"&apos;", b""):
                    part = part.replace(
                        quote + sheet.encode() + quote + b"!", b"'My own " + sheet.encode() + b"'!"
                    )
                part = part.replace(
                    b'name="' + sheet.encode() + b'"', b'name="My own ' + sheet.encode() + b'"'
                )
            target.writestr(name, part)
    return packed.getvalue()


@pytest.mark.parametrize("kind", KINDS)
def test_a_workbook_as_excel_leaves_it_is_checked_the_same(kind: str) -> None:
    """Its spelling of our functions, texts in several runs of their own font, a list of what to calculate."""
    template = TEMPLATES[kind]
    workbook, places = template.build()
    _, table, across = next(one for one in BAD_CELLS if one[0] == kind)
    typed("comparison_title" if kind == "comparison" else "workshop", "Soft and slow")(workbook, places)
    typed(table, "wide", across=across)(workbook, places)
    plain = check_workbook(template.finish(workbook), FILE)
    respell(workbook, SPELLINGS["excel"])
    runs = b'<r><t xml:space="preserve">Soft </t></r><r><rPr><b/></rPr><t>and slow</t></r>'
    excel = replaced(template.finish(workbook), b"<t>Soft and slow</t>", runs)
    packed = io.BytesIO(excel)
    with zipfile.ZipFile(packed, "a") as package:
        package.writestr("xl/calcChain.xml", "<calcChain/>")
    found = check_workbook(packed.getvalue(), FILE)
    assert found.kind == kind
    assert any('"wide"' in text for text in sentences(found.to_mend))
    assert sentences(found.to_mend) == sentences(plain.to_mend)
    assert sentences(found.to_look_at) == sentences(plain.to_look_at)


def test_a_row_inserted_into_a_table_is_read_with_the_rest() -> None:
    """As Excel leaves it: names reach one row further, and the new row has values only."""
    template = TEMPLATES["comparison"]
    workbook, places = template.build()
    place = places["drawer"]
    sheet = workbook[place.sheet]
    fill(workbook, places, {"fields": {}, "tables": {"drawer": [[22, 0.15, 2], [20, 0.15, 2]]}})
    sheet.insert_rows(place.top + 1)
    for offset, value in enumerate((21, "thick", 3)):
        sheet.cell(place.top + 1, place.left + offset).value = value  # type: ignore[assignment]  # no object
    longer = dataclasses.replace(place, bottom=place.bottom + 1)
    workbook.defined_names["drawer"].attr_text = longer.address
    told = check_workbook(template.finish(workbook), FILE).to_mend
    assert [(error.sheet, error.cell) for error in told] == [
        (place.sheet, address(place.top + 1, place.left + 1))
    ]


def test_a_workbook_from_no_template_is_refused() -> None:
    saved = io.BytesIO()
    Workbook().save(saved)
    with pytest.raises(WorkbookError, match="is made from none of the templates"):
        check_workbook(saved.getvalue(), FILE)


def test_the_command_prints_lines_and_leaves_with_1_when_something_has_to_be_mended(tmp_path: Path) -> None:
    good, bad, none = tmp_path / "good.xlsx", tmp_path / "bad.xlsx", tmp_path / "none.xlsx"
    good.write_bytes(light_record(values=True))
    bad.write_bytes(light_record(typed("job_number", None)))
    result = CliRunner().invoke(build_app("check"), ["check", str(good), str(bad), str(none)])
    assert result.exit_code == 1
    lines = result.output.splitlines()
    assert lines[0] == "good.xlsx: nothing is missing or doubtful (stack record)."
    assert lines[1] == "to mend: bad.xlsx, Job!C5: Job number is missing."
    assert "to mend: none.xlsx: there is no such file" in lines[-1]


def test_the_command_leaves_with_0_when_something_is_only_doubtful(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    path.write_bytes(light_record(typed("technician", None)))
    result = CliRunner().invoke(build_app("check"), ["check", str(path), "--json"])
    assert result.exit_code == 0
    found = json.loads(result.output)["workbooks"][0]
    assert found["kind"] == "stack_record"
    assert found["to_mend"] == []
    assert found["to_look_at"][0]["cell"] == "C9"
