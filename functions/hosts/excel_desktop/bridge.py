"""Between xlwings and the registry: what cells hold on the way in, what cells get on the way out."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from xlwings.conversion import Converter

import dampcell.functions.cells  # noqa: F401 - fills the registry
from dampcell import __version__
from dampcell.functions.errors import InputError
from dampcell.functions.registry import CellError, Outcome, evaluate

__all__ = ["ERROR_NUMBERS", "Cells", "answer", "check_version"]

# xlwings hands errors over as these texts, and COM as these numbers: 0x800A0000 and the number of the
# error in Excel's own list XlCVError.
ERROR_NUMBERS: Final[Mapping[str, int]] = {
    code: (0x800A0000 + number) - 2**32
    for code, number in {
        "#NULL!": 2000,
        "#DIV/0!": 2007,
        "#VALUE!": 2015,
        "#REF!": 2023,
        "#NAME?": 2029,
        "#NUM!": 2036,
        "#N/A": 2042,
    }.items()
}

# Excel counts days from here, for every date after February 1900.
_DAY_ZERO = datetime.datetime(1899, 12, 30)


class Cells(Converter):
    """How an argument is read and a result is written; every argument comes as rows of cells."""

    @classmethod
    def base_reader(cls, options: Any, base_type: Any = None) -> Any:
        """Read a range as rows, and errors as their texts."""
        chosen = {**options, "ndim": 2, "err_to_str": True}
        return super().base_reader(chosen, base_type)  # type: ignore[no-untyped-call]  # so it is in xlwings

    @classmethod
    def read_value(cls, value: list[list[object]], options: object) -> list[list[object]]:
        """Turn what xlwings read into raw cell values."""
        return [[_cell(cell) for cell in row] for row in value]

    @classmethod
    def write_value(cls, value: Outcome, options: object) -> list[list[object]]:
        """Turn what the registry gave into what Excel gets."""
        rows = value.value if isinstance(value.value, list) else [[value.value]]
        return [[_excel(cell) for cell in row] for row in rows]


def answer(name: str, *arguments: object) -> Outcome:
    """Call a cell function for a cell of Excel.

    Parameters
    ----------
    name : text
        Name in the registry.
    *arguments : list of rows, or None
        As `Cells` read them; None where an argument was left out.

    Returns
    -------
    Outcome
        The value or the error.
    """
    return evaluate(name, arguments)


def check_version(version: str) -> None:
    """Refuse a module that was written for another version of Dampcell.

    Parameters
    ----------
    version : text
        Version in the module.

    Raises
    ------
    InputError
        If it is not the installed one.
    """
    if version != __version__:
        raise InputError(
            f"these functions were written for Dampcell {version}, and installed is {__version__}",
            allowed='running "dampcell connect excel-desktop" again, then Import Functions in Excel',
        )


def _cell(cell: object) -> object:
    if isinstance(cell, str) and cell in ERROR_NUMBERS:
        return CellError(cell)
    if isinstance(cell, Decimal):
        # So cells come that are formatted as money.
        return float(cell)
    if isinstance(cell, datetime.datetime):
        # Elsewhere a date is the number that the cell holds, so it is here.
        return (cell.replace(tzinfo=None) - _DAY_ZERO) / datetime.timedelta(days=1)
    return cell


def _excel(cell: object) -> object:
    if not isinstance(cell, CellError):
        return cell
    # Part of pywin32, which xlwings needs on Windows, and which exists nowhere else.
    import pythoncom  # type: ignore[import-untyped]  # it has no types
    from win32com.client import VARIANT  # type: ignore[import-untyped]  # nor has this

    # The type makes it an error value, so nothing takes it for a number or a text. pywin32 as it is today
    # sends a number of its own in place of ours (oleargs.cpp, case VT_ERROR), which should show as #VALUE!
    # whatever the code is; ours is there for a pywin32 that sends it.
    return VARIANT(pythoncom.VT_ERROR, ERROR_NUMBERS.get(cell.code, ERROR_NUMBERS["#VALUE!"]))
