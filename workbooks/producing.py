"""From the bytes of one workbook to the bytes of its report and of its refreshed copy.

Nothing is read from or written to the disk here, so that the work can be done in
any process, on this machine or on another one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from dampcell.functions.errors import DampcellError, WorkbookError
from dampcell.workbooks.audit import differences, problems_of
from dampcell.workbooks.engine import recalculate_package
from dampcell.workbooks.kinds import JOB, kind_of
from dampcell.workbooks.package import open_package, refreshed
from dampcell.workbooks.pages import Paper, render
from dampcell.workbooks.reading import read_record
from dampcell.workbooks.reports import report_page
from dampcell.workbooks.results import CellResult, Difference, Recalculated
from dampcell.workbooks.sources import SavedCells

__all__ = ["Job", "Product", "Refusal", "attempt", "produce"]


@dataclass(frozen=True, slots=True)
class Job:
    """What is to be made a report of.

    Parameters
    ----------
    data : bytes
        The workbook.
    file : text
        Its name, for messages and for the footer of the report.
    paper : {"a4", "us-letter"}
        Paper of the report.
    previous : bytes, optional
        Refreshed copy that other versions of the functions made of the same workbook.
    """

    data: bytes = field(repr=False)
    file: str
    paper: Paper = "a4"
    previous: bytes | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class Product:
    """What is made from one workbook, still in memory.

    Parameters
    ----------
    report, copy : bytes
        The PDF, and the workbook with refreshed values.
    job_number : text
        Number of the job.
    problems : tuple of text
        Sentences of result cells that could not be computed.
    stale : tuple of Difference
        Cells whose saved value differs from the recalculated one.
    changed : tuple of Difference
        Cells whose result was another one in the previous copy.
    """

    report: bytes = field(repr=False)
    copy: bytes = field(repr=False)
    job_number: str
    problems: tuple[str, ...]
    stale: tuple[Difference, ...]
    changed: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why nothing was made of a workbook.

    Parameters
    ----------
    sentence : text
        What to mend, and where; empty for a workbook that is no job.
    lasting : bool
        Whether the same workbook would be refused again; False where only the circumstances were wrong.
    other_kind : text
        Kind of template if it is no job, such as ``oil_shelf``, or empty.
    """

    sentence: str
    lasting: bool = True
    other_kind: str = ""


def produce(job: Job) -> Product | Refusal:
    """Make report and refreshed copy of one workbook, in memory.

    Parameters
    ----------
    job : Job
        The workbook.

    Returns
    -------
    Product or Refusal
        A refusal if it was made from the template of something else than a job. Equal arguments
        give equal bytes.

    Raises
    ------
    WorkbookError
        If the workbook cannot be used; the sentence names file, sheet and cell.
    """
    package = open_package(job.data, job.file)
    kind = kind_of(package.public_names)
    if kind not in (None, JOB):
        return Refusal("", other_kind=kind or "")
    recalculated = recalculate_package(package)
    record = read_record(SavedCells(package, recalculated), job.file)
    page = report_page(record, recalculated, job.data)
    return Product(
        report=render(page, job.paper),
        copy=refreshed(package, recalculated),
        job_number=record.job.job_number,
        problems=tuple(map(str, problems_of(recalculated))),
        stale=differences(recalculated.stale()),
        changed=() if job.previous is None else _changed(job.previous, job.file, recalculated),
    )


def attempt(job: Job) -> Product | Refusal:
    """Make report and copy, or say why that cannot be done.

    Parameters
    ----------
    job : Job
        The workbook.

    Returns
    -------
    Product or Refusal
    """
    try:
        return produce(job)
    except DampcellError as error:
        return Refusal(str(error))
    except MemoryError:
        told = WorkbookError(
            "needs more memory than a worker may take",
            file=job.file,
            allowed="a smaller workbook, or a higher limit (option --memory)",
        )
        return Refusal(str(told), lasting=False)
    except Exception as error:
        # A fault of ours in one workbook must not stop the others, nor pass unseen.
        told = WorkbookError(
            f"no report could be made ({type(error).__name__}: {error}); this is a fault in Dampcell",
            file=job.file,
        )
        return Refusal(str(told))


def _changed(previous: bytes, file: str, recalculated: Recalculated) -> tuple[Difference, ...]:
    """Results that were others in a copy which an earlier version of the functions refreshed."""
    package = open_package(previous, file)
    before = {
        (sheet.name, cell.address): package.saved(cell)
        for sheet in package.sheets
        for cell in package.scan(sheet).cells
    }
    then = (
        CellResult(result.sheet, result.cell, result.formula, result.value, before.get(place))
        for place, result in recalculated.cells.items()
    )
    return differences(result for result in then if result.stale)
