"""The registry of cell functions: one declaration each, read from the function itself.

A cell function is an ordinary Python function with annotations and a numpydoc
docstring. From these the registry takes its spreadsheet name, arguments with
units and defaults, help, source and example; every host, help sheet and
document is generated from that. The same call path serves all of them, so the
same formula gives the same number to the last digit everywhere.
"""

from __future__ import annotations

import ast
import doctest
import functools
import inspect
import re
import types
import typing
from collections.abc import Callable, Sequence
from typing import Annotated, Literal, get_args, get_origin

import docstring_parser

from dampcell.functions.calls import (
    NAMESPACE,
    Argument,
    CellError,
    CellFunction,
    Kind,
    Noted,
    Outcome,
    as_cell_error,
)
from dampcell.functions.data import read_table
from dampcell.functions.errors import DampcellError, InputError
from dampcell.functions.tables import Table, TableLayout, nearest

__all__ = [
    "NAMESPACE",
    "REGISTRY",
    "Argument",
    "CellError",
    "CellFunction",
    "Noted",
    "Numbers",
    "Outcome",
    "Raw",
    "Table",
    "as_cell_error",
    "cell_function",
    "evaluate",
    "lookup",
]

Numbers = tuple[float, ...]
"""Annotation of an argument that takes a whole range as one list of numbers."""

Raw = object
"""Annotation of an argument that is handed on untouched."""

# Hosts write the namespace their own way: DAMP.X, DAMP_X, _xldudf_DAMP_X, _xll.DAMP_X, [1]!DAMP_X.
_SPELLING = re.compile(rf"=?(?:_XLDUDF_|_XLL\.|\[[0-9]+\]!)?(?:{NAMESPACE}[._])?")

REGISTRY: dict[str, CellFunction] = {}
"""All cell functions by spreadsheet name, in the order in which they are declared."""


def cell_function(
    *, family: str, result: str, columns: Sequence[tuple[str, str]] = ()
) -> Callable[[Callable[..., object]], Callable[..., object]]:
    """Declare the decorated function as a cell function.

    Parameters
    ----------
    family : text
        Group under which help lists it.
    result : text
        Nomenclature name of the result, or plain words for text and tables.
    columns : sequence of (head, unit), optional
        Column heads and units, when the result spills as a table.

    Returns
    -------
    callable
        A function that takes raw cell values, as a cell would hand them over,
        and raises the DampcellError that a cell would show.
    """

    def register(body: Callable[..., object]) -> Callable[..., object]:
        signature = inspect.signature(body)
        declared = _declare(body, signature, family, result, tuple(columns))
        REGISTRY[declared.name] = declared

        @functools.wraps(body)
        def call(*arguments: object, **named: object) -> object:
            bound = signature.bind_partial(*arguments, **named).arguments
            positions = [bound.get(a.name) for a in declared.arguments if not a.variadic]
            return declared.call([*positions, *arguments[len(positions) :]]).value

        return call

    return register


def lookup(name: str) -> CellFunction:
    """Find a cell function by any of its spellings.

    Parameters
    ----------
    name : text
        ``PLATE_STIFFNESS``, ``DAMP.PLATE_STIFFNESS``, ``DAMP_PLATE_STIFFNESS``
        or ``_xldudf_DAMP_PLATE_STIFFNESS``, in any case.

    Returns
    -------
    CellFunction

    Raises
    ------
    InputError
        If there is no such function; the sentence names the nearest one.
    """
    key = _SPELLING.sub("", name.strip().upper(), count=1)
    if key not in REGISTRY:
        raise InputError(
            f"there is no function {NAMESPACE}.{key}{nearest(key, REGISTRY)}",
            allowed='a name from the list that "dampcell functions" prints',
        )
    return REGISTRY[key]


def evaluate(name: str, arguments: Sequence[object]) -> Outcome:
    """Call a cell function as a host does: a user's mistake becomes an error value.

    Parameters
    ----------
    name : text
        Any spelling that `lookup` knows.
    arguments : sequence
        Raw cell values, see `CellFunction.call`.

    Returns
    -------
    Outcome
        Its value is a CellError when nothing could be computed.
    """
    try:
        return lookup(name).call(arguments)
    except DampcellError as error:
        return Outcome(as_cell_error(error))


@functools.cache
def _nomenclature() -> dict[str, dict[str, str]]:
    return {row["name"]: row for row in read_table("nomenclature")}


def _declare(
    body: Callable[..., object],
    signature: inspect.Signature,
    family: str,
    result: str,
    columns: tuple[tuple[str, str], ...],
) -> CellFunction:
    documented = docstring_parser.parse(inspect.getdoc(body) or "", docstring_parser.DocstringStyle.NUMPYDOC)
    help_texts = {p.arg_name.lstrip("*"): _one_line(p.description) for p in documented.params}
    hints = typing.get_type_hints(body, include_extras=True)
    arguments = tuple(
        _argument(parameter, hints[parameter.name], help_texts.get(parameter.name, ""))
        for parameter in signature.parameters.values()
    )
    return CellFunction(
        name=body.__name__.upper(),
        family=family,
        summary=(documented.short_description or "").rstrip("."),
        description="\n\n".join(filter(None, (documented.long_description, _section(documented, "notes")))),
        arguments=arguments,
        result=result,
        result_unit=_nomenclature().get(result, {}).get("unit", ""),
        result_columns=columns,
        source=_one_line(_section(documented, "references")),
        example_call=_example_call(body),
        body=body,
    )


def _section(documented: docstring_parser.Docstring, name: str) -> str:
    parts = [meta.description or "" for meta in documented.meta if meta.args[:1] == [name]]
    return "\n\n".join(parts)


def _one_line(text: str | None) -> str:
    return " ".join((text or "").split())


def _argument(parameter: inspect.Parameter, hint: object, help_text: str) -> Argument:
    row = _nomenclature().get(parameter.name, {})
    kind, choices, layout = _kind(hint)
    variadic = parameter.kind is inspect.Parameter.VAR_POSITIONAL
    required = parameter.default is inspect.Parameter.empty and not variadic
    if kind in ("number", "numbers") and not row:
        raise KeyError(f"{parameter.name} is not in functions/data/nomenclature.csv")
    return Argument(
        name=parameter.name,
        kind=kind,
        unit=row.get("unit", "") if kind in ("number", "numbers") else "",
        help=help_text,
        required=required,
        default=None if required or variadic else parameter.default,
        zero_is_blank=row.get("zero") == "blank",
        choices=choices,
        layout=layout,
        variadic=variadic,
    )


def _kind(hint: object) -> tuple[Kind, tuple[str, ...], TableLayout | None]:
    if get_origin(hint) in (typing.Union, types.UnionType):
        hint = next(option for option in get_args(hint) if option is not type(None))
    if get_origin(hint) is Annotated:
        layout = next(extra for extra in get_args(hint) if isinstance(extra, TableLayout))
        return "table", (), layout
    if get_origin(hint) is Literal:
        return "choice", tuple(map(str, get_args(hint))), None
    if hint == Numbers:
        return "numbers", (), None
    if hint is float:
        return "number", (), None
    if hint is str:
        return "text", (), None
    return "raw", (), None


def _example_call(body: Callable[..., object]) -> tuple[object, ...]:
    # The doctest is the example: reading its arguments back keeps the two from drifting apart.
    for example in doctest.DocTestParser().get_examples(inspect.getdoc(body) or ""):
        for node in ast.walk(ast.parse(example.source)):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id == body.__name__
            ):
                return tuple(ast.literal_eval(argument) for argument in node.args)
    return ()
