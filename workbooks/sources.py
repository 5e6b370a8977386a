"""Cells of a saved workbook, as reading wants them, behind one interface.

The library that reads the cells and its exceptions stay in this module.
"""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TypeVar

import python_calamine

from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import CellError
from dampcell.workbooks.package import Package
from dampcell.workbooks.results import Recalculated
from dampcell.workbooks.sheets import address

__all__ = ["SavedCells"]

_Result = TypeVar("_Result")

_MOST_CELLS = 4_000_000
"""Cells from A1 to the last one with content, over which a sheet is not read [-]."""

_LARGEST_BLOCK = 500_000
"""Cells over which a rectangle is not handed over, such as that of a name for whole columns [-]."""


class SavedCells:
    """A workbook as it was saved, with recalculated values over the saved ones where there are any.

    Parameters
    ----------
    package : Package
        The workbook.
    recalculated : Recalculated, optional
        Results that stand for the saved values of formula cells.

    Raises
    ------
    WorkbookError
        If it cannot be read.
    """

    def __init__(self, package: Package, recalculated: Recalculated | None = None) -> None:
        self._package = package
        self._recalculated = recalculated
        self._sheets = {sheet.name: sheet for sheet in package.sheets}
        self._rows: dict[str, list[list[object]]] = {}
        # The library believes what a package says of the size of its parts; packed anew, it is true.
        data = io.BytesIO(package.rewritten({}, compressed=False))
        self._workbook = self._guarded(lambda: python_calamine.CalamineWorkbook.from_filelike(data))

    @property
    def sheet_names(self) -> Sequence[str]:
        """Names of the sheets, in order."""
        return tuple(self._sheets)

    @property
    def defined_names(self) -> Mapping[str, str]:
        """Workbook-level names and what they refer to."""
        return self._package.public_names

    @property
    def date1904(self) -> bool:
        """Whether numbers in date fields count from 1904; cells with a date format are dates already."""
        return self._package.date1904

    def block(self, sheet: str, top: int, left: int, bottom: int, right: int) -> list[list[object]]:
        """Values of a rectangle; see `dampcell.workbooks.record.CellSource`.

        Raises
        ------
        WorkbookError
            If the rectangle or the sheet is too large.
        """
        if (bottom - top + 1) * (right - left + 1) > _LARGEST_BLOCK:
            raise WorkbookError(
                "a cell name takes in far more cells than its table can have",
                file=self._package.file,
                sheet=sheet,
                cell=f"{address(top, left)}:{address(bottom, right)}",
                allowed=f"up to {_LARGEST_BLOCK:,} cells; let the name cover its table only",
            )
        rows = self._sheet(sheet)
        errors = self._package.scan(self._sheets[sheet]).errors
        return [
            [self._value(sheet, row, column, rows, errors) for column in range(left, right + 1)]
            for row in range(top, bottom + 1)
        ]

    def _value(
        self,
        sheet: str,
        row: int,
        column: int,
        rows: Sequence[Sequence[object]],
        errors: Mapping[tuple[int, int], str],
    ) -> object:
        if self._recalculated is not None:
            result = self._recalculated.cells.get((sheet, address(row, column)))
            if result is not None:
                return result.value
        if (row, column) in errors:
            return CellError(errors[row, column])
        cells = rows[row - 1] if row <= len(rows) else ()
        value = cells[column - 1] if column <= len(cells) else None
        return None if value == "" else value

    def _sheet(self, name: str) -> list[list[object]]:
        if name not in self._rows:
            last_row, last_column = self._package.scan(self._sheets[name]).extent
            if last_row * last_column > _MOST_CELLS:
                # The library lays out the whole rectangle in memory.
                raise WorkbookError(
                    "holds something so far out that the sheet is too large to read",
                    file=self._package.file,
                    sheet=name,
                    cell=address(last_row, last_column),
                    allowed=f"up to {_MOST_CELLS:,} cells in the rectangle from A1; clear what lies far out",
                )
            rows = self._guarded(lambda: self._workbook.get_sheet_by_name(name).to_python(False))
            self._rows[name] = list(map(list, rows))
        return self._rows[name]

    def _guarded(self, step: Callable[[], _Result]) -> _Result:
        """Let no error of the library out, whatever its class (its panics are no ordinary exceptions)."""
        try:
            with _hushed():
                return step()
        except (KeyboardInterrupt, SystemExit, MemoryError):
            raise
        except BaseException as error:
            raise WorkbookError(
                f"cannot be read as a workbook ({type(error).__name__})",
                file=self._package.file,
                allowed="a workbook saved as .xlsx or .xlsm without a password; "
                "open it in your spreadsheet program and save it again",
            ) from None


@contextlib.contextmanager
def _hushed() -> Iterator[None]:
    """Keep what the library says when it gives up, for programmers, from the eyes of a workshop."""
    try:
        kept = os.dup(2)
    except OSError:  # a program without a console
        yield
        return
    try:
        with open(os.devnull, "w") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
