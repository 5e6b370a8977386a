"""The audit of a job workbook: cells that could not be computed, and saved values that are stale."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dampcell.functions.registry import CellError
from dampcell.workbooks import pages
from dampcell.workbooks.pages import Block
from dampcell.workbooks.results import CellResult, CellValue, Difference, Finding, Recalculated

__all__ = ["audit_blocks", "cell_text", "differences", "problems_of"]

_MOST_STALE = 40
_MOST_CELLS = 6


def audit_blocks(recalculated: Recalculated) -> list[Block]:
    """List what could not be computed, and where saved values differ from the recalculated ones.

    Parameters
    ----------
    recalculated : Recalculated
        All formula cells.

    Returns
    -------
    list of Block
        Empty when there is nothing to tell.
    """
    blocks: list[Block] = []
    problems = problems_of(recalculated)
    if problems:
        blocks += [
            pages.heading("What could not be computed"),
            pages.table(
                [("Sheet", ""), ("Cell", ""), ("Reason", "")],
                [[one.sheet, one.cell, one.problem] for one in problems],
                texts=(0, 1, 2),
                fill=(2,),
            ),
        ]
    stale = recalculated.stale()
    if stale:
        shown = stale[:_MOST_STALE]
        more = len(stale) - len(shown)
        blocks += [
            pages.heading("Saved values that differ"),
            pages.text(
                "These cells held another value when the workbook was saved than its inputs give now. "
                "The report and the refreshed copy of the workbook hold the new values."
            ),
            pages.table(
                [("Sheet", ""), ("Cell", ""), ("Saved", ""), ("Recalculated", "")],
                [[one.sheet, one.cell, one.before, one.now] for one in differences(shown)],
                texts=(0, 1),
                fill=(),
                note=f'And {more} more cells; "dampcell report --json" lists all.' if more else "",
            ),
        ]
    return blocks


def problems_of(recalculated: Recalculated) -> tuple[Finding, ...]:
    """Gather what could not be computed: one finding for each reason on a sheet, with all its cells.

    Parameters
    ----------
    recalculated : Recalculated
        All formula cells.

    Returns
    -------
    tuple of Finding
        Reasons in the order of their first cells; of many cells the first few are named.
    """
    places: dict[tuple[str, str], dict[str, None]] = {}
    for one in (*recalculated.findings, *recalculated.errors()):
        places.setdefault((one.sheet, one.problem), {})[one.cell] = None
    return tuple(
        Finding(recalculated.file, sheet, _few(list(cells)), problem)
        for (sheet, problem), cells in places.items()
    )


def differences(cells: Iterable[CellResult]) -> tuple[Difference, ...]:
    """Write the saved and the recalculated value of cells as texts, see `cell_text`."""
    return tuple(
        Difference(cell.sheet, cell.cell, cell_text(cell.saved), cell_text(cell.value)) for cell in cells
    )


def _few(cells: Sequence[str]) -> str:
    more = len(cells) - _MOST_CELLS
    return ", ".join(cells[:_MOST_CELLS]) + (f" and {more} more" if more > 0 else "")


def cell_text(value: CellValue) -> str:
    """Write a cell value for the audit: an error as its code, a number with all digits that differ."""
    if value is None:
        return ""
    if isinstance(value, CellError):
        return value.code
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return f"{value:.10g}".replace("-", "−")
    return value if len(value) <= 60 else value[:59] + "…"
