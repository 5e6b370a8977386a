"""Oil shelf and service ledger: complete, protected, without error when new and filled, also in LibreOffice.

Expected numbers of the demo set are added up by hand from templates/demo/jobs.toml, year.toml and shelf.toml.
"""

from __future__ import annotations

import csv
import datetime
import functools
import io
import shutil
import subprocess
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl import Workbook

from dampcell.functions.registry import CellError
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.fields import load_fields
from dampcell.workbooks.forms import styles
from dampcell.workbooks.forms.demo import demo_jobs, fill, with_values
from dampcell.workbooks.forms.demo_year import demo_ledger, demo_shelf, further_jobs
from dampcell.workbooks.forms.sheet import Place
from dampcell.workbooks.forms.templates import TEMPLATES, template_bytes
from dampcell.workbooks.results import Recalculated

KINDS = ("oil_shelf", "service_ledger")
HAND_ROWS: list[list[object]] = [
    ["A-1", datetime.date(2025, 1, 10), "bleed", "F43", "7", "MK", "C-1", 80.1, "F-Line", 40],
    ["A-2", datetime.date(2025, 2, 28), "BLEED ", "F43", "8", "JS", "C-2", 90.2, "f-line", 60],
    ["A-2", datetime.date(2025, 2, 28), "bleed", "F43", "8", "JS", "C-2", 90.2, "f-line", 60],
    ["A-3", "soon", "tuning", "RS46", "9", "JS", "C-3", 10, "Other", 5],
    ["A-4", datetime.date(2025, 2, 1), "tuning", "RS46", "9", "JS", "C-3", 10, "Other", 5],
]


@functools.cache
def built(kind: str) -> tuple[Workbook, Mapping[str, Place]]:
    return TEMPLATES[kind].build()


def filled_by_hand(rows: list[list[object]] = HAND_ROWS) -> tuple[Recalculated, Mapping[str, Place]]:
    workbook, places = TEMPLATES["service_ledger"].build()
    fields = {"ledger_day": datetime.date(2025, 12, 31), "tax_rate": 0.25}
    fill(workbook, places, {"fields": fields, "tables": {"jobs": rows, "shelf": [["F-Line", 50, 10]]}})
    return recalculate(TEMPLATES["service_ledger"].finish(workbook), "l.xlsx"), places


def column(result: Recalculated, place: Place) -> list[object]:
    cells = [place.cell(row) for row in range(place.bottom - place.top + 1)]
    return [result.value(place.sheet, cell) for cell in cells]


def single(result: Recalculated, places: Mapping[str, Place], name: str) -> object:
    return result.value(places[name].sheet, places[name].cell(0))


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_has_its_name_and_its_sheet(kind: str) -> None:
    workbook, places = built(kind)
    for declared in load_fields(kind):
        assert workbook.defined_names[declared.name].attr_text == places[declared.name].address
        assert places[declared.name].sheet == declared.sheet


@pytest.mark.parametrize("kind", KINDS)
def test_inputs_are_open_and_validated_and_results_are_locked(kind: str) -> None:
    workbook, places = built(kind)
    open_cells = 0
    for declared in load_fields(kind):
        columns = [(f"{declared.name}.{one.name}", one) for one in declared.columns] or [
            (declared.name, declared)
        ]
        for name, one in columns:
            place = places[name]
            cell = workbook[place.sheet].cell(place.top, place.left)
            wanted = declared.kind == "input" and not one.formula
            assert cell.protection.locked is not wanted, name
            assert cell.style == (
                (styles.INPUT, styles.RESULT)[not wanted]
                if one.type not in ("text", "choice", "long")
                else (styles.INPUT_TEXT, styles.RESULT_TEXT)[not wanted]
            ), name
            if wanted:
                open_cells += 1
                rules = workbook[place.sheet].data_validations.dataValidation
                mine = [rule for rule in rules if place.cell(0) in str(rule.sqref).replace(":", " ").split()]
                assert len(mine) == 1, name
                assert mine[0].prompt, name
    assert open_cells > 15
    for sheet in workbook.worksheets:
        assert sheet.protection.sheet
        assert not sheet.protection.password
        assert sheet.freeze_panes
        assert sheet.page_setup.paperSize == 9
        assert sheet.page_setup.fitToWidth == 1


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("program", ["calc", "excel"])
def test_a_new_workbook_shows_no_error(kind: str, program: Any) -> None:
    result = recalculate(template_bytes(kind, {}, program=program), "new.xlsx")
    assert [str(told) for told in (*result.findings, *result.errors())] == []


@pytest.mark.parametrize("kind", KINDS)
def test_equal_content_gives_equal_bytes(kind: str) -> None:
    assert template_bytes(kind, {}) == template_bytes(kind, {})


def test_blends_choose_from_the_shelf() -> None:
    workbook, places = built("oil_shelf")
    rules = workbook["Blend"].data_validations.dataValidation
    lists = [rule for rule in rules if rule.type == "list"]
    assert {rule.formula1 for rule in lists} == {places["bottles.oil"].address}
    assert {rule.errorStyle for rule in lists} == {"warning"}


def test_the_demo_shelf_tells_cost_class_label_and_blend() -> None:
    data = demo_shelf()
    result = recalculate(data, "shelf.xlsx")
    assert [str(told) for told in (*result.findings, *result.errors(), *result.stale())] == []
    _, places = built("oil_shelf")
    # By hand: 36 a litre and 100 ml a service; 32 and 284 ml; 20.5 a half litre and 150 ml.
    assert column(result, places["real.service_cost"])[:3] == [3.6, 9.09, 6.15]
    assert column(result, places["real.litre_price"])[2:5] == [41.0, 21.0, 19.6]
    assert column(result, places["real.services_left"])[:3] == [6.0, 1.0, 1.0]
    assert column(result, places["real.viscosity"])[0] == pytest.approx(14.1)  # at 40 °C, as on the sheet
    verdicts = column(result, places["real.verdict"])
    # "5 wt" usually hides 13 to 27 mm²/s; this one has 28.5.
    assert verdicts[3] == "thicker than its label usually is"
    assert verdicts[8:] == [""] * 4
    assert str(column(result, places["real.iso_class"])[0]).startswith("ISO VG 15, in its band")
    shares = column(result, places["blends.share"])
    first, second = column(result, places["blends.volume_a"]), column(result, places["blends.volume_b"])
    assert 0 < float(str(shares[0])) < 1
    assert float(str(first[0])) + float(str(second[0])) == pytest.approx(300.0)
    assert shares[2] == ""
    assert "no blend of the two oils has this viscosity" in str(column(result, places["blends.finding"])[2])


def test_a_blend_with_an_oil_that_is_not_there_says_so() -> None:
    workbook, places = TEMPLATES["oil_shelf"].build()
    fill(workbook, places, {"fields": {}, "tables": {"blends": [["Nobody's oil", "", 20, 100]]}})
    result = recalculate(TEMPLATES["oil_shelf"].finish(workbook), "shelf.xlsx")
    assert column(result, places["blends.finding"])[0] == (
        "the first oil is not on the shelf, or lacks its viscosities"
    )


def test_the_ledger_counts_what_was_typed_in() -> None:
    result, places = filled_by_hand()
    assert [str(told) for told in (*result.findings, *result.errors())] == []
    assert single(result, places, "year_shown") == 2025.0
    assert single(result, places, "services_total") == 3.0
    assert single(result, places, "undated_total") == 1.0
    assert single(result, places, "amount_total") == 180.3
    assert single(result, places, "oil_total") == 105.0
    assert "jobs saved twice and not counted: row 3" in str(single(result, places, "ledger_state"))
    assert column(result, places["months.month"])[:2] == ["2025-01", "2025-02"]
    assert column(result, places["months.services"])[:3] == [1.0, 2.0, 0.0]
    # The heads are revalve, full service, oil change, bleed, repair, inspection; "tuning" is none of them.
    assert column(result, places["pivot.kind_4"])[:3] == [1.0, 1.0, 0.0]
    assert column(result, places["other_kinds"])[:3] == [0.0, 1.0, 0.0]
    assert column(result, places["by_technician.group"]) == ["JS", "MK", "", "", ""]
    # 25 % of 90.20 and 10.00, rounded for each job, is 22.55 and 2.50.
    assert column(result, places["by_technician.tax"])[0] == 25.05
    # 100 ml used of F-Line; a quarter as much again is 25 ml, 10 ml are there, bottles hold 50 ml.
    assert column(result, places["orders.oil"])[:3] == ["F-Line", "Other", ""]
    assert column(result, places["orders.bottles"])[:2] == [1.0, "–"]
    assert column(result, places["findings.subject"])[:3] == ["duplicate", "undated", ""]
    # 12 months after each service; 60 days after 2025-12-31 is 2026-03-01.
    assert column(result, places["due.serial"])[:4] == ["7", "9", "8", ""]
    assert column(result, places["due.due"])[:3] == ["2026-01-10", "2026-02-01", "2026-02-28"]


def test_a_row_that_cannot_be_read_is_told_and_gives_no_number() -> None:
    result, places = filled_by_hand([["A-1", "2025-01-10", "bleed", "F43", "", "", "", "cheap"]])
    assert isinstance(single(result, places, "services_total"), CellError)
    assert "jobs row 1, amount" in str(single(result, places, "ledger_state"))


def test_the_year_of_the_demo_has_twelve_jobs_four_dampers_and_two_technicians() -> None:
    jobs = [*demo_jobs(), *further_jobs()]
    fields = [job["fields"] for job in jobs]
    assert len({one["job_number"] for one in fields}) == len(jobs) == 12
    assert len({one["damper"] for one in fields}) == 4
    assert {one["technician"] for one in fields} == {"MK", "JS"}
    assert {one["job_date"].year for one in fields} == {2025}
    assert len({one["service_kind"] for one in fields}) == 6
    shelf = column(recalculate(demo_shelf(), "shelf.xlsx"), built("oil_shelf")[1]["real.oil"])
    names = [name for name in shelf if name]
    assert len(names) == 8
    assert {one["oil_name"] for one in fields} - {""} <= set(names)
    assert all(job["tables"]["stack_as_found"] for job in jobs)


def test_the_charts_point_at_tables_and_the_help_lists_the_ledger() -> None:
    with zipfile.ZipFile(io.BytesIO(template_bytes("service_ledger", {}))) as package:
        charts = [name for name in package.namelist() if name.startswith("xl/charts/chart")]
        text = "".join(package.read(name).decode() for name in charts)
    assert len(charts) == 6
    _, places = built("service_ledger")
    for name in ("pivot.kind_1", "months.amount", "by_damper.group", "by_kind.services", "orders.oil_used"):
        assert places[name].address.rpartition("!")[2] in text, name
    help_sheet = built("service_ledger")[0]["Help"]
    assert help_sheet["B1"].value == "Service ledger · Help"
    assert any(str(cell.value).startswith("DAMP.SERVICES_DUE(") for cell in help_sheet["B"])


def saved_by_libreoffice(data: bytes, folder: Path, ending: str) -> Path:
    program = shutil.which("soffice")
    assert program is not None, "LibreOffice (soffice) must be installed"
    source = folder / "source.xlsx"
    source.write_bytes(data)
    done = subprocess.run(
        [
            program,
            f"-env:UserInstallation={(folder / 'profile').as_uri()}",
            "--headless",
            "--convert-to",
            ending,
            "--outdir",
            str(folder / "made"),
            str(source),
        ],
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    made = next((folder / "made").glob("source*"), None)
    assert made is not None, done.stdout + done.stderr
    return made


@pytest.mark.real_program
@pytest.mark.parametrize("kind", KINDS)
def test_libreoffice_opens_a_filled_one_and_shows_no_error(kind: str, tmp_path: Path) -> None:
    data = demo_shelf() if kind == "oil_shelf" else with_values(demo_ledger(), "l.xlsx")
    made = saved_by_libreoffice(data, tmp_path, "xlsx:Calc MS Excel 2007 XML")
    book = openpyxl.load_workbook(made, data_only=True)
    errors = [
        f"{sheet.title}!{cell.coordinate}"
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "e"
    ]
    assert errors == []
    assert sorted(book.defined_names) == sorted(built(kind)[0].defined_names)


@pytest.mark.real_program
def test_libreoffice_shows_the_counts_of_a_ledger(tmp_path: Path) -> None:
    workbook, places = TEMPLATES["service_ledger"].build()
    workbook.calculation.fullCalcOnLoad = False
    fill(
        workbook,
        places,
        {"fields": {"ledger_day": datetime.date(2025, 12, 31)}, "tables": {"jobs": HAND_ROWS}},
    )
    data = with_values(TEMPLATES["service_ledger"].finish(workbook), "l.xlsx")
    made = saved_by_libreoffice(data, tmp_path, "csv")
    with made.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    february = next(row for row in rows if len(row) > 1 and row[1] == "2025-02")
    assert [float(cell) for cell in february[2:4]] == [2.0, 100.2]
    assert not any(cell.startswith(("#", "Err:")) for row in rows for cell in row)
