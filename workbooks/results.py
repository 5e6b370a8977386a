"""What a recalculation gives: one typed result per formula cell, and findings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import CellError

__all__ = ["CellResult", "CellValue", "Difference", "Finding", "Recalculated"]

CellValue = float | str | bool | CellError | None
"""A number, a text, a truth value, an error value with its sentence, or None for an empty cell."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something in a workbook that the user has to know, with its place.

    Parameters
    ----------
    file, sheet, cell : text
        Where.
    problem : text
        What is wrong and what to do, in plain words, without a full stop.
    """

    file: str
    sheet: str
    cell: str
    problem: str

    def __str__(self) -> str:
        return str(WorkbookError(self.problem, file=self.file, sheet=self.sheet, cell=self.cell))


@dataclass(frozen=True, slots=True)
class Difference:
    """A result cell that held another value before, both as texts."""

    sheet: str
    cell: str
    before: str
    now: str


@dataclass(frozen=True, slots=True)
class CellResult:
    """One cell that holds a formula, or lies in the area of an array formula.

    Parameters
    ----------
    sheet, cell : text
        Sheet name, and address such as ``C7``.
    formula : text
        Formula as it is saved, without its equals sign; empty in the further
        cells of an array formula and of a shared formula.
    value : number, text, bool, CellError or None
        Recalculated value; an error carries the sentence that says what to mend.
    saved : number, text, bool, CellError or None
        Value that was saved in the workbook; None if there was none.
    notes : tuple of text
        Notes that belong to the value, such as a limit passed.
    """

    sheet: str
    cell: str
    formula: str
    value: CellValue
    saved: CellValue
    notes: tuple[str, ...] = ()

    @property
    def stale(self) -> bool:
        """Whether the saved value differs from the recalculated one.

        Numbers count as equal within 1e-9, because two programs may round the
        last digits of their own functions differently. A cell that was saved
        without a value is not stale, it was never calculated.
        """
        if self.saved is None:
            return False
        if isinstance(self.saved, CellError) and isinstance(self.value, CellError):
            return self.saved.code != self.value.code
        if _is_number(self.saved) and _is_number(self.value):
            assert isinstance(self.saved, float)
            assert isinstance(self.value, float)
            return not math.isclose(self.saved, self.value, rel_tol=1e-9, abs_tol=1e-12)
        return self.saved != (self.value if self.value is not None else "")


@dataclass(frozen=True, slots=True)
class Recalculated:
    """All recalculated cells of one workbook.

    Parameters
    ----------
    file : text
        Name of the workbook, for messages.
    cells : mapping
        Results by sheet name and cell address, in the order of the workbook.
    findings : tuple of Finding
        What could not be computed, and why.
    """

    file: str
    cells: Mapping[tuple[str, str], CellResult]
    findings: tuple[Finding, ...] = ()

    def value(self, sheet: str, cell: str) -> CellValue:
        """Return the value of a formula cell; None where there is no formula."""
        result = self.cells.get((sheet, cell.replace("$", "").upper()))
        return None if result is None else result.value

    def errors(self) -> tuple[Finding, ...]:
        """List every cell that shows an error value, with its sentence."""
        return tuple(
            Finding(
                self.file,
                result.sheet,
                result.cell,
                f"{result.value.code} {result.value.message}".strip(" ."),
            )
            for result in self.cells.values()
            if isinstance(result.value, CellError)
        )

    def stale(self) -> tuple[CellResult, ...]:
        """List the cells whose saved value differs from the recalculated one."""
        return tuple(result for result in self.cells.values() if result.stale)


def _is_number(value: CellValue) -> bool:
    return isinstance(value, float) and not isinstance(value, bool)
