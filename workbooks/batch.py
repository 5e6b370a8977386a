"""Many saved workbooks to many reports: what is found, where results go, and what has to be made.

A source is opened for reading only; results are written whole or not at all. The
work itself is handed out (workbooks/pool.py, workbooks/cluster.py); all files are
read and written here, by one process, so that a worker that dies harms none of them.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks.files import claimed, printable, sweep, write_bytes
from dampcell.workbooks.package import read_file
from dampcell.workbooks.pages import Paper
from dampcell.workbooks.producing import Job, Product, Refusal, attempt
from dampcell.workbooks.results import Difference
from dampcell.workbooks.stamps import HOME, Stamp, Versions, digest, read_stamp, versions

__all__ = [
    "ENDINGS",
    "REPORTS_FOLDER",
    "Found",
    "HandOut",
    "JobOutcome",
    "Task",
    "find",
    "hand_out_here",
    "is_job_name",
    "plan",
    "run_all",
    "settled",
]

ENDINGS = (".xlsx", ".xlsm")
"""Endings of the files that a folder is searched for."""

REPORTS_FOLDER = "reports"
"""Name of the folder beside the sources into which results go."""

_REFRESHED = " refreshed"
_REPORT = " report.pdf"
_LONGEST_NAME = 255  # bytes of a file name, on all usual file systems


@dataclass(frozen=True, slots=True)
class Found:
    """A workbook, and the folder below which its results keep their relative place."""

    source: Path
    root: Path


@dataclass(frozen=True, slots=True)
class Task:
    """One workbook and the files that are to be made from it; the stamp says what they were made of.

    ``base`` is the folder of all results of the run.
    """

    source: Path
    base: Path
    report: Path
    copy: Path
    stamp: Path
    paper: Paper = "a4"
    while_open: bool = False


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
        Sentence that says why there is no report, or empty.
    problems : tuple of text
        Sentences of result cells that could not be computed; the report lists them.
    stale : tuple of Difference
        Cells whose saved value differs from the recalculated one.
    changed : tuple of Difference
        Cells whose result the report before this one gave otherwise, of the same workbook:
        the functions have changed.
    other_kind : text
        Kind of template if the workbook is no job and so has no report, such as ``oil_shelf``.
    made : bool
        Whether anything was done now; False when the results were up to date.
    """

    task: Task
    job_number: str = ""
    failure: str = ""
    problems: tuple[str, ...] = ()
    stale: tuple[Difference, ...] = ()
    changed: tuple[Difference, ...] = ()
    other_kind: str = ""
    made: bool = True

    @property
    def done(self) -> bool:
        """Whether report and copy are there."""
        return not self.failure and not self.other_kind


HandOut = Callable[[Iterable[Job]], Iterator[tuple[int, Product | Refusal]]]
"""Does jobs in any order, here or elsewhere, and gives the result of each with its place among them."""


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
        hidden files, earlier results and linked folders are left out. Folders that
        cannot be searched stand there in place of their workbooks.

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
            # Not Path.resolve, which gives up on a link that leads to itself.
            found.setdefault(Path(os.path.realpath(entry.source)), entry)
    return list(found.values())


def is_job_name(name: str) -> bool:
    """Whether a file may be a job by its name: no lock file, hidden file, or result of ours."""
    stem, ending = os.path.splitext(name)
    return ending.casefold() in ENDINGS and not name.startswith(("~$", ".")) and not stem.endswith(_REFRESHED)


def plan(
    found: Iterable[Found], *, out: Path | None = None, paper: Paper = "a4", while_open: bool = False
) -> list[Task]:
    """Decide where the results of each workbook go.

    Parameters
    ----------
    found : iterable of Found
        The workbooks.
    out : Path, optional
        Folder for all results; if left out, a folder ``reports`` beside the sources.
    paper : {"a4", "us-letter"}
        Paper of the reports.
    while_open : bool
        Whether a workbook may be read while another program holds it open.

    Returns
    -------
    list of Task
        No two tasks share a file, and none writes over a source.
    """
    tasks: list[Task] = []
    taken: set[str] = set()
    numbered = len(" (1000)")
    for entry in found:
        base = out if out is not None else entry.root / REPORTS_FOLDER
        folder = base / entry.source.parent.relative_to(entry.root)
        longest = max(_REPORT, f"{_REFRESHED}{entry.source.suffix or '.xlsx'}", key=len)
        stem = _cut(entry.source.stem, _LONGEST_NAME - numbered - len(os.fsencode(longest)))
        name = stem
        # The same name with another ending, or from another folder into one: number the later ones.
        number = 1
        while str(folder / name).casefold() in taken:
            number += 1
            name = f"{stem} ({number})"
        taken.add(str(folder / name).casefold())
        copy = folder / f"{name}{_REFRESHED}{entry.source.suffix or '.xlsx'}"
        stamp = folder / HOME / f"{name}.json"
        tasks.append(Task(entry.source, base, folder / f"{name}{_REPORT}", copy, stamp, paper, while_open))
    return tasks


def settled(task: Task, *, now: Versions) -> JobOutcome | None:
    """Tell the outcome of a task whose results are up to date.

    Parameters
    ----------
    task : Task
        Source and results.
    now : Versions
        What results would be made with.

    Returns
    -------
    JobOutcome or None
        None when there is something to be made: the workbook, the functions, the layout or
        the paper is another one, a result is missing, or the last try failed for a reason
        that may have passed.
    """
    stamp = read_stamp(task.stamp)
    if stamp is None or stamp.made_with != now or stamp.paper != task.paper or not stamp.lasting:
        return None
    try:
        if digest(read_file(task.source, while_open=task.while_open)) != stamp.source:
            return None
        there = (
            stamp.failure
            or stamp.other_kind
            or (
                task.report.stat().st_size == stamp.report_size
                and task.copy.stat().st_size == stamp.copy_size
            )
        )
    except (WorkbookError, OSError):
        return None
    return _told(task, stamp, made=False) if there else None


def run_all(
    tasks: Sequence[Task], hand_out: HandOut, *, again: bool = False, now: Versions | None = None
) -> Iterator[JobOutcome]:
    """Bring the results of all tasks up to date; a bad workbook never stops the rest.

    Parameters
    ----------
    tasks : sequence of Task
        What to do.
    hand_out : callable
        Who does the work.
    again : bool
        Whether to make what is up to date, too.
    now : Versions, optional
        What results are made with; that of this installation if left out.

    Yields
    ------
    JobOutcome
        What is up to date first, then each as soon as it is done. Interrupted anywhere, what was
        yielded is on the disk, and the next run makes the rest.

    Raises
    ------
    WorkbookError
        If another run is making reports in the same folder.
    """
    with _claimed(tasks):
        yield from _run(tasks, hand_out, again, now or versions())


@contextlib.contextmanager
def _claimed(tasks: Sequence[Task]) -> Iterator[None]:
    """Keep other runs out of the folders of results, and clear away what an interrupted one left there."""
    with contextlib.ExitStack() as claims:
        for base in dict.fromkeys(task.base for task in tasks):
            # Where nothing can be written, each task says so.
            with contextlib.suppress(OSError):
                claims.enter_context(claimed(base / HOME))
        for folder in dict.fromkeys(task.stamp.parent for task in tasks):
            sweep(folder, older_than=0)
            sweep(folder.parent, older_than=0)
        yield


def _run(tasks: Sequence[Task], hand_out: HandOut, again: bool, using: Versions) -> Iterator[JobOutcome]:
    waiting: list[Task] = []
    for task in tasks:
        outcome = None if again else settled(task, now=using)
        if outcome is None:
            waiting.append(task)
        else:
            yield outcome
    handed: list[tuple[Task, str]] = []
    refused: list[JobOutcome] = []

    def jobs() -> Iterator[Job]:
        for task in waiting:
            try:
                data = read_file(task.source, while_open=task.while_open)
            except WorkbookError as error:
                refused.append(_recorded(task, Stamp("", using, failure=str(error), lasting=False)))
                continue
            source = digest(data)
            handed.append((task, source))
            yield Job(data, printable(task.source.name), task.paper, _previous(task, source, using))

    for place, made in hand_out(jobs()):
        yield from _drained(refused)
        task, source = handed[place]
        if isinstance(made, Refusal):
            stamp = Stamp(
                source,
                using,
                task.paper,
                failure=made.sentence,
                lasting=made.lasting,
                other_kind=made.other_kind,
            )
            yield _recorded(task, stamp)
        else:
            yield _written(task, source, using, made)
    yield from _drained(refused)


def hand_out_here(jobs: Iterable[Job]) -> Iterator[tuple[int, Product | Refusal]]:
    """Do jobs in this process, one after the other, without limits."""
    for place, job in enumerate(jobs):
        yield place, attempt(job)


def _written(task: Task, source: str, using: Versions, made: Product) -> JobOutcome:
    stamp = Stamp(
        source,
        using,
        task.paper,
        report_size=len(made.report),
        copy_size=len(made.copy),
        copy_digest=digest(made.copy),
        job_number=made.job_number,
        problems=made.problems,
        stale=made.stale,
        changed=made.changed,
    )
    try:
        task.stamp.parent.mkdir(parents=True, exist_ok=True)
        # In this order: a stamp that is there means that the report is, and a report that its copy is.
        write_bytes(task.copy, made.copy)
        write_bytes(task.report, made.report)
        write_bytes(task.stamp, stamp.as_bytes())
    except OSError as error:
        return JobOutcome(task, failure=_unwritten(task, error))
    return _told(task, stamp, made=True)


def _recorded(task: Task, stamp: Stamp) -> JobOutcome:
    """Note a failure; what an earlier run made of the workbook stays."""
    try:
        task.stamp.parent.mkdir(parents=True, exist_ok=True)
        write_bytes(task.stamp, stamp.as_bytes())
    except OSError as error:
        return JobOutcome(
            task, failure=f"{stamp.failure} Nor is there a place to note that: {_unwritten(task, error)}"
        )
    return _told(task, stamp, made=True)


def _unwritten(task: Task, error: OSError) -> str:
    return str(
        WorkbookError(
            f"the report cannot be written ({error.strerror or type(error).__name__})",
            file=task.source.name,
            found=str(task.report.parent),
            allowed="a folder that may be written to, with room on the disk (option --out)",
        )
    )


def _previous(task: Task, source: str, using: Versions) -> bytes | None:
    """The copy that other functions made of this same workbook, to tell which results they changed."""
    stamp = read_stamp(task.stamp)
    if stamp is None or stamp.source != source or stamp.made_with.functions == using.functions:
        return None
    try:
        copy = task.copy.read_bytes()
    except OSError:
        return None
    return copy if digest(copy) == stamp.copy_digest else None


def _told(task: Task, stamp: Stamp, *, made: bool) -> JobOutcome:
    return JobOutcome(
        task,
        stamp.job_number,
        stamp.failure,
        stamp.problems,
        stamp.stale,
        stamp.changed,
        stamp.other_kind,
        made,
    )


def _cut(name: str, most: int) -> str:
    """Cut a name to a number of bytes, not within a character."""
    while len(os.fsencode(name)) > most:
        name = name[:-1]
    return name


def _drained(outcomes: list[JobOutcome]) -> Iterator[JobOutcome]:
    while outcomes:
        yield outcomes.pop(0)


def _below(folder: Path, skip: Path | None) -> Iterator[Path]:
    left_out = os.path.realpath(skip) if skip is not None else None
    unread: list[OSError] = []
    for at, folders, names in os.walk(folder, onerror=unread.append, followlinks=False):
        here = Path(at)
        folders[:] = sorted(
            name
            for name in folders
            if name != REPORTS_FOLDER
            and not name.startswith(".")
            and os.path.realpath(here / name) != left_out
        )
        for name in sorted(names):
            if is_job_name(name):
                yield here / name
    # Nobody knows what lies in a folder that may not be read: it is told like a workbook that may not.
    yield from (Path(error.filename) for error in unread)
