"""The whole demo set: every job fits its template, and one command writes jobs, shelf and ledger."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from typer.testing import CliRunner

from dampcell.workbooks.cli import build_app
from dampcell.workbooks.forms.demo import fill
from dampcell.workbooks.forms.demo_year import further_jobs
from dampcell.workbooks.forms.stack_record import build_stack_record


@pytest.mark.parametrize("job", further_jobs(), ids=lambda job: str(job["fields"]["job_number"]))
def test_every_further_job_fits_the_template(job: Mapping[str, Any]) -> None:
    workbook, places = build_stack_record()
    fill(workbook, places, job)
    place = places["job_number"]
    assert workbook[place.sheet].cell(place.top, place.left).value == job["fields"]["job_number"]
    assert str(job["file"]).startswith(job["fields"]["job_number"])
    assert job["fields"]["date_in"] <= job["fields"]["job_date"]


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
        "Service ledger.xlsx",
        "Service ledger.csv",
    }
    assert len(list((tmp_path / "jobs").glob("*.xlsx"))) == 4
    book = openpyxl.load_workbook(tmp_path / "Service ledger.xlsx", data_only=True)
    sheet, _, cell = str(book.defined_names["services_total"].attr_text).rpartition("!")
    assert book[sheet.strip("'")][cell.replace("$", "")].value == 4
    again = CliRunner().invoke(build_app("demo"), ["demo", "--all", "--out", str(tmp_path)])
    assert (again.exit_code, again.stdout) == (0, "")
