"""The list of cell functions as data: what the page, the clients and the OpenAPI document are made from."""

from __future__ import annotations

from collections.abc import Iterable

from dampcell.functions.registry import NAMESPACE, Argument, CellFunction
from dampcell.functions.tables import Column, RowLayout

__all__ = ["catalogue", "curve_of"]


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
    return [_function(function) for function in functions]


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
    units = [unit for _, unit in function.result_columns]
    if "curve" not in function.result.casefold() or len(units) < 2 or not all(units):
        return None
    return {"x": 0, "y": list(range(1, len(units)))}


def _function(function: CellFunction) -> dict[str, object]:
    return {
        "name": function.name,
        "cell_name": f"{NAMESPACE}.{function.name}",
        "family": function.family,
        "summary": function.summary,
        "description": function.description,
        "signature": function.signature,
        "arguments": [_argument(argument) for argument in function.arguments],
        "result": function.result.replace("_", " "),
        "unit": function.result_unit,
        "columns": [
            {"title": head.replace("_", " "), "unit": unit} for head, unit in function.result_columns
        ],
        "curve": curve_of(function),
        "source": function.source,
        "example": function.example,
        "example_arguments": list(function.example_call),
    }


def _argument(argument: Argument) -> dict[str, object]:
    layout = argument.layout
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
