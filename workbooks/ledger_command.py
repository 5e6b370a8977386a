"""The command ``ledger``: a folder of job workbooks in, the service ledger of the workshop out.

Paths of what was written go to standard output, everything else to standard error.
"""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from dampcell.functions.errors import WorkbookError
from dampcell.functions.ledger import Ledger
from dampcell.functions.money import Basis
from dampcell.workbooks.batch import ENDINGS, Found, find
from dampcell.workbooks.files import printable, sweep, write_bytes
from dampcell.workbooks.forms.service_ledger import KIND
from dampcell.workbooks.forms.templates import Program, template_bytes
from dampcell.workbooks.ledger_book import (
    JobRead,
    as_csv,
    as_parquet,
    filled_ledger,
    gathered,
    read_job,
    rows_by_hand,
)
from dampcell.workbooks.package import read_file
from dampcell.workbooks.progress import progress_bar

__all__ = ["FILE_NAME", "ledger", "register", "write_ledger"]

FILE_NAME = "Service ledger.xlsx"
"""Name of the ledger when none is given."""


def ledger(
    paths: Annotated[
        list[Path], typer.Argument(metavar="PATH...", help="Folders of job workbooks, or job workbooks.")
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", help=f'The ledger, new or in use; default "{FILE_NAME}" in the first folder.'),
    ] = None,
    parquet: Annotated[
        bool, typer.Option("--parquet", help="Write a Parquet file beside it, too (needs pyarrow).")
    ] = False,
    rounding: Annotated[
        Basis, typer.Option("--rounding", help="Round each price line to cents, or only their sum.")
    ] = "item",
    date: Annotated[
        datetime.datetime | None,
        typer.Option("--date", formats=["%Y-%m-%d"], help="Day of asking of a new ledger; default today."),
    ] = None,
    program: Annotated[
        Program,
        typer.Option("--for", help="Program a new ledger is for: excel (with the Office add-in) or calc."),
    ] = "calc",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of paths.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Read the jobs, and write nothing.")] = False,
) -> None:
    """Write one row per job into the service ledger, and into a CSV file beside it.

    The job workbooks are only read. A ledger that is there already is filled
    anew: rows typed in by hand, settings and sheets of your own are kept. A job
    saved twice counts once and is named. A workbook that cannot be read is named
    with its reason, and the others go on: exit code 1 then, 0 when all went
    well, 2 for a wrong call.
    """
    try:
        target = out or _default(paths)
        itself = os.path.realpath(target)
        found = [entry for entry in find(paths) if os.path.realpath(entry.source) != itself]
        before = _ledger_in_use(target)
    except WorkbookError as error:
        _say(str(error))
        raise typer.Exit(2) from None
    if not found:
        places = ", ".join(map(str, paths))
        _say(f"{places}: there is no job workbook here; allowed: files ending in {' or '.join(ENDINGS)}.")
        raise typer.Exit(2)
    jobs = list(_read(found, rounding))
    gone_in = gathered(jobs)
    written: list[Path] = []
    if not dry_run:
        day = (date or datetime.datetime.now()).date()
        base = before if before is not None else template_bytes(KIND, {"ledger_day": day}, program=program)
        written = write_ledger(base, target, gone_in, parquet=parquet)
    if as_json:
        typer.echo(json.dumps(_as_json(jobs, gone_in, written), ensure_ascii=False, indent=1))
    else:
        for path in written:
            typer.echo(str(path))
    _summary(jobs, gone_in)
    raise typer.Exit(1 if any(job.failure for job in jobs) else 0)


def register(app: typer.Typer) -> None:
    """Add the command to a command line."""
    app.command()(ledger)


def write_ledger(base: bytes, target: Path, jobs: Ledger, *, parquet: bool = False) -> list[Path]:
    """Fill a ledger and write it, with its CSV and Parquet files beside it.

    Parameters
    ----------
    base : bytes
        The ledger before, fresh or in use.
    target : Path
        The ledger's file.
    jobs : Ledger
        What goes in.
    parquet : bool
        Whether a Parquet file is wanted.

    Returns
    -------
    list of Path
        What was written; each file whole or not at all.

    Raises
    ------
    WorkbookError
        If the ledger cannot be filled or a file cannot be written.
    """
    made = {target: filled_ledger(base, target.name, jobs), target.with_suffix(".csv"): as_csv(jobs)}
    if parquet:
        made[target.with_suffix(".parquet")] = as_parquet(jobs)
    try:
        sweep(target.parent)
        for path, data in made.items():
            write_bytes(path, data)
    except OSError as error:
        raise WorkbookError(
            f"cannot be written ({error.strerror or type(error).__name__})",
            file=str(target),
            allowed="a folder that may be written to (option --out)",
        ) from None
    return list(made)


def _default(paths: Sequence[Path]) -> Path:
    first = paths[0]
    return (first if first.is_dir() else first.parent) / FILE_NAME


def _ledger_in_use(target: Path) -> bytes | None:
    """Bytes of a ledger that is there already; refused before the work if it cannot be filled."""
    if target.suffix.casefold() not in ENDINGS:
        raise WorkbookError("is no name for a workbook", file=str(target), allowed="a name ending in .xlsx")
    if not target.exists():
        return None
    data = read_file(target)
    rows_by_hand(data, target.name)
    return data


def _read(found: Sequence[Found], rounding: Basis) -> Iterator[JobRead]:
    with progress_bar(Console(stderr=True)) as bar:
        line = bar.add_task("jobs", total=len(found))
        for entry in found:
            name = printable(entry.source.relative_to(entry.root).as_posix())
            yield read_job(entry.source, name, basis=rounding)
            bar.advance(line)


def _summary(jobs: Sequence[JobRead], gone_in: Ledger) -> None:
    for twice in gone_in.duplicates:
        differs = f"; they differ in {', '.join(twice.differs)}" if twice.differs else ""
        _say(
            f"{twice.left_out.workbook}: job {twice.left_out.job_number} is counted once, "
            f"from {twice.counted.workbook}{differs}."
        )
    undated = [entry.workbook for entry in gone_in.jobs if entry.day is None]
    for name in undated:
        _say(f"{name}: the job has no date, so it is in the ledger, but in no month.")
    for job in jobs:
        for sentence in (job.failure, *job.doubts):
            if sentence:
                _say(sentence)
    failed = sum(bool(job.failure) for job in jobs)
    other = sum(bool(job.other_kind) for job in jobs)
    told = [f"{len(gone_in.jobs)} jobs in the ledger"]
    if gone_in.duplicates:
        told.append(f"{len(gone_in.duplicates)} saved twice")
    if other:
        told.append(f"{other} workbooks of another kind left out")
    if failed:
        told.append(f"{failed} workbooks could not be read")
    _say(", ".join(told) + ".")


def _as_json(jobs: Sequence[JobRead], gone_in: Ledger, written: Sequence[Path]) -> dict[str, object]:
    return {
        "written": [str(path) for path in written],
        "jobs": len(gone_in.jobs),
        "duplicates": [
            {
                "workbook": twice.left_out.workbook,
                "job": twice.left_out.job_number,
                "counted_from": twice.counted.workbook,
                "differs": list(twice.differs),
            }
            for twice in gone_in.duplicates
        ],
        "undated": [entry.workbook for entry in gone_in.jobs if entry.day is None],
        "other_kinds": {str(job.source): job.other_kind for job in jobs if job.other_kind},
        "failures": {str(job.source): job.failure for job in jobs if job.failure},
        "doubts": {str(job.source): list(job.doubts) for job in jobs if job.doubts},
    }


def _say(sentence: str) -> None:
    typer.echo(sentence, err=True)
