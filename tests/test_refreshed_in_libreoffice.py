"""LibreOffice opens a refreshed copy and shows its values.

The program must be installed; a machine without it fails these tests on purpose.
"""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest
from openpyxl.chart import LineChart, Reference
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.package import open_package, refreshed

pytestmark = pytest.mark.real_program


def _converted(workbook: Path, ending: str, folder: Path) -> Path:
    """Convert with a throw-away profile, so that no profile of the user is touched."""
    program = shutil.which("soffice")
    assert program is not None, "LibreOffice (soffice) must be installed"
    profile = (folder / "profile").as_uri()
    command = [program, f"-env:UserInstallation={profile}", "--headless", "--convert-to", ending]
    done = subprocess.run(
        [*command, "--outdir", str(folder), str(workbook)],
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    made = folder / f"{workbook.stem}.{ending}"
    assert made.exists(), done.stdout + done.stderr
    return made


def _workbook() -> bytes:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    for row in range(1, 4):
        sheet.cell(row, 1, row / 10)
        sheet.cell(row, 2, f"=A{row}*3")
        sheet.cell(row, 4, 0)
    sheet["C1"] = "=DAMP.TRIAL_CUBE(2)"
    sheet["C2"] = '="5 < "&A2*10'
    sheet["C3"] = "=A1=0.1"
    sheet["D1"] = ArrayFormula("D1:D3", "=A1:A3*20")
    chart = LineChart()
    chart.add_data(Reference(sheet, min_col=2, min_row=1, max_row=3))
    chart.anchor = "F2"
    sheet.add_chart(chart)
    output = io.BytesIO()
    workbook.save(output)
    return output.getvalue()


def test_libreoffice_shows_the_refreshed_values(tmp_path: Path, trial_function: str) -> None:
    source = _workbook()
    copy = tmp_path / "copy.xlsx"
    copy.write_bytes(refreshed(open_package(source, "copy.xlsx"), recalculate(source, "copy.xlsx")))
    with _converted(copy, "csv", tmp_path).open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    # The function is unknown to this LibreOffice: its number can only come from the refreshed value.
    assert [row[:3] for row in rows] == [["0.1", "0.3", "8"], ["0.2", "0.6", "5 < 2"], ["0.3", "0.9", "TRUE"]]
    # Array formulas are always computed anew by LibreOffice, so here with ordinary functions only.
    assert [row[3] for row in rows] == ["2", "4", "6"]
