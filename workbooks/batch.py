"""Many saved workbooks to many reports: what is found, where results go, and one job at a time.

The steps are plain functions of their arguments, so that a pool of processes
can run them: `find` and `plan` decide, `produce` turns the bytes of one workbook
into the bytes of its report and of its refreshed copy, `run` reads and writes.
A source is opened for reading only; results are written whole or not at all.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from dampcell.functions.errors import DampcellError, WorkbookError
from dampcell.workbooks.audit import problems_of
from dampcell.workbooks.engine import recalculate_package
from dampcell.workbooks.files import sweep, write_bytes
from dampcell.workbooks.package import open_package, read_file, refreshed
from dampcell.workbooks.pages import Paper, render
from dampcell.workbooks.reading import read_record
from dampcell.workbooks.reports import report_page
from dampcell.workbooks.results import CellResult
from dampcell.workbooks.sources import SavedCells

__all__ = ["ENDINGS", "Found", "JobOutcome", "Product", "Task", "find", "plan", "produce", "run", "run_all"]

ENDINGS = (".xlsx", ".xlsm")
"""Endings of the files that a folder is searched for."""

REPORTS_FOLDER = "reports"
"""Name of the folder beside the sources into which results go."""

_REFRESHED = " refreshed"
_REPORT = " report.pdf"


@dataclass(frozen=True, slots=True)
class Found:
    """A workbook, and the folder below which its results keep their relative place."""

    source: Path
    root: Path


@dataclass(frozen=True, slots=True)
class Task:
    """One workbook and the files that are to be made from it."""

    source: Path
    report: Path
    copy: Path
    paper: Paper = "a4"


@dataclass(frozen=True, slots=True)
class JobOutcome:
    """What became of one workbook.

    Parameters
    ----------
    task : Task
        What was to be done.
    job_number : text
        Number of the job, when the workbook could be read.
    failure : text
        Sentence that says why nothing was made, or empty.
    problems : tuple of text
        Sentences of result cells that could not be computed; the report lists them.
    stale : tuple of CellResult
        Cells whose saved value differs from the recalculated one.
    """

    task: Task
    job_number: str = ""
    failure: str = ""
    problems: tuple[str, ...] = ()
    stale: tuple[CellResult, ...] = ()

    @property
    def done(self) -> bool:
        """Whether report and copy were written."""
        return not self.failure


@dataclass(frozen=True, slots=True)
class Product:
    """What is made from one workbook, still in memory: report and refreshed copy, and what they say."""

    report: bytes
    copy: bytes
    job_number: str
    problems: tuple[str, ...]
    stale: tuple[CellResult, ...]


def find(paths: Sequence[Path], *, skip: Path | None = None) -> list[Found]:
    """List the workbooks that are meant by files and folders.

    Parameters
    ----------
    paths : sequence of Path
        Files, taken as they are, and folders, searched to any depth.
    skip : Path, optional
        Folder that is left out of the search: the one the results go into.

    Returns
    -------
    list of Found
        Sorted within each folder; a file named twice stands once. Lock files,
        hidden files, earlier results and linked folders are left out.

    Raises
    ------
    WorkbookError
        If a path does not exist.
    """
    found: dict[Path, Found] = {}
    for path in paths:
        if path.is_dir():
            entries = [Found(file, path) for file in _below(path, skip)]
        elif path.exists():
            entries = [Found(path, path.parent)]
        else:
            raise WorkbookError(
                "there is no such file or folder",
                file=str(path),
                allowed="a workbook, or a folder of workbooks",
            )
        for entry in entries:
            found.setdefault(entry.source.resolve(), entry)
    return list(found.values())


def plan(found: Iterable[Found], *, out: Path | None = None, paper: Paper = "a4") -> list[Task]:
    """Decide where the results of each workbook go.

    Parameters
    ----------
    found : iterable of Found
        The workbooks.
    out : Path, optional
        Folder for all results; if left out, a folder ``reports`` beside the sources.
    paper : {"a4", "us-letter"}
        Paper of the reports.

    Returns
    -------
    list of Task
        No two tasks share a file, and none writes over a source.
    """
    tasks: list[Task] = []
    taken: set[str] = set()
    for entry in found:
        base = out if out is not None else entry.root / REPORTS_FOLDER
        folder = base / entry.source.parent.relative_to(entry.root)
        name = entry.source.stem
        # The same name with another ending, or from another folder into one: number the later ones.
        number = 1
        while str(folder / name).casefold() in taken:
            number += 1
            name = f"{entry.source.stem} ({number})"
        taken.add(str(folder / name).casefold())
        copy = folder / f"{name}{_REFRESHED}{entry.source.suffix or '.xlsx'}"
        tasks.append(Task(entry.source, folder / f"{name}{_REPORT}", copy, paper))
    return tasks


def produce(data: bytes, file: str, *, paper: Paper = "a4") -> Product:
    """Make report and refreshed copy of one workbook, in memory.

    Parameters
    ----------
    data : bytes
        The workbook.
    file : text
        Its name, for messages and for the footer of the report.
    paper : {"a4", "us-letter"}
        Paper of the report.

    Returns
    -------
    Product
        Equal arguments give equal bytes.

    Raises
    ------
    WorkbookError
        If the workbook cannot be used; the sentence names file, sheet and cell.
    """
    package = open_package(data, file)
    recalculated = recalculate_package(package)
    record = read_record(SavedCells(package, recalculated), file)
    page = report_page(record, recalculated, data)
    return Product(
        report=render(page, paper),
        copy=refreshed(package, recalculated),
        job_number=record.job.job_number,
        problems=tuple(map(str, problems_of(recalculated))),
        stale=recalculated.stale(),
    )


def run(task: Task) -> JobOutcome:
    """Make the report and the refreshed copy of one workbook, and write them.

    Parameters
    ----------
    task : Task
        Source and results.

    Returns
    -------
    JobOutcome
        With a sentence instead of results when the workbook cannot be used.
    """
    try:
        made = produce(read_file(task.source), task.source.name, paper=task.paper)
    except DampcellError as error:
        return JobOutcome(task, failure=str(error))
    try:
        task.report.parent.mkdir(parents=True, exist_ok=True)
        sweep(task.report.parent)
        # The copy first: a report that is there means that its copy is there too.
        write_bytes(task.copy, made.copy)
        write_bytes(task.report, made.report)
    except OSError as error:
        place = WorkbookError(
            f"the report cannot be written ({error.strerror or type(error).__name__})",
            file=task.source.name,
            found=str(task.report.parent),
            allowed="a folder that may be written to, with room on the disk (option --out)",
        )
        return JobOutcome(task, failure=str(place))
    return JobOutcome(task, made.job_number, problems=made.problems, stale=made.stale)


def run_all(tasks: Sequence[Task]) -> Iterator[JobOutcome]:
    """Run tasks one after the other; a bad workbook never stops the rest.

    Parameters
    ----------
    tasks : sequence of Task
        What to do.

    Yields
    ------
    JobOutcome
        In the order of the tasks, each as soon as it is done.
    """
    yield from map(run, tasks)


def _below(folder: Path, skip: Path | None) -> Iterator[Path]:
    left_out = skip.resolve() if skip is not None else None
    for at, folders, names in os.walk(folder, followlinks=False):
        here = Path(at)
        folders[:] = sorted(
            name
            for name in folders
            if name != REPORTS_FOLDER and not name.startswith(".") and (here / name).resolve() != left_out
        )
        for name in sorted(names):
            file = here / name
            if file.suffix.casefold() in ENDINGS and not _left_out(file):
                yield file


def _left_out(file: Path) -> bool:
    return file.name.startswith(("~$", ".")) or file.stem.endswith(_REFRESHED)
