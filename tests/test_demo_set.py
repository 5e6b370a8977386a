"""The whole demo set: every job fits its template, and one command writes jobs, shelf and ledger."""

from __future__ import annotations

import io
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from typer.testing import CliRunner

from dampcell.workbooks.checking import check_workbook
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.forms.comparison import build_comparison
from dampcell.workbooks.forms.demo import demo_jobs, fill
from dampcell.workbooks.forms.demo_year import demo_comparison, demo_job, further_jobs
from dampcell.workbooks.forms.stack_record import build_stack_record
from dampcell.workbooks.sheets import address

MOST_CHANGED = ("2025-079", "2025-088", "2025-103")


@pytest.mark.parametrize("job", further_jobs(), ids=lambda job: str(job["fields"]["job_number"]))
def test_every_further_job_fits_the_template(job: Mapping[str, Any]) -> None:
    workbook, places = build_stack_record()
    fill(workbook, places, job)
    place = places["job_number"]
    assert workbook[place.sheet].cell(place.top, place.left).value == job["fields"]["job_number"]
    assert str(job["file"]).startswith(job["fields"]["job_number"])
    assert job["fields"]["date_in"] <= job["fields"]["job_date"]


def test_a_whole_year_of_demo_jobs_needs_no_mending() -> None:
    # Of each damper the job that differs most from the ready-made one it is like.
    for job in (one for one in further_jobs() if one["fields"]["job_number"] in MOST_CHANGED):
        found = check_workbook(demo_job(job), job["file"])
        assert found.to_mend == ()
        assert all("the dial does not read true" in str(doubt) for doubt in found.to_look_at)


def test_one_of_the_two_shocks_cavitates_and_the_other_does_not() -> None:
    def margins(job: Mapping[str, Any]) -> list[float]:
        data = files("dampcell.templates").joinpath("demo", job["file"]).read_bytes()
        _, places = build_stack_record()
        place = places["cavitation_as_found"]
        sheet = openpyxl.load_workbook(io.BytesIO(data), data_only=True)[place.sheet]
        return [float(str(sheet.cell(row, place.left).value)) for row in range(place.top, place.bottom + 1)]

    base_valve, piston = margins(demo_jobs()[0]), margins(demo_jobs()[2])
    assert min(base_valve) > 0
    assert piston[0] > 0 > piston[-1]


def test_the_demo_comparison_has_variants_bands_and_a_drawer_with_stacks_found_in_it() -> None:
    data = demo_comparison()
    result = recalculate(data, "Comparison.xlsx")
    assert [str(told) for told in (*result.findings, *result.errors(), *result.stale())] == []
    assert [cell.cell for cell in result.cells.values() if cell.saved is None and cell.value] == []
    _, places = build_comparison()
    saved = openpyxl.load_workbook(io.BytesIO(data), data_only=True)

    def rows(name: str) -> list[list[Any]]:
        place = places[name]
        area = f"{address(place.top, place.left)}:{address(place.bottom, place.right)}"
        return [[cell.value for cell in row] for row in saved[place.sheet][area]]

    variants = [row for row in rows("variants") if row[0]]
    assert len(variants) >= 5
    assert not any(row[-1] for row in variants)
    assert "From the drawer" in [row[1] for row in variants]
    kinds = [row for row in rows("drawer") if row[0]]
    assert len(kinds) >= 20
    assert 0 in [row[2] for row in kinds]
    forces, changes = rows("forces"), rows("force_changes")
    # Faster is firmer, and the baseline does not differ from itself.
    assert all(row == sorted(row) for row in forces)
    assert changes[0] == [0] * len(changes[0])
    assert all(low < nominal < high for _, low, nominal, high, *_ in rows("bands"))
    matches = rows("matches")
    assert [row[0] for row in matches] == [1, 2, 3, 4, 5]
    # The shims themselves last at the fastest wish, so that nobody builds a stack that breaks.
    assert all(row[3] < 1 for row in matches)
    assert demo_comparison() == data


def test_one_command_writes_jobs_shelf_and_ledger_and_keeps_what_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # One of the nine that are made on demand is enough here: each takes seconds.
    monkeypatch.setattr("dampcell.workbooks.demo_set.further_jobs", lambda: further_jobs()[:1])
    first = CliRunner().invoke(build_app("demo"), ["demo", "--all", "--out", str(tmp_path)])
    assert first.exit_code == 0, first.output
    names = {Path(line).name for line in first.stdout.splitlines()}
    assert names == {
        "2025-008 trail fork, full service.xlsx",
        "Oil shelf.xlsx",
        "Comparison.xlsx",
        "Service ledger.xlsx",
        "Service ledger.csv",
    }
    assert len(list((tmp_path / "jobs").glob("*.xlsx"))) == 4
    book = openpyxl.load_workbook(tmp_path / "Service ledger.xlsx", data_only=True)
    sheet, _, cell = str(book.defined_names["services_total"].attr_text).rpartition("!")
    assert book[sheet.strip("'")][cell.replace("$", "")].value == 4
    again = CliRunner().invoke(build_app("demo"), ["demo", "--all", "--out", str(tmp_path)])
    assert (again.exit_code, again.stdout) == (0, "")
