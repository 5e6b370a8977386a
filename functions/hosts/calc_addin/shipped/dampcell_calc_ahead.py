"""Look ahead in the workbook: calls that are about to come are asked for together.

Calc hands over one call at a time and waits for it, so ten thousand cells would
be ten thousand requests. After a few calls that were not known, this module
reads the formulas of the workbook, puts in the constants they refer to, and has
their values fetched in a few large requests. It never decides what a cell shows:
a call that was guessed wrongly is only one that nobody makes.

It runs inside LibreOffice: standard library only, nothing newer than Python 3.8.
"""

from __future__ import annotations

import re
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import Any

    Call = tuple[str, list[Any]]

__all__ = ["Ahead", "Constants", "calls_in"]

FIRST_LOOK = 8
"""Unknown calls after which the workbook is read."""
LONGEST_WAIT = 4096
"""If reading was in vain, twice as many calls have to come before the next, up to this."""
MOST_CELLS = 200_000
"""Sheets with more formulas or constants than this are left alone; reading them would take too long."""

# Kinds of cells, as LibreOffice numbers them: numbers, dates and texts; formulas.
_CONSTANTS, _FORMULAS = 1 | 2 | 4, 16

_NUMBER = r"-?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?"
_TEXT = r'"(?:[^"]|"")*"'
_PLACE = r"\$?[A-Z]{1,3}\$?\d{1,7}"
_REFERENCE = rf"(?:\$?(?:\w+|'(?:[^']|'')*')\.)?{_PLACE}(?::{_PLACE})?"
_ARGUMENT = re.compile(
    rf"\s*(?:(?P<number>{_NUMBER})|(?P<text>{_TEXT})|(?P<reference>{_REFERENCE})|)\s*(?=;|$)"
)
_ANY_ARGUMENT = rf"\s*(?:{_NUMBER}|{_TEXT}|{_REFERENCE}|)\s*"
_CORNER = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7})")


class Constants:
    """The cells of one sheet that hold a number or a text, and the places of its formulas.

    Parameters
    ----------
    blocks : list of (first column, first row, rows)
        Constants, counted from 0.
    formulas : list of (first column, first row, last column, last row)
        Areas with formulas.
    """

    def __init__(
        self,
        blocks: list[tuple[int, int, Any]],
        formulas: list[tuple[int, int, int, int]],
    ) -> None:
        self._cells = {
            (left + x, top + y): cell
            for left, top, rows in blocks
            for y, row in enumerate(rows)
            for x, cell in enumerate(row)
        }
        self._formulas = formulas

    def value(self, area: str) -> object:
        """Give what Calc would hand over for a reference, or raise LookupError if a formula is in it.

        Parameters
        ----------
        area : text
            A cell or range, without a sheet.

        Returns
        -------
        object
            A blank single cell is 0; a range is a tuple of rows, with empty texts for blanks.
        """
        first, _, last = area.partition(":")
        left, top = _corner(first)
        right, bottom = _corner(last or first)
        if (right - left + 1) * (bottom - top + 1) > MOST_CELLS or right < left or bottom < top:
            raise LookupError(area)
        for x, y, x_end, y_end in self._formulas:
            if x <= right and left <= x_end and y <= bottom and top <= y_end:
                raise LookupError(area)
        if not last:
            return self._cells.get((left, top), 0.0)
        return tuple(
            tuple(self._cells.get((x, y), "") for x in range(left, right + 1)) for y in range(top, bottom + 1)
        )


def calls_in(
    formula: str, pattern: re.Pattern[str], value: Callable[[str, str], object]
) -> Iterator[tuple[str, list[object]]]:
    """Find the calls in a formula whose arguments are constants, or refer to them.

    Parameters
    ----------
    formula : text
        As LibreOffice's programming interface gives it.
    pattern : re.Pattern
        From `Ahead`; finds calls with plain arguments.
    value : callable
        Gives the value of a reference, from sheet (or empty) and area; LookupError if it is not known.

    Yields
    ------
    (text, list)
        Function and raw arguments.
    """
    for found in pattern.finditer(formula):
        try:
            yield found[1].upper(), _arguments(found[2], value)
        except LookupError:
            continue


class Ahead:
    """Decides when to look ahead, and does it.

    Parameters
    ----------
    namespace : text
        What all our functions begin with.
    fetch : callable
        Takes calls, and says how many of them were not known before.
    clock : callable
        Seconds of a clock that never goes back.
    """

    def __init__(
        self,
        namespace: str,
        fetch: Callable[[list[Call]], int],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._prefix = f"{namespace}."
        self._pattern = re.compile(
            rf"\b{namespace}\.(\w+)\(((?:{_ANY_ARGUMENT})(?:;(?:{_ANY_ARGUMENT}))*)\)", re.IGNORECASE
        )
        self._fetch = fetch
        self._clock = clock
        self._unknown = 0
        self._wait = FIRST_LOOK
        self._last = 0.0

    def missed(self, document: Any) -> None:
        """Take note of a call that was not known, and look ahead when it is time.

        Parameters
        ----------
        document : object
            The workbook that makes the call.
        """
        now = self._clock()
        if now - self._last > 2.0:
            # Someone edits a cell now and then: no reason to read the whole workbook.
            self._unknown, self._wait = 0, FIRST_LOOK
        self._last = now
        self._unknown += 1
        if self._unknown < self._wait or document is None:
            return
        self._unknown = 0
        fetched = self._fetch(list(self._calls(document)))
        self._wait = FIRST_LOOK if fetched > FIRST_LOOK else min(2 * self._wait, LONGEST_WAIT)
        self._last = self._clock()

    def _calls(self, document: Any) -> Iterator[Call]:
        sheets = {sheet.Name: _Sheet(sheet) for sheet in document.Sheets}
        for name, sheet in sheets.items():

            def value(other: str, area: str, own: str = name) -> object:
                return sheets[other or own].constants().value(area)

            for formula in sheet.formulas():
                # Array formulas are one call each already.
                if self._prefix in formula and not formula.startswith("{"):
                    yield from calls_in(formula, self._pattern, value)


class _Sheet:
    """A sheet of the workbook; nothing here makes Calc calculate, for it is in the midst of it."""

    def __init__(self, sheet: Any) -> None:
        self._sheet = sheet
        self._constants: Constants | None = None

    def formulas(self) -> Iterator[str]:
        """Give all formulas, or none if there are too many."""
        areas = self._areas(_FORMULAS)
        if sum(_size(area) for area in areas) <= MOST_CELLS:
            for area in areas:
                for row in self._range(area).getFormulaArray():
                    yield from row

    def constants(self) -> Constants:
        """Read the constants, once."""
        if self._constants is None:
            areas = self._areas(_CONSTANTS)
            if sum(_size(area) for area in areas) > MOST_CELLS:
                raise LookupError(self._sheet.Name)
            blocks = [(area[0], area[1], self._range(area).getDataArray()) for area in areas]
            self._constants = Constants(blocks, self._areas(_FORMULAS))
        return self._constants

    def _areas(self, kinds: int) -> list[tuple[int, int, int, int]]:
        return [
            (area.StartColumn, area.StartRow, area.EndColumn, area.EndRow)
            for area in self._sheet.queryContentCells(kinds).getRangeAddresses()
        ]

    def _range(self, area: tuple[int, int, int, int]) -> Any:
        return self._sheet.getCellRangeByPosition(*area)


def _arguments(text: str, value: Callable[[str, str], object]) -> list[object]:
    arguments: list[object] = []
    place = 0
    while text.strip():
        found = _ARGUMENT.match(text, place)
        if found is None:
            raise LookupError(text)
        arguments.append(_argument(found, value))
        if found.end() >= len(text):
            break
        place = found.end() + 1
    return arguments


def _argument(found: re.Match[str], value: Callable[[str, str], object]) -> object:
    if found["number"] is not None:
        return float(found["number"])
    if found["text"] is not None:
        return found["text"][1:-1].replace('""', '"')
    if found["reference"] is None:
        return None
    sheet, _, area = found["reference"].rpartition(".")
    sheet = sheet[1:] if sheet.startswith("$") else sheet
    return value(sheet[1:-1].replace("''", "'") if sheet.startswith("'") else sheet, area)


def _corner(place: str) -> tuple[int, int]:
    found = _CORNER.fullmatch(place)
    if found is None:
        raise LookupError(place)
    column = 0
    for letter in found[1]:
        column = column * 26 + ord(letter) - ord("A") + 1
    return column - 1, int(found[2]) - 1


def _size(area: tuple[int, int, int, int]) -> int:
    return (area[2] - area[0] + 1) * (area[3] - area[1] + 1)
