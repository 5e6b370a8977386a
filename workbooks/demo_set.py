"""The whole demo set on the disk: jobs of a year, oil shelf, comparison, and the ledger filled from them."""

from __future__ import annotations

from pathlib import Path

from dampcell.workbooks.batch import find
from dampcell.workbooks.files import write_bytes
from dampcell.workbooks.forms.demo_year import (
    demo_comparison,
    demo_job,
    demo_ledger,
    demo_shelf,
    further_jobs,
)
from dampcell.workbooks.ledger_book import gathered, read_job
from dampcell.workbooks.ledger_command import FILE_NAME, write_ledger

__all__ = ["write_demo_set"]

_SHELF = "Oil shelf.xlsx"
_COMPARISON = "Comparison.xlsx"


def write_demo_set(out: Path, jobs: Path) -> list[Path]:
    """Make what the package does not carry ready made; what is there already is kept.

    Parameters
    ----------
    out : Path
        Folder of shelf, comparison and ledger.
    jobs : Path
        Folder of the jobs, where the ready-made ones lie already.

    Returns
    -------
    list of Path
        What was written.
    """
    written: list[Path] = []
    for job in further_jobs():
        target = jobs / job["file"]
        if not target.exists():
            write_bytes(target, demo_job(job))
            written.append(target)
    ledger = out / FILE_NAME
    for target, make in ((out / _SHELF, demo_shelf), (out / _COMPARISON, demo_comparison)):
        if not target.exists():
            write_bytes(target, make())
            written.append(target)
    if not ledger.exists():
        read = [read_job(entry.source, entry.source.name) for entry in find([jobs])]
        written += write_ledger(demo_ledger(), ledger, gathered(read))
    return written
