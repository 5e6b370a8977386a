"""What Excel is told of the cell functions: the file functions.json, generated from the registry.

Every argument is declared as a matrix, and so is every result. If Excel were
told that an argument is one number, it would map a range over the function by
itself, one call a cell; like this the range arrives whole, and is mapped by the
registry in the same way as everywhere else.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from dampcell.functions.calls import Argument, CellFunction
from dampcell.functions.errors import InputError
from dampcell.functions.hosts.help_text import argument_help, function_help

__all__ = ["ARGUMENT_HELP", "FUNCTION_HELP", "MOST_ARGUMENTS", "metadata", "scripted"]

# Limits of the schema of the app manifest 1.30, which is published under the MIT licence in the npm
# package @microsoft/app-manifest; the tests read them there.
_IDENTIFIER = re.compile(r"[A-Z][A-Z0-9._]{2,63}")
MOST_ARGUMENTS: Final = 128
FUNCTION_HELP: Final = 1024
ARGUMENT_HELP: Final = 512


def metadata(functions: Iterable[CellFunction]) -> dict[str, object]:
    """Describe functions for Excel.

    Parameters
    ----------
    functions : iterable of CellFunction
        Those of the registry.

    Returns
    -------
    dict
        Content of functions.json.

    Raises
    ------
    InputError
        If Excel cannot have a function of that name, or of so many arguments.
    """
    # Without the first line, one error in a mapped range would make an error of the whole result.
    return {"allowErrorForDataTypeAny": True, "functions": [_function(function) for function in functions]}


def scripted(functions: Iterable[CellFunction]) -> dict[str, list[str]]:
    """Say what the script has to know of each function.

    Parameters
    ----------
    functions : iterable of CellFunction
        Those of the registry.

    Returns
    -------
    dict
        Name to the kinds of its arguments; one that takes all the rest has "…" behind its kind.
    """
    return {
        function.name: [argument.kind + ("…" if argument.variadic else "") for argument in function.arguments]
        for function in functions
    }


def _function(function: CellFunction) -> dict[str, object]:
    if _IDENTIFIER.fullmatch(function.name) is None:
        raise InputError(
            "cannot be the name of a function in Excel",
            found=function.name,
            allowed="3 to 64 capital letters, digits, dots and underscores",
        )
    if len(function.arguments) > MOST_ARGUMENTS:
        raise InputError(
            "has too many arguments for Excel", parameter=function.name, allowed=f"up to {MOST_ARGUMENTS}"
        )
    return {
        "id": function.name,
        "name": function.name,
        "description": function_help(function, FUNCTION_HELP),
        "parameters": [_argument(argument) for argument in function.arguments],
        "result": {"dimensionality": "matrix"},
    }


def _argument(argument: Argument) -> dict[str, object]:
    told: dict[str, object] = {
        "name": argument.name,
        "description": argument_help(argument, ARGUMENT_HELP),
        "type": "any",
        "dimensionality": "matrix",
    }
    if argument.variadic:
        told["repeating"] = True
    elif not argument.required:
        told["optional"] = True
    return told
