"""Cells of a saved workbook, as reading wants them, behind one interface.

The spreadsheet library and its exceptions stay in this module.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Mapping, Sequence

import openpyxl
from openpyxl.workbook import Workbook

from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import CellError
from dampcell.workbooks.results import Recalculated
from dampcell.workbooks.sheets import address

__all__ = ["SavedCells"]


class SavedCells:
    """A workbook as it was saved, with recalculated values over the saved ones where there are any.

    Parameters
    ----------
    data : bytes
        The workbook.
    file : text
        Its name, for messages.
    recalculated : Recalculated, optional
        Results that stand for the saved values of formula cells.

    Raises
    ------
    WorkbookError
        If it cannot be read.
    """

    def __init__(self, data: bytes, file: str, recalculated: Recalculated | None = None) -> None:
        self._recalculated = recalculated
        self._workbook = _opened(data, file)

    @property
    def sheet_names(self) -> Sequence[str]:
        """Names of the sheets, in order."""
        return self._workbook.sheetnames

    @property
    def defined_names(self) -> Mapping[str, str]:
        """Workbook-level names and what they refer to."""
        return {name: defined.attr_text or "" for name, defined in self._workbook.defined_names.items()}

    @property
    def date1904(self) -> bool:
        """Whether dates count from 1904; openpyxl has turned them into dates already."""
        return False

    def block(self, sheet: str, top: int, left: int, bottom: int, right: int) -> list[list[object]]:
        """Values of a rectangle; see `dampcell.workbooks.record.CellSource`."""
        rows = self._workbook[sheet].iter_rows(min_row=top, max_row=bottom, min_col=left, max_col=right)
        return [
            [
                self._value(sheet, row, column, cell.value, cell.data_type)
                for column, cell in enumerate(cells, start=left)
            ]
            for row, cells in enumerate(rows, start=top)
        ]

    def _value(self, sheet: str, row: int, column: int, saved: object, kind: str) -> object:
        if self._recalculated is not None:
            result = self._recalculated.cells.get((sheet, address(row, column)))
            if result is not None:
                return result.value
        if kind == "e":
            return CellError(str(saved))
        return float(saved) if isinstance(saved, int) and not isinstance(saved, bool) else saved


def _opened(data: bytes, file: str) -> Workbook:
    try:
        with warnings.catch_warnings():
            # What openpyxl cannot keep (extensions, header pictures) does not matter for reading.
            warnings.simplefilter("ignore")
            return openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    except Exception as error:  # damaged files made openpyxl raise ten different classes
        raise WorkbookError(
            f"cannot be read as a workbook ({type(error).__name__})",
            file=file,
            allowed="a workbook saved as .xlsx or .xlsm without a password; "
            "open it in your spreadsheet program and save it again",
        ) from None
