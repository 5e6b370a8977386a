"""How a cell function is called: raw cell values in, a value, rows, or error values out.

One call path serves every host. It reads each argument by its declaration, maps
a function over ranges, hands errors of other cells on, and guards the way out.
"""

from __future__ import annotations

import functools
import math
import numbers
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from dampcell.functions.errors import DampcellError, InputError
from dampcell.functions.tables import TableLayout, is_blank, is_nothing, nearest
from dampcell.functions.units import number_in, shown_unit

__all__ = [
    "NAMESPACE",
    "Argument",
    "CellError",
    "CellFunction",
    "Kind",
    "Noted",
    "Outcome",
    "as_cell_error",
    "literal",
]

NAMESPACE: Final = "DAMP"

Kind = Literal["number", "numbers", "text", "choice", "table", "raw"]

Grid = np.ndarray[tuple[int, int], np.dtype[np.object_]]


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
        if self._is_missing(value):
            if not self.required:
                return self.default
            raise self._missing(value)
        if self.layout is not None:
            return _table(self.layout, self.name, value)
        if self.kind == "numbers":
            cells = (cell for row in _rows(value) for cell in row if not is_blank(cell))
            return tuple(number_in(cell, self.unit, parameter=self.name) for cell in cells)
        if self.kind == "choice":
            return self._choice(value)
        if self.kind == "text":
            return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value).strip()
        return number_in(value, self.unit, parameter=self.name)

    def error_in(self, value: object) -> CellError | None:
        """Find an error of another cell that leaves nothing to calculate."""
        if self.kind == "raw" or (self.mappable and _is_range(value)):
            return None
        return next((cell for row in _rows(value) for cell in row if isinstance(cell, CellError)), None)

    def _is_missing(self, value: object) -> bool:
        if _is_range(value):
            # A range with a 0 in it was filled in, except where a blank table came through as zeros.
            empty = is_nothing if self.kind == "table" else is_blank
            return all(empty(cell) for row in _rows(value) for cell in row)
        # A host may hand a blank cell over as 0.0: the nomenclature says where 0 is no value.
        zero = self.zero_is_blank or self.kind in ("choice", "text", "table")
        return is_nothing(value) if zero else is_blank(value)

    def _missing(self, value: object) -> InputError:
        if self.kind in ("number", "numbers") and not _is_range(value) and not is_blank(value):
            unit = shown_unit(self.unit)
            written = f"0 {unit}" if unit else "0"
            return InputError(
                "is blank or 0", parameter=self.name, allowed=f'{self._allowed()}, or the text "{written}"'
            )
        return InputError("is missing", parameter=self.name, allowed=self._allowed())

    def _choice(self, value: object) -> str:
        wanted = str(value).strip().casefold()
        for choice in self.choices:
            if choice.casefold() == wanted:
                return choice
        raise InputError(
            f"is not one of its choices{nearest(wanted, self.choices)}",
            parameter=self.name,
            found=value,
            allowed=self._allowed(),
        )

    def _allowed(self) -> str:
        if self.kind == "choice":
            return ", ".join(f'"{choice}"' for choice in self.choices)
        if self.layout is not None:
            return self.layout.describe()
        if self.kind == "text":
            return "text"
        unit = shown_unit(self.unit)
        return f"a number in {unit}" if unit else "a number"


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
        shown = ["" if value is None else literal(value) for value in self.example_call]
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
        for argument, value in self._paired(given):
            found = argument.error_in(value)
            if found is not None:
                return Outcome(found)
        mapped = [
            index
            for index, (argument, value) in enumerate(self._paired(given))
            if argument.mappable and _is_range(value)
        ]
        if mapped:
            return self._over(given, mapped)
        return self._once([argument.coerce(value) for argument, value in self._paired(given)])

    def _paired(self, given: Sequence[object]) -> Iterator[tuple[Argument, object]]:
        """Pair each value with its argument; a variadic last argument takes all the rest."""
        for index, value in enumerate(given):
            yield self.arguments[min(index, len(self.arguments) - 1)], value

    def _bind(self, arguments: Sequence[object]) -> list[object]:
        variadic = bool(self.arguments) and self.arguments[-1].variadic
        if len(arguments) > len(self.arguments) and not variadic:
            raise InputError(
                f"{NAMESPACE}.{self.name} takes at most {len(self.arguments)} arguments",
                found=len(arguments),
                allowed=self.signature,
            )
        given = [
            value if argument.kind == "raw" else _unwrap(value) for argument, value in self._paired(arguments)
        ]
        missing = len(self.arguments) - len(given) - (1 if variadic else 0)
        return given + [None] * missing

    def _once(self, values: Sequence[object]) -> Outcome:
        try:
            # Overflow and the like inside numpy are errors here too, as they are in plain Python.
            with np.errstate(over="raise", divide="raise", invalid="raise"):
                result = self.body(*values)
        except ArithmeticError:
            raise self._not_finite() from None
        noted = result if isinstance(result, Noted) else Noted(result, ())
        if isinstance(noted.value, list | tuple):
            rows = [[self._finished(cell) for cell in row] for row in _rows(noted.value)]
            return Outcome(rows, noted.notes)
        return Outcome(self._finished(noted.value), noted.notes)

    def _over(self, given: Sequence[object], mapped: Sequence[int]) -> Outcome:
        if self.spills:
            name = self.arguments[mapped[0]].name
            raise InputError("takes one value, because the result is a table already", parameter=name)
        grids = self._fitted({self.arguments[index].name: _grid(given[index]) for index in mapped})
        # What is not mapped over is the same for every cell: it is read once.
        values = [
            value if index in mapped else argument.coerce(value)
            for index, (argument, value) in enumerate(self._paired(given))
        ]
        notes: dict[str, None] = {}
        rows: list[list[object]] = []
        for row in range(grids[0].shape[0]):
            rows.append([])
            for column in range(grids[0].shape[1]):
                outcome = self._cell(values, {i: g[row, column] for i, g in zip(mapped, grids, strict=True)})
                rows[-1].append(outcome.value)
                notes.update(dict.fromkeys(outcome.notes))
        return Outcome(rows, tuple(notes))

    def _fitted(self, grids: dict[str, Grid]) -> list[Grid]:
        try:
            return list(np.broadcast_arrays(*grids.values()))
        except ValueError:
            sizes = ", ".join(f"{name} {grid.shape[0]}×{grid.shape[1]}" for name, grid in grids.items())
            raise InputError(
                "ranges do not fit together",
                found=sizes,
                allowed="equal rows and columns, or one row, or one column",
            ) from None

    def _cell(self, values: Sequence[object], cells: dict[int, object]) -> Outcome:
        handed_on = next((cell for cell in cells.values() if isinstance(cell, CellError)), None)
        if handed_on is not None:
            return Outcome(handed_on)
        # In a range a blank is known as such, so a 0 there is a 0 and a blank row stays blank.
        if all(is_blank(cell) for cell in cells.values()):
            return Outcome("")
        try:
            return self._once(
                [
                    self.arguments[index].coerce(_zero(cells[index])) if index in cells else value
                    for index, value in enumerate(values)
                ]
            )
        except DampcellError as error:
            return Outcome(as_cell_error(error))

    def _finished(self, cell: object) -> object:
        """Guard the way out: nothing that is not a finite number may look like one."""
        if cell is None:
            return ""
        if isinstance(cell, str | bool | CellError):
            return cell
        if isinstance(cell, np.bool_):
            return bool(cell)
        if isinstance(cell, numbers.Integral):
            return int(cell)
        if isinstance(cell, numbers.Real):
            number = float(cell)
            if not math.isfinite(number):
                raise self._not_finite()
            return number
        raise TypeError(f"{NAMESPACE}.{self.name} returned a {type(cell).__name__}")

    def _not_finite(self) -> InputError:
        return InputError(f"{NAMESPACE}.{self.name} gave no finite number for these arguments")


def as_cell_error(error: DampcellError) -> CellError:
    """Turn a raised error into the error value of a cell."""
    return CellError(error.code, str(error), error.parameter)


def literal(value: object) -> str:
    """Write a Python value as a constant of a spreadsheet formula.

    Parameters
    ----------
    value : number, text, bool, None or list of rows
        A blank is written as an empty text, rows as an array constant.

    Returns
    -------
    text

    Examples
    --------
    >>> literal([["shim", 30.0, 0.2], ["clamp", 12.0]])
    '{"shim",30,0.2;"clamp",12,""}'
    """
    if value is None:
        return '""'
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, str):
        return '"' + value.replace('"', '""') + '"'
    if isinstance(value, list | tuple):
        rows = _rows(value)
        width = max(map(len, rows))
        return (
            "{" + ";".join(",".join(map(literal, [*row, *[""] * (width - len(row))])) for row in rows) + "}"
        )
    return f"{value:.15g}" if isinstance(value, float) else str(value)


def _table(layout: TableLayout, parameter: str, value: object) -> object:
    """Read a table; the cells of one sheet mostly hand over the same few, which are read once."""
    # The type belongs to the key: 1, 1.0 and TRUE are equal, but not the same in a cell.
    cells = tuple(tuple((type(cell), cell) for cell in row) for row in _rows(value))
    try:
        return _read(layout, parameter, cells)
    except TypeError:  # a host may hand over what is neither number nor text
        return layout.parse(value, parameter=parameter)


@functools.lru_cache(maxsize=512)
def _read(layout: TableLayout, parameter: str, cells: tuple[tuple[tuple[type, object], ...], ...]) -> object:
    return layout.parse([[cell for _, cell in row] for row in cells], parameter=parameter)


def _rows(value: object) -> list[list[object]]:
    if isinstance(value, list | tuple):
        return [list(row) if isinstance(row, list | tuple) else [row] for row in value]
    return [[value]]


def _is_range(value: object) -> bool:
    return isinstance(value, list | tuple)


def _unwrap(value: object) -> object:
    """A range of one cell is that cell, whatever the host made of it; one without cells is blank."""
    cells = [cell for row in _rows(value) for cell in row]
    return value if len(cells) > 1 else cells[0] if cells else None


def _zero(value: object) -> object:
    return "0" if is_nothing(value) and not is_blank(value) else value


def _grid(value: object) -> Grid:
    rows = _rows(value)
    grid = np.full((len(rows), max(map(len, rows))), None, dtype=object)
    for index, row in enumerate(rows):
        grid[index, : len(row)] = row
    return grid
