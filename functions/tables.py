"""Tables handed to cell functions: rows of a stack, and name/value pairs.

A layout says which columns a table has; it turns raw cells into rows of plain
numbers and texts, and names row, column and value when it cannot.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from dampcell.functions.errors import InputError
from dampcell.functions.units import number_in, shown_unit

__all__ = ["Column", "PairLayout", "RowLayout", "Table", "TableLayout", "is_blank", "is_nothing", "nearest"]

Table = list[list[object]]
"""Rows of cells, as a range hands them over and a spilled result gives them back."""

Row = Mapping[str, float | str | None]
"""One parsed row: column name to number, text, or None where an optional cell is blank."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a row table, or a name of a name/value table.

    Parameters
    ----------
    name : text
        As in the nomenclature; in tables people may write spaces for underscores.
    unit : text
        Unit of a number, or an empty text for a text column.
    required : bool
        Whether the cell must be filled.
    choices : tuple of text
        Allowed texts of a text column; empty allows any.
    zero_is_blank : bool
        Whether a 0 is no value (spreadsheets hand blank cells over as 0).
    default : number or text, optional
        What a blank optional cell means; None leaves it to the function.
    meaning : text
        Help for people.
    """

    name: str
    unit: str = ""
    required: bool = True
    choices: tuple[str, ...] = ()
    zero_is_blank: bool = True
    default: float | str | None = None
    meaning: str = ""

    @property
    def title(self) -> str:
        """Name as people read it."""
        return self.name.replace("_", " ")

    def parse(self, cell: object, parameter: str) -> float | str | None:
        """Turn one raw cell into a number or text, or None where it is blank."""
        if is_nothing(cell) if self.zero_is_blank else is_blank(cell):
            if self.required:
                raise InputError(f"{self.title} is missing", parameter=parameter, allowed=self._allowed())
            return self.default
        if self.unit:
            return number_in(cell, self.unit, parameter=f"{parameter}, {self.title}")
        text = str(cell).strip()
        if not self.choices:
            return text
        for choice in self.choices:
            if choice.casefold() == text.casefold():
                return choice
        raise InputError(
            f"unknown {self.title}{nearest(text.casefold(), self.choices)}",
            parameter=parameter,
            found=text,
            allowed=", ".join(self.choices),
        )

    def _allowed(self) -> str:
        if self.choices:
            return ", ".join(self.choices)
        return "text" if not self.unit else "a number" + (f" in {self.unit}" if self.unit != "-" else "")


@dataclass(frozen=True, slots=True)
class TableLayout:
    """What a table argument looks like; see its two kinds below."""

    columns: tuple[Column, ...]

    def parse(self, value: object, *, parameter: str) -> object:
        """Turn raw cells into parsed rows or pairs."""
        raise NotImplementedError

    def describe(self) -> str:
        """Say in words what the table holds."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True)
class RowLayout(TableLayout):
    """A table with one thing per row, columns in fixed order; optional ones at the end."""

    def parse(self, value: object, *, parameter: str) -> list[Row]:
        """Parse rows; blank rows are skipped, and a header row is recognised.

        Parameters
        ----------
        value : list of rows
            Raw cells.
        parameter : text
            Name of the argument, for error sentences.

        Returns
        -------
        list of dict
            One per filled row, keyed by column name, with ``row`` the number
            of the row within the given range, from 1.

        Raises
        ------
        InputError
            Naming the row and column that has to be mended.
        """
        rows: list[Row] = []
        for number, cells in enumerate(_as_rows(value), start=1):
            if all(map(is_nothing, cells)):
                continue
            if not rows and self._is_header(cells):
                continue
            rows.append(self._row(cells, number, f"{parameter} row {number}"))
        if not rows:
            raise InputError("has no filled row", parameter=parameter, allowed=self.describe())
        return rows

    def _row(self, cells: list[object], number: int, place: str) -> Row:
        extra = [cell for cell in cells[len(self.columns) :] if not is_blank(cell)]
        if extra:
            raise InputError(
                "has more cells than the table has columns",
                parameter=place,
                found=extra[0],
                allowed=self.describe(),
            )
        padded = [*cells, *[None] * (len(self.columns) - len(cells))]
        parsed: dict[str, float | str | None] = {
            column.name: column.parse(cell, place) for column, cell in zip(self.columns, padded, strict=False)
        }
        parsed["row"] = float(number)
        return parsed

    def _is_header(self, cells: list[object]) -> bool:
        titles = {column.title for column in self.columns}
        texts = [str(cell).split("[")[0].strip().casefold() for cell in cells if not is_blank(cell)]
        return len(texts) > 1 and all(text in titles for text in texts)

    def describe(self) -> str:
        """List the columns with their units."""
        return "columns " + ", ".join(
            column.title + (f" [{column.unit}]" if column.unit and column.unit != "-" else "")
            for column in self.columns
        )


@dataclass(frozen=True, slots=True)
class PairLayout(TableLayout):
    """A table of two columns, name and value, in any order of rows.

    Parameters
    ----------
    as_row : tuple of text
        Names whose values may be given as one row of numbers instead, in this order.
    """

    as_row: tuple[str, ...] = ()

    def parse(self, value: object, *, parameter: str) -> Row:
        """Parse name/value rows; unknown names are refused with the nearest known one.

        Parameters
        ----------
        value : list of rows
            Raw cells: name, value, and a unit that a plain number is meant in, if it is not the
            usual one. A text there that is no unit is a note, as are further cells. Blank rows
            and a header row are skipped.
        parameter : text
            Name of the argument, for error sentences.

        Returns
        -------
        dict
            Column name to number or text; optional names not given have their default.

        Raises
        ------
        InputError
            For an unknown, repeated, missing or unreadable entry.
        """
        known = {column.title: column for column in self.columns}
        found: dict[str, float | str | None] = {}
        for number, given in enumerate(self._as_pairs(_as_rows(value)), start=1):
            cells = [*given, *[None] * (3 - len(given))]
            place = f"{parameter} row {number}"
            if is_nothing(cells[0]):
                if not is_nothing(cells[1]):
                    raise InputError(
                        "a value without its name", parameter=place, found=cells[1], allowed=self.describe()
                    )
                continue
            head, _, bracketed = str(cells[0]).partition("[")
            name = head.replace("_", " ").strip().casefold()
            if name not in known:
                if not found and name == "name" and str(cells[1]).strip().casefold() == "value":
                    continue
                raise InputError(
                    f"unknown name{nearest(name, known)}",
                    parameter=place,
                    found=str(cells[0]),
                    allowed=self.describe(),
                )
            column = known[name]
            if column.name in found:
                raise InputError(f"{column.title} stands there twice", parameter=place)
            found[column.name] = column.parse(
                _with_unit(cells[1], bracketed.partition("]")[0] or cells[2], column), place
            )
        for column in self.columns:
            if column.name not in found:
                found[column.name] = column.parse(None, parameter)
        return found

    def _as_pairs(self, rows: list[list[object]]) -> list[list[object]]:
        """A single row of values, in the agreed order, is as good as pairs."""
        if self.as_row and len(rows) == 1 and len(rows[0]) >= 2 and starts_with_number(rows[0][0]):
            return [list(pair) for pair in zip(self.as_row, rows[0], strict=False)]
        return rows

    def describe(self) -> str:
        """List the names with their units."""
        return "names " + ", ".join(
            column.title + (f" [{column.unit}]" if column.unit and column.unit != "-" else "")
            for column in self.columns
        )


def is_blank(cell: object) -> bool:
    """Whether a cell holds nothing, or only white space."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def starts_with_number(cell: object) -> bool:
    """Whether a cell is a number, or a text that starts like one."""
    return not is_blank(cell) and str(cell).strip()[0] in "0123456789.,+-−"


def is_nothing(cell: object) -> bool:
    """Whether a cell holds nothing, or a 0 that may stand for a blank (some spreadsheets hand it over so)."""
    return is_blank(cell) or (not isinstance(cell, str | bool) and cell == 0)


def nearest(name: str, known: Iterable[str]) -> str:
    """Suggest the known name that is nearest to a mistyped one.

    Parameters
    ----------
    name : text
        What was typed.
    known : iterable of text
        The names there are.

    Returns
    -------
    text
        ``: did you mean "…"?`` as a tail for an error sentence, or nothing.
    """
    close = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return f': did you mean "{close[0]}"?' if close else ""


def _as_rows(value: object) -> list[list[object]]:
    if isinstance(value, list | tuple):
        return [list(row) if isinstance(row, list | tuple) else [row] for row in value]
    return [[value]]


def _with_unit(cell: object, unit: object, column: Column) -> object:
    """Add the unit that stands beside a plain number, where it is a unit and not a note."""
    if not column.unit or not isinstance(unit, str) or isinstance(cell, str | bool) or is_nothing(cell):
        return cell
    try:
        beside = shown_unit(unit)
    except InputError:
        return cell
    return cell if beside == shown_unit(column.unit) else f"{cell} {beside}"
