"""Values on their way to the formula engine and back.

The engine hands values over as plain Python objects, errors as dictionaries.
"""

from __future__ import annotations

import math

from dampcell.functions.errors import DampcellError
from dampcell.functions.registry import CellError
from dampcell.workbooks.results import CellValue

__all__ = [
    "NOT_COMPUTED",
    "argument",
    "fitted",
    "handed_back",
    "kind_of",
    "plain_error",
    "scalar",
    "sentence",
]

CODES = {
    "Div": "#DIV/0!",
    "Ref": "#REF!",
    "Name": "#NAME?",
    "Value": "#VALUE!",
    "Num": "#NUM!",
    "Null": "#NULL!",
    "Na": "#N/A",
    "Spill": "#SPILL!",
    "Calc": "#CALC!",
}
"""Error values by the engine's names for them; all others become #VALUE!."""

_KINDS = {code: kind for kind, code in CODES.items()}
_PLAIN = {
    "#DIV/0!": "divides by zero or by a blank cell",
    "#REF!": "refers to a cell that is not there",
    "#NAME?": "uses a name that is not known",
    "#VALUE!": "a value is of the wrong kind, or an error in another cell is taken over",
    "#NUM!": "a number is out of range",
    "#NULL!": "two ranges do not meet",
    "#N/A": "a value is not available",
    "#SPILL!": "the cells that the result needs are not empty",
    "#CALC!": "the result is empty",
}
NOT_COMPUTED = {
    "Circ": "refers to itself, directly or through other cells",
    "NImpl": "uses something that cannot be computed here",
    "Error": "the formula cannot be read",
}
"""Errors by which the engine says that it cannot compute a formula."""


def fitted(value: object, rows: float, columns: float) -> object:
    """Fit a result into the area of an array formula, as spreadsheets do: repeat, cut, fill with #N/A."""
    grid = value if isinstance(value, list) else [[value]]
    missing = {"type": "Error", "kind": "Na"}

    def cell(row: int, column: int) -> object:
        line = grid[0] if len(grid) == 1 else grid[row] if row < len(grid) else None
        if line is None:
            return missing
        return line[0] if len(line) == 1 else line[column] if column < len(line) else missing

    return [[cell(row, column) for column in range(int(columns))] for row in range(int(rows))]


def argument(value: object, name: str) -> object:
    """Turn what the engine hands to a function into raw cell values; errors name the argument."""
    if isinstance(value, list):
        return [argument(cell, name) for cell in value]
    if isinstance(value, dict):
        code = CODES.get(str(value.get("kind")), "#VALUE!")
        return CellError(code, f"{name}: holds the error {code}; mend the cell that it comes from.", name)
    return value


def handed_back(value: object) -> object:
    """Turn the value of an outcome into what the engine takes; nothing but finite numbers pass as numbers."""
    if isinstance(value, list):
        return [[handed_back(cell) for cell in row] for row in value]
    if isinstance(value, CellError):
        return {"type": "Error", "kind": _KINDS.get(value.code, "Value")}
    if value is None:
        return ""
    if isinstance(value, str | bool):
        return value
    number = float(value)  # type: ignore[arg-type] # the registry lets only numbers, texts and truth values out
    return number if math.isfinite(number) else {"type": "Error", "kind": "Num"}


def kind_of(value: object) -> str:
    """Name that the engine gives an error, or an empty text for a value."""
    return str(value.get("kind")) if isinstance(value, dict) else ""


def scalar(value: object) -> CellValue:
    """Turn one value of the engine into a cell value; an error has no sentence yet."""
    if isinstance(value, dict):
        return CellError(CODES.get(kind_of(value), "#VALUE!"))
    if value is None or isinstance(value, str | bool):
        return value
    number = float(value)  # type: ignore[arg-type] # dates come as serial numbers
    return number if math.isfinite(number) else CellError("#NUM!")


def plain_error(value: object, code: str) -> CellError:
    """Give the general sentence of an error that no function of ours explained."""
    told = NOT_COMPUTED.get(kind_of(value)) or _PLAIN.get(code, "is an error")
    return CellError(code, sentence(told))


def sentence(problem: str) -> str:
    """End a problem as every error sentence ends."""
    return str(DampcellError(problem))
