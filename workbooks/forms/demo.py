"""The demo jobs: templates filled the way a person would, with values as a program saves them."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from importlib.resources import files
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell, MergedCell
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from dampcell.functions.registry import NAMESPACE
from dampcell.workbooks.engine import recalculate_package
from dampcell.workbooks.forms.sheet import Place, text_height
from dampcell.workbooks.package import open_package, refreshed

__all__ = ["demo_bytes", "demo_jobs", "fill", "respell", "with_values"]

_DONE, _NOT_NEEDED = "done", "not needed"


def demo_jobs() -> Sequence[Mapping[str, Any]]:
    """Read the demo jobs, as templates/demo/jobs.toml gives them."""
    text = files("dampcell.templates").joinpath("demo", "jobs.toml").read_text(encoding="utf-8")
    jobs: Sequence[Mapping[str, Any]] = tomllib.loads(text)["job"]
    return jobs


def demo_bytes(
    job: Mapping[str, Any],
    build: Callable[[], tuple[Workbook, Mapping[str, Place]]],
    finish: Callable[[Workbook], bytes],
) -> bytes:
    """Build one demo workbook.

    Parameters
    ----------
    job : mapping
        One of `demo_jobs`.
    build : callable
        Builds the empty template.
    finish : callable
        Saves it.

    Returns
    -------
    bytes
        The workbook with values in its formula cells; equal input gives equal bytes.
    """
    workbook, places = build()
    fill(workbook, places, job)
    respell(workbook, job["spelling"])
    workbook.properties.title = f"Job {job['fields']['job_number']}"
    # A person's file holds values; nothing should force a program to lose them.
    workbook.calculation.fullCalcOnLoad = False
    return with_values(finish(workbook), job["file"])


def with_values(data: bytes, file: str) -> bytes:
    """Return the same workbook with recalculated values in its formula cells."""
    package = open_package(data, file)
    return refreshed(package, recalculate_package(package))


def fill(workbook: Workbook, places: Mapping[str, Place], job: Mapping[str, Any]) -> None:
    """Type a job into the input cells of a template.

    Parameters
    ----------
    workbook : Workbook
        An empty template.
    places : mapping
        Where its fields stand.
    job : mapping
        ``fields`` by name, ``tables`` as rows of cells, ``pairs`` as name to
        value, ``checks`` with the lines not needed and the torques by line.
    """
    for name, value in job["fields"].items():
        place = places[name]
        values = value if isinstance(value, list) else [value]
        _type(workbook[place.sheet], place.top, place.left, [[one] for one in values])
    for name, rows in job["tables"].items():
        place = places[name]
        _type(workbook[place.sheet], place.top, place.left, rows)
    for name, pairs in job.get("pairs", {}).items():
        _type_pairs(workbook, places[name], pairs)
    if "checks" in job:
        _tick(workbook, places["checklist"], job["checks"])


def respell(workbook: Workbook, spelling: str) -> None:
    """Write the names of our functions in all formulas as another program stores them.

    Parameters
    ----------
    workbook : Workbook
        Workbook whose formulas have ``DAMP.``.
    spelling : text
        What stands before the function's name, such as ``_xldudf_DAMP_``.
    """
    for sheet in workbook.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f" and isinstance(cell.value, str):
                    cell.value = cell.value.replace(f"{NAMESPACE}.", spelling)


def _type(sheet: Worksheet, top: int, left: int, rows: Sequence[Sequence[object]]) -> None:
    for down, cells in enumerate(rows):
        for across, value in enumerate(cells):
            if value == "":
                continue
            cell = sheet.cell(top + down, left + across)
            if cell.protection.locked:
                raise ValueError(f"{sheet.title}!{cell.coordinate} is no input cell")
            cell.value = value  # type: ignore[assignment]  # openpyxl's stubs know no object
            _grow(sheet, cell)


def _grow(sheet: Worksheet, cell: Cell | MergedCell) -> None:
    """Make a row high enough for a text, as programs do when it is typed; merged cells stay as they are."""
    if not isinstance(cell.value, str) or cell.coordinate in sheet.merged_cells:
        return
    across = sheet.column_dimensions[get_column_letter(cell.column)].width
    dimension = sheet.row_dimensions[cell.row]
    height = text_height(cell.value, across)
    if height > (dimension.height or text_height("", across)):
        dimension.height = height


def _type_pairs(workbook: Workbook, place: Place, pairs: Mapping[str, object]) -> None:
    sheet = workbook[place.sheet]
    rows = {str(sheet.cell(row, place.left).value): row for row in range(place.top, place.bottom + 1)}
    for name, value in pairs.items():
        _type(sheet, rows[name], place.left + 1, [[value]])


def _tick(workbook: Workbook, place: Place, checks: Mapping[str, Any]) -> None:
    sheet = workbook[place.sheet]
    for line, row in enumerate(range(place.top, place.bottom + 1), start=1):
        if sheet.cell(row, place.left + 2).value is None:
            continue
        state = _NOT_NEEDED if line in checks["not_needed"] else _DONE
        _type(sheet, row, place.left, [[state]])
        if str(line) in checks["torques"]:
            _type(sheet, row, place.left + 3, [[checks["torques"][str(line)]]])
