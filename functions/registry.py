"""The registry of cell functions: one declaration each, read from the function itself.

A cell function is an ordinary Python function with annotations and a numpydoc
docstring. From these the registry takes its spreadsheet name, arguments with
units and defaults, help, source and example; every host, help sheet and
document is generated from that. The same call path serves all of them, so the
same formula gives the same number to the last digit everywhere.
"""

from __future__ import annotations

import ast
import functools
import inspect
import math
import types
import typing
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Literal, get_args, get_origin

import docstring_parser
import numpy as np

from dampcell.functions.data import read_table
from dampcell.functions.errors import DampcellError, InputError
from dampcell.functions.tables import Table, TableLayout, is_blank, nearest
from dampcell.functions.units import number_in

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
    "cell_function",
    "evaluate",
    "lookup",
]

NAMESPACE = "DAMP"

Numbers = tuple[float, ...]
"""Annotation of an argument that takes a whole range as one list of numbers."""

Raw = object
"""Annotation of an argument that is handed on untouched."""

Kind = Literal["number", "numbers", "text", "choice", "table", "raw"]


@dataclass(frozen=True, slots=True)
class CellError:
    """An error value in a cell: its code, and the sentence that says what to mend."""

    code: str
    message: str = ""
    parameter: str | None = None


@dataclass(frozen=True, slots=True)
class Noted:
    """A result that holds, with notes that belong to it (such as a limit passed)."""

    value: object
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a call gave: a scalar or rows of scalars (each may be a CellError), and notes."""

    value: object
    notes: tuple[str, ...] = ()

    def first_error(self) -> CellError | None:
        """Return the first error value, or None."""
        rows = self.value if isinstance(self.value, list) else [[self.value]]
        return next((cell for row in rows for cell in row if isinstance(cell, CellError)), None)


@dataclass(frozen=True, slots=True)
class Argument:
    """One argument of a cell function."""

    name: str
    kind: Kind
    unit: str
    help: str
    required: bool
    default: object = None
    zero_is_blank: bool = False
    choices: tuple[str, ...] = ()
    layout: TableLayout | None = None
    variadic: bool = False

    @property
    def mappable(self) -> bool:
        """Whether a range given here is mapped over, one result per cell."""
        return self.kind in ("number", "text", "choice")

    def coerce(self, value: object) -> object:
        """Turn one raw cell value (or range) into what the function body takes."""
        if self.kind == "raw":
            return value
        if self.kind == "table":
            assert self.layout is not None
            if is_blank(value) and not self.required:
                return self.default
            return self.layout.parse(value, parameter=self.name)
        if self.kind == "numbers":
            return self._numbers(value)
        if self._is_missing(value):
            if not self.required:
                return self.default
            hint = f'a number{_in_unit(self.unit)} or text such as "0 {self.unit}"' if value == 0 else None
            problem = "is blank or 0" if value == 0 else "is missing"
            raise InputError(problem, parameter=self.name, allowed=hint or self._allowed())
        if self.kind == "choice":
            return self._choice(value)
        if self.kind == "text":
            return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value).strip()
        return number_in(value, self.unit, parameter=self.name)

    def _is_missing(self, value: object) -> bool:
        # A host may hand a blank cell over as 0.0: the nomenclature says where 0 is no value.
        zero = self.zero_is_blank or self.kind in ("choice", "text")
        return is_blank(value) or (zero and not isinstance(value, str | bool) and value == 0)

    def _numbers(self, value: object) -> object:
        cells = [cell for row in _rows(value) for cell in row if not is_blank(cell)]
        if not cells and not self.required:
            return self.default
        if not cells:
            raise InputError("is missing", parameter=self.name, allowed=self._allowed())
        return tuple(number_in(cell, self.unit, parameter=self.name) for cell in cells)

    def _choice(self, value: object) -> str:
        wanted = str(value).strip().casefold()
        for choice in self.choices:
            if choice.casefold() == wanted:
                return choice
        listed = ", ".join(f'"{choice}"' for choice in self.choices)
        raise InputError(
            f"is not one of its choices{nearest(wanted, self.choices)}",
            parameter=self.name,
            found=value,
            allowed=listed,
        )

    def _allowed(self) -> str:
        if self.kind == "choice":
            return ", ".join(f'"{choice}"' for choice in self.choices)
        if self.kind == "table" and self.layout is not None:
            return self.layout.describe()
        if self.kind == "text":
            return "text"
        return f"a number{_in_unit(self.unit)}"


@dataclass(frozen=True, slots=True)
class CellFunction:
    """One cell function: all that any host or help page needs to know of it."""

    name: str
    family: str
    summary: str
    description: str
    arguments: tuple[Argument, ...]
    result: str
    result_unit: str
    result_columns: tuple[tuple[str, str], ...]
    source: str
    example_call: tuple[object, ...]
    body: Callable[..., object] = field(repr=False)

    @property
    def spills(self) -> bool:
        """Whether the result is a table even for scalar arguments."""
        return bool(self.result_columns)

    @property
    def minimum_arguments(self) -> int:
        """Number of arguments that must be given."""
        return sum(argument.required for argument in self.arguments)

    @property
    def signature(self) -> str:
        """The call as help shows it, optional arguments in brackets."""
        shown = [a.name if a.required else f"[{a.name}]" for a in self.arguments]
        if self.arguments and self.arguments[-1].variadic:
            shown[-1] = f"{self.arguments[-1].name}, …"
        return f"{NAMESPACE}.{self.name}({', '.join(shown)})"

    @property
    def example(self) -> str:
        """The documented example as a formula that works in a cell."""
        shown = ["" if value is None else _literal(value) for value in self.example_call]
        return f"={NAMESPACE}.{self.name}({', '.join(shown)})"

    def call(self, arguments: Sequence[object]) -> Outcome:
        """Evaluate for raw cell values.

        Parameters
        ----------
        arguments : sequence
            Raw values in order: number, text, bool, None for blank, a list of
            rows for a range or array, or a CellError.

        Returns
        -------
        Outcome
            A scalar, or rows when a range was mapped or the function spills.

        Raises
        ------
        DampcellError
            When nothing could be computed; single cells of a mapped range
            carry a CellError instead.
        """
        given = self._bind(arguments)
        for value in given:
            found = _error_within(value)
            if found is not None:
                return Outcome(found)
        mapped = [
            index
            for index, (argument, value) in enumerate(given_pairs(self.arguments, given))
            if argument.mappable and _is_range(value)
        ]
        if not mapped:
            return self._once(given)
        return self._over(given, mapped)

    def _bind(self, arguments: Sequence[object]) -> list[object]:
        given = [_unwrap(value) for value in arguments]
        variadic = bool(self.arguments) and self.arguments[-1].variadic
        if len(given) > len(self.arguments) and not variadic:
            raise InputError(
                f"{NAMESPACE}.{self.name} takes at most {len(self.arguments)} arguments",
                found=len(given),
                allowed=self.signature,
            )
        missing = len(self.arguments) - len(given) - (1 if variadic else 0)
        return given + [None] * max(missing, 0)

    def _once(self, given: Sequence[object]) -> Outcome:
        values = [argument.coerce(value) for argument, value in given_pairs(self.arguments, given)]
        result = self.body(*values)
        notes: tuple[str, ...] = ()
        if isinstance(result, Noted):
            result, notes = result.value, result.notes
        return Outcome(_finished(result, self.name), notes)

    def _over(self, given: list[object], mapped: list[int]) -> Outcome:
        if self.spills:
            name = self.arguments[mapped[0]].name
            raise InputError("takes one value, because the result is a table already", parameter=name)
        grids = [_grid(given[index]) for index in mapped]
        try:
            shape = np.broadcast_shapes(*(grid.shape for grid in grids))
        except ValueError:
            sizes = ", ".join(
                f"{self.arguments[index].name} {grid.shape[0]}×{grid.shape[1]}"
                for index, grid in zip(mapped, grids, strict=True)
            )
            raise InputError(
                "ranges do not fit together",
                found=sizes,
                allowed="equal rows and columns, or one row, or one column",
            ) from None
        grids = [np.broadcast_to(grid, shape) for grid in grids]
        notes: dict[str, None] = {}
        rows: list[list[object]] = []
        for row in range(shape[0]):
            rows.append([])
            for column in range(shape[1]):
                cell = list(given)
                for index, grid in zip(mapped, grids, strict=True):
                    cell[index] = grid[row, column]
                value, found = self._cell(cell, mapped)
                rows[-1].append(value)
                notes.update(dict.fromkeys(found))
        return Outcome(rows, tuple(notes))

    def _cell(self, given: list[object], mapped: list[int]) -> tuple[object, tuple[str, ...]]:
        error = next((value for value in given if isinstance(value, CellError)), None)
        if error is not None:
            return error, ()
        # In a range a blank is known as such, so a 0 there is a 0 and a blank row stays blank.
        if all(is_blank(given[index]) for index in mapped):
            return "", ()
        try:
            outcome = self._once([_zero(value) if i in mapped else value for i, value in enumerate(given)])
        except DampcellError as error:
            return as_cell_error(error), ()
        return outcome.value, outcome.notes


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
        declared = _declare(body, family, result, tuple(columns))
        REGISTRY[declared.name] = declared

        @functools.wraps(body)
        def call(*arguments: object, **named: object) -> object:
            bound = inspect.signature(body).bind_partial(*arguments, **named)
            positions = [
                bound.arguments.get(argument.name) for argument in declared.arguments if not argument.variadic
            ]
            extra = arguments[len(positions) :] if declared.arguments[-1].variadic else ()
            return declared.call([*positions, *extra]).value

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
    key = name.strip().lstrip("=").upper()
    for prefix in ("_XLDUDF_", "_XLL.", "[1]!", f"{NAMESPACE}.", f"{NAMESPACE}_"):
        key = key.removeprefix(prefix)
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


def as_cell_error(error: DampcellError) -> CellError:
    """Turn a raised error into the error value of a cell."""
    return CellError(error.code, str(error), error.parameter)


def given_pairs(arguments: Sequence[Argument], given: Sequence[object]) -> Iterator[tuple[Argument, object]]:
    """Pair each value with its argument; a variadic last argument takes all the rest."""
    for index, value in enumerate(given):
        yield arguments[min(index, len(arguments) - 1)], value


@functools.cache
def _nomenclature() -> dict[str, dict[str, str]]:
    return {row["name"]: row for row in read_table("nomenclature")}


def _declare(
    body: Callable[..., object], family: str, result: str, columns: tuple[tuple[str, str], ...]
) -> CellFunction:
    documented = docstring_parser.parse(inspect.getdoc(body) or "", docstring_parser.DocstringStyle.NUMPYDOC)
    help_texts = {p.arg_name.lstrip("*"): " ".join((p.description or "").split()) for p in documented.params}
    hints = typing.get_type_hints(body, include_extras=True)
    arguments = tuple(
        _argument(parameter, hints[parameter.name], help_texts.get(parameter.name, ""))
        for parameter in inspect.signature(body).parameters.values()
    )
    references = [
        meta.description or ""
        for meta in documented.meta
        if meta.args and meta.args[0] in ("references", "reference")
    ]
    examples = [example.snippet or "" for example in documented.examples]
    return CellFunction(
        name=body.__name__.upper(),
        family=family,
        summary=(documented.short_description or "").rstrip("."),
        description=documented.long_description or "",
        arguments=arguments,
        result=result,
        result_unit=_nomenclature().get(result, {}).get("unit", ""),
        result_columns=columns,
        source=" ".join(" ".join(references).split()),
        example_call=_example_call(examples, body.__name__),
        body=body,
    )


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


def _example_call(snippets: Sequence[str], name: str) -> tuple[object, ...]:
    # The doctest is the example: reading its arguments back keeps the two from drifting apart.
    for snippet in snippets:
        source = "\n".join(line[4:] for line in snippet.splitlines() if line.startswith((">>> ", "... ")))
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == name:
                return tuple(ast.literal_eval(argument) for argument in node.args)
    return ()


def _literal(value: object) -> str:
    """Write a Python value as a constant of a spreadsheet formula."""
    if value is None:
        return '""'
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, str):
        return '"' + value.replace('"', '""') + '"'
    if isinstance(value, list | tuple):
        rows = [row if isinstance(row, list | tuple) else [row] for row in value]
        width = max(len(row) for row in rows)
        padded = [[*row, *[""] * (width - len(row))] for row in rows]
        return "{" + ";".join(",".join(map(_literal, row)) for row in padded) + "}"
    return f"{value:.15g}" if isinstance(value, float) else str(value)


def _in_unit(unit: str) -> str:
    return f" in {unit}" if unit and unit != "-" else ""


def _rows(value: object) -> list[list[object]]:
    if isinstance(value, list | tuple):
        return [list(row) if isinstance(row, list | tuple) else [row] for row in value]
    return [[value]]


def _is_range(value: object) -> bool:
    return isinstance(value, list | tuple)


def _unwrap(value: object) -> object:
    """A range of one cell is that cell, whatever the host made of it."""
    rows = _rows(value)
    return rows[0][0] if _is_range(value) and len(rows) == 1 and len(rows[0]) == 1 else value


def _zero(value: object) -> object:
    return "0" if isinstance(value, int | float) and not isinstance(value, bool) and value == 0 else value


def _grid(value: object) -> np.ndarray[tuple[int, int], np.dtype[np.object_]]:
    rows = _rows(value)
    width = max(len(row) for row in rows)
    grid = np.full((len(rows), width), None, dtype=object)
    for index, row in enumerate(rows):
        grid[index, : len(row)] = row
    return grid


def _error_within(value: object) -> CellError | None:
    if isinstance(value, CellError):
        return value
    return None


def _finished(result: object, name: str) -> object:
    """Guard the way out: nothing that is not a finite number may look like one."""
    if isinstance(result, float | np.floating):
        number = float(result)
        if not math.isfinite(number):
            raise InputError(f"{NAMESPACE}.{name} gave no finite number for these arguments")
        return number
    if isinstance(result, list | tuple):
        return [[_finished(cell, name) for cell in row] for row in result]
    return result


__all__ += ["Table", "as_cell_error", "given_pairs"]
