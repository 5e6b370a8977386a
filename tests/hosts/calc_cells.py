"""Calls written as LibreOffice Calc reads them, and values as its cells show them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dampcell.functions.registry import CellError


def constant(value: object) -> str:
    """Write a constant as the programming interface of Calc reads it."""
    if value is None:
        return ""
    if isinstance(value, list):
        rows = [row if isinstance(row, list) else [row] for row in value]
        width = max(map(len, rows))
        padded = [[*row, *[None] * (width - len(row))] for row in rows]
        lines = [";".join('""' if cell is None else constant(cell) for cell in row) for row in padded]
        return "{" + "|".join(lines) + "}"
    if isinstance(value, CellError):
        # No constant of Calc is an error: a calculation that gives it.
        return {"#DIV/0!": "1/0", "#N/A": "NA()"}[value.code]
    return '"' + value.replace('"', '""') + '"' if isinstance(value, str) else repr(value)


def formula_of(name: str, arguments: Sequence[object]) -> str:
    """Write a call as the programming interface of Calc reads it."""
    return f"=DAMP.{name}({';'.join(map(constant, arguments))})"


def shown(value: object) -> Any:
    """What a cell shows for a value of the registry."""
    if isinstance(value, list):
        return [[shown(cell) for cell in row] for row in value]
    if isinstance(value, CellError):
        return [value.code]
    return float(value) if isinstance(value, int) else value


def area_of(rows: list[list[object]], column: str, row: int) -> str:
    """Give the range that rows fill, from its first cell on."""
    last = chr(ord(column) + len(rows[0]) - 1)
    return f"{column}{row}:{last}{row + len(rows) - 1}"
