"""The list of cell functions as data: what the page, the clients and the OpenAPI document are made from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from dampcell.functions.registry import NAMESPACE, Argument, CellFunction
from dampcell.functions.tables import Column, RowLayout, TableLayout

__all__ = ["catalogue", "curve_of", "example_arguments"]

_ALONG = frozenset({"load", "pressure", "temperature", "velocity"})
"""Heads of a first column along which the others are drawn."""


def catalogue(functions: Iterable[CellFunction]) -> list[dict[str, object]]:
    """Describe functions, in their order.

    Parameters
    ----------
    functions : iterable of CellFunction
        As in the registry.

    Returns
    -------
    list of dict
        One object for each, ready for JSON.
    """
    listed = list(functions)
    # An argument that is handed on untouched may be a table that other functions read.
    layouts = {a.name: a.layout for function in listed for a in function.arguments if a.layout is not None}
    return [_function(function, layouts) for function in listed]


def curve_of(function: CellFunction) -> dict[str, object] | None:
    """Say which columns of a spilled result make a curve.

    Parameters
    ----------
    function : CellFunction
        Any function.

    Returns
    -------
    dict or None
        ``x`` is the number of one column and ``y`` those of the others, from 0.
    """
    columns = function.result_columns
    if len(columns) < 2 or columns[0][0] not in _ALONG or not all(unit for _, unit in columns):
        return None
    return {"x": 0, "y": list(range(1, len(columns)))}


def example_arguments(function: CellFunction) -> list[object]:
    """Give the documented example as the wire takes it: every range is a list of rows.

    Parameters
    ----------
    function : CellFunction
        Any function.

    Returns
    -------
    list
        A plain list of numbers stands for a column.
    """
    return [
        [list(row) if isinstance(row, list | tuple) else [row] for row in value]
        if isinstance(value, list | tuple)
        else value
        for value in function.example_call
    ]


def _function(function: CellFunction, layouts: Mapping[str, TableLayout]) -> dict[str, object]:
    return {
        "name": function.name,
        "cell_name": f"{NAMESPACE}.{function.name}",
        "family": function.family,
        "summary": function.summary,
        "description": function.description,
        "signature": function.signature,
        "arguments": [_argument(argument, layouts) for argument in function.arguments],
        "result": function.result.replace("_", " "),
        "unit": function.result_unit,
        "columns": [
            {"title": head.replace("_", " "), "unit": unit} for head, unit in function.result_columns
        ],
        "curve": curve_of(function),
        "source": function.source,
        "example": function.example,
        "example_arguments": example_arguments(function),
    }


def _argument(argument: Argument, layouts: Mapping[str, TableLayout]) -> dict[str, object]:
    layout = argument.layout or (layouts.get(argument.name) if argument.kind == "raw" else None)
    default = argument.default
    return {
        "name": argument.name,
        "title": argument.name.replace("_", " "),
        "kind": argument.kind,
        "unit": argument.unit,
        "help": argument.help,
        "required": argument.required,
        "default": default if isinstance(default, str | int | float) else None,
        "choices": list(argument.choices),
        "variadic": argument.variadic,
        "maps_over_ranges": argument.mappable,
        "table": None
        if layout is None
        else {
            "kind": "rows" if isinstance(layout, RowLayout) else "pairs",
            "columns": [_column(column) for column in layout.columns],
        },
    }


def _column(column: Column) -> dict[str, object]:
    return {
        "name": column.name,
        "title": column.title,
        "unit": column.unit,
        "required": column.required,
        "choices": list(column.choices),
        "default": column.default,
        "help": column.meaning,
    }
