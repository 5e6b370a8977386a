"""The demo set: a year of an invented workshop, its oil shelf, a comparison with its drawer, and its ledger.

All of it is made when asked for.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

from dampcell.workbooks.fields import VARIANTS
from dampcell.workbooks.forms.comparison import build_comparison
from dampcell.workbooks.forms.comparison import finished as finished_comparison
from dampcell.workbooks.forms.demo import demo_bytes, demo_jobs, fill, with_values
from dampcell.workbooks.forms.oil_shelf import build_oil_shelf
from dampcell.workbooks.forms.oil_shelf import finished as finished_shelf
from dampcell.workbooks.forms.service_ledger import build_service_ledger
from dampcell.workbooks.forms.service_ledger import finished as finished_ledger
from dampcell.workbooks.forms.stack_record import build_stack_record
from dampcell.workbooks.forms.stack_record import finished as finished_record

__all__ = ["demo_comparison", "demo_job", "demo_ledger", "demo_shelf", "further_jobs"]

_SHELF_COLUMNS = (0, 7, 8)


def further_jobs() -> list[Mapping[str, Any]]:
    """Read the jobs of templates/demo/year.toml, each made whole from the job that it is like.

    Returns
    -------
    list of mapping
        As `demo_jobs` gives them.
    """
    known = {job["fields"]["job_number"]: job for job in demo_jobs()}
    return [_whole(job, known[job["like"]]) for job in _table("year")["job"]]


def demo_job(job: Mapping[str, Any]) -> bytes:
    """Make the workbook of one of the further jobs, with values; equal on every call."""
    return demo_bytes(job, build_stack_record, finished_record)


def demo_shelf() -> bytes:
    """Make the oil shelf of the demo workshop, with values."""
    workbook, places = build_oil_shelf()
    fill(workbook, places, _table("shelf"))
    workbook.calculation.fullCalcOnLoad = False
    return with_values(finished_shelf(workbook), "Oil shelf.xlsx")


def demo_comparison() -> bytes:
    """Make a comparison of the demo workshop, with its drawer and stacks found in it, with values."""
    workbook, places = build_comparison()
    fill(workbook, places, _table("comparison"))
    workbook.calculation.fullCalcOnLoad = False
    return with_values(finished_comparison(workbook), "Comparison.xlsx")


def demo_ledger() -> bytes:
    """Make the ledger of the demo workshop before any job is filled in."""
    shelf = _table("shelf")
    stock = [[row[column] for column in _SHELF_COLUMNS] for row in shelf["tables"]["bottles"]]
    workbook, places = build_service_ledger()
    fill(workbook, places, {"fields": shelf["ledger"]["fields"], "tables": {"shelf": stock}})
    workbook.calculation.fullCalcOnLoad = False
    return finished_ledger(workbook)


def _whole(job: Mapping[str, Any], like: Mapping[str, Any]) -> Mapping[str, Any]:
    stacks: Mapping[str, str] = job["stacks"]
    left_out = {f"{name}_{key}" for key in VARIANTS for name in ("stack", "label", "clicks_open")}
    fields = {name: value for name, value in like["fields"].items() if name not in left_out}
    tables = {name: rows for name, rows in like["tables"].items() if name not in left_out}
    for key, source in stacks.items():
        tables[f"stack_{key}"] = like["tables"][f"stack_{source}"]
        for name in ("label", "clicks_open"):
            if f"{name}_{source}" in like["fields"] and key != "as_found":
                fields[f"{name}_{key}"] = like["fields"][f"{name}_{source}"]
    if "clicks_open_as_found" in like["fields"]:
        fields["clicks_open_as_found"] = like["fields"]["clicks_open_as_found"]
    return {
        **like,
        "file": job["file"],
        "saved_by": "",
        "spelling": job.get("spelling", "DAMP."),
        "fields": fields | dict(job["fields"]),
        "tables": tables | dict(job["tables"]),
    }


def _table(name: str) -> Any:
    text = files("dampcell.templates").joinpath("demo", f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
