"""Reading the fields of a template workbook, whatever its kind: each is found by its defined name.

What cannot be understood is noted with sheet and cell instead of stopping at the
first; `reading` turns the fields into a record, and `checking` into a list.
"""

from __future__ import annotations

import dataclasses
import datetime
import re
from collections.abc import Sequence
from typing import cast

import dampcell.functions.cells  # noqa: F401 - importing the families fills the registry
from dampcell.functions.errors import InputError, WorkbookError
from dampcell.functions.registry import CellError, lookup
from dampcell.functions.tables import Column, PairLayout, is_blank, nearest
from dampcell.functions.units import number_in, shown_unit
from dampcell.workbooks.fields import Field, load_fields
from dampcell.workbooks.record import CellSource, Entry, Pair, Scalar
from dampcell.workbooks.sheets import address
from dampcell.workbooks.sheets import area as corners_of

__all__ = ["Area", "FormReader", "pair_columns"]

_EPOCH_1900, _EPOCH_1904 = datetime.date(1899, 12, 30), datetime.date(1904, 1, 1)
_SERIALS = (1.0, 73051.0)
_REFERENCE = re.compile(r"=?(?:'((?:[^']|'')+)'|([^'!]+))!(\$?[A-Z]{1,3}\$?\d+(?::\$?[A-Z]{1,3}\$?\d+)?)")


def pair_columns(declared: Field) -> tuple[Column, ...]:
    """List the names of a name/value table.

    Parameters
    ----------
    declared : Field
        A field of type pairs; its formula names function and argument, such as ``FILL_VOLUME.cartridge``.

    Returns
    -------
    tuple of Column
    """
    function, _, argument = declared.formula.partition(".")
    layout = next(a.layout for a in lookup(function).arguments if a.name == argument)
    assert isinstance(layout, PairLayout)
    return layout.columns


@dataclasses.dataclass(frozen=True, slots=True)
class Area:
    """A rectangle of cells; rows and columns count from 1."""

    sheet: str
    top: int
    left: int
    bottom: int
    right: int

    @property
    def is_empty(self) -> bool:
        """Whether it has no cells."""
        return self.bottom < self.top

    def cell(self, row: int, column: int) -> str:
        """Address of a cell, counted from 0 within the area."""
        return address(self.top + row, self.left + column)


class FormReader:
    """Reads one workbook of a kind, gathering problems instead of stopping at the first.

    Parameters
    ----------
    values : CellSource
        Cells and names of the workbook.
    file : text
        Its name, for messages.
    kind : text
        Kind of template, such as ``stack_record``.

    Raises
    ------
    WorkbookError
        If it is no workbook of that kind, or lacks a named cell that is required. Others may be
        missing, as in a workbook of an older template: they count as blank.
    """

    def __init__(self, values: CellSource, file: str, kind: str) -> None:
        self.values = values
        self.file = file
        self.fields = {declared.name: declared for declared in load_fields(kind)}
        self.problems: list[WorkbookError] = []
        self.doubts: list[WorkbookError] = []
        self.entries: dict[str, Entry] = {}
        self.lists: dict[str, tuple[Scalar, ...]] = {}
        names = {name.casefold(): target for name, target in values.defined_names.items()}
        self.targets = names
        known = [declared for declared in self.fields.values() if declared.kind == "input"]
        missing = [declared for declared in known if declared.name.casefold() not in names]
        title = kind.replace("_", " ")
        if len(missing) > len(known) / 2:
            raise WorkbookError(
                f"is no {title}: its named cells are not there",
                file=file,
                allowed=f'a workbook that "dampcell new {kind}" made',
            )
        needed = [declared for declared in missing if declared.required]
        if needed:
            raise WorkbookError(
                f"the {_names(needed)} missing",
                file=file,
                allowed=f"a {title} with all its names; copy the inputs into a new one",
            )
        if missing:
            self.doubts.append(
                WorkbookError(
                    f"seems made from an older template: the {_names(missing)} missing, and counted as blank",
                    file=file,
                    allowed="all the names of a new workbook, if you need what is missing",
                )
            )

    def read_fields(self) -> None:
        """Read all lists and all fields of one cell."""
        for declared in self.fields.values():
            if declared.type == "numbers":
                self.lists[declared.name] = self._list(declared)
            elif not declared.is_table:
                self.entries[declared.name] = self._entry(declared)

    def read_tables(self) -> None:
        """Read all tables for what is wrong in them; the values are not kept."""
        for declared in self.fields.values():
            if declared.kind != "input":
                continue
            if declared.type == "rows":
                if not self.rows(declared) and declared.wanted:
                    place = self.area(declared)
                    self.doubt(f"{declared.label}: nothing is filled in yet", place.sheet, place.cell(0, 0))
            elif declared.type == "pairs":
                self.pairs(declared)
            elif declared.type == "stack":
                self.stack_rows(declared)

    def area(self, declared: Field) -> Area:
        """Where a field stands; without any cells for a field that an older template did not have."""
        target = self.targets.get(declared.name.casefold())
        if target is None and not declared.required:
            return Area(declared.sheet, 1, 1, 0, 0)
        target = target or ""
        match = _REFERENCE.fullmatch(target.strip())
        corners = corners_of(match[3]) if match else None
        if match is None or corners is None:
            raise WorkbookError(
                f'the cell name "{declared.name}" ({declared.label}) points nowhere: its cells were deleted',
                file=self.file,
                found=target or None,
                allowed="a workbook with all its cells; copy the inputs into a new one",
            )
        sheet = (match[1] or match[2]).replace("''", "'")
        if sheet not in self.values.sheet_names:
            close = nearest(sheet, self.values.sheet_names)
            raise WorkbookError(
                f'the sheet "{sheet}" is missing, where {declared.label} should stand{close}', file=self.file
            )
        return Area(sheet, corners[0], corners[1], corners[2], corners[3])

    def block(self, place: Area) -> list[list[object]]:
        """Values of an area; no rows where an older template has no cells."""
        if place.is_empty:
            return []
        return self.values.block(place.sheet, place.top, place.left, place.bottom, place.right)

    def _entry(self, declared: Field) -> Entry:
        place = self.area(declared)
        value = None if place.is_empty else self.block(place)[0][0]
        cell = "" if place.is_empty else place.cell(0, 0)
        if declared.kind == "result":
            return Entry(declared, place.sheet, cell, _result(value))
        return Entry(declared, place.sheet, cell, self._input(declared, value, place.sheet, cell))

    def _list(self, declared: Field) -> tuple[Scalar, ...]:
        place = self.area(declared)
        return tuple(
            _result(value)
            if declared.kind == "result"
            else self._input(declared, value, place.sheet, place.cell(row, column))
            for row, cells in enumerate(self.block(place))
            for column, value in enumerate(cells)
        )

    def _input(self, declared: Field, value: object, sheet: str, cell: str) -> Scalar:
        """Turn one input cell into its value; what cannot be understood is noted and read as blank."""
        if is_blank(value):
            if declared.required:
                self.complain(f"{declared.label} is missing", sheet, cell, allowed=_wanted(declared))
            elif declared.wanted:
                self.doubt(f"{declared.label} is missing", sheet, cell, allowed=_wanted(declared))
            if declared.type in ("number", "money") and declared.default:
                return float(declared.default)
            return declared.default or None if declared.type == "choice" else None
        try:
            return self._understood(declared, value, sheet, cell)
        except InputError as error:
            self.complain(
                f"{declared.label} {error.problem}", sheet, cell, found=error.found, allowed=error.allowed
            )
            return None

    def _understood(self, declared: Field, value: object, sheet: str, cell: str) -> Scalar:
        if isinstance(value, CellError):
            raise InputError(f"holds the error value {value.code}", allowed=_wanted(declared))
        if declared.type in ("number", "numbers", "money"):
            number = number_in(value, declared.unit or "-", parameter=declared.label)
            low, high = declared.minimum, declared.maximum
            if (low is not None and number < low) or (high is not None and number > high):
                self.doubt(
                    f"{declared.label} is doubtful", sheet, cell, found=number, allowed=_wanted(declared)
                )
            return number
        if declared.type == "date":
            return self._date(value)
        text = str(int(value)) if isinstance(value, float) and value.is_integer() else str(value).strip()
        if declared.type == "choice":
            for choice in declared.choices:
                if choice.casefold() == text.casefold():
                    return choice
            raise InputError(
                f"is none of its choices{nearest(text.casefold(), declared.choices)}",
                found=text,
                allowed=", ".join(declared.choices),
            )
        return text

    def _date(self, value: object) -> datetime.date:
        if isinstance(value, datetime.datetime):
            return value.date()
        if isinstance(value, datetime.date):
            return value
        if (
            isinstance(value, int | float)
            and not isinstance(value, bool)
            and _SERIALS[0] <= value < _SERIALS[1]
        ):
            epoch = _EPOCH_1904 if self.values.date1904 else _EPOCH_1900
            return epoch + datetime.timedelta(days=int(cast(float, value)))
        if isinstance(value, str):
            try:
                return datetime.date.fromisoformat(value.strip())
            except ValueError:
                pass
        raise InputError("is no date", found=value, allowed="a date, such as 2025-03-04")

    def rows(self, declared: Field) -> list[dict[str, Scalar]]:
        """Read a table; rows without any input are left out."""
        place = self.area(declared)
        self.check_heads(declared, place)
        filled: list[dict[str, Scalar]] = []
        for index, cells in enumerate(self.block(place)):
            inputs = [
                cell for column, cell in zip(declared.columns, cells, strict=False) if not column.formula
            ]
            if all(is_blank(cell) for cell in inputs):
                continue
            row: dict[str, Scalar] = {}
            for offset, (column, cell) in enumerate(zip(declared.columns, cells, strict=False)):
                if column.formula:
                    row[column.name] = _result(cell)
                else:
                    row[column.name] = self._input(column, cell, place.sheet, place.cell(index, offset))
            filled.append(row)
        return filled

    def check_heads(self, declared: Field, place: Area) -> None:
        """Refuse a table whose columns were moved: its heads stand right above its named cells."""
        if place.top == 1:
            return
        width = min(len(declared.columns), place.right - place.left + 1)
        heads = self.values.block(
            place.sheet, place.top - 1, place.left, place.top - 1, place.left + width - 1
        )[0]
        for offset, (column, head) in enumerate(zip(declared.columns, heads, strict=False)):
            if _plain(head) != _plain(column.label):
                raise WorkbookError(
                    "the head of this column is not the expected one; put the columns back in order",
                    file=self.file,
                    sheet=place.sheet,
                    cell=address(place.top - 1, place.left + offset),
                    found=head,
                    allowed=f'"{column.label}"',
                )

    def pairs(self, declared: Field) -> tuple[Pair, ...]:
        """Read a name/value table; values stay raw, but what cannot be understood is noted."""
        place = self.area(declared)
        known = {column.title: column for column in pair_columns(declared)}
        pairs = []
        for index, cells in enumerate(self.block(place)):
            name, value, unit = [*cells, None, None][:3]
            if is_blank(name):
                if not is_blank(value):
                    self.complain("a value without its name", place.sheet, place.cell(index, 0), found=value)
                continue
            column = known.get(str(name).strip().casefold())
            if column is None:
                self.complain(
                    f"unknown name{nearest(str(name), known)}", place.sheet, place.cell(index, 0), found=name
                )
            elif isinstance(value, CellError):
                self.complain(f"{name} holds the error value {value.code}", place.sheet, place.cell(index, 1))
            elif not is_blank(value):
                self._check_pair(column, value, place.sheet, place.cell(index, 1))
            pairs.append(Pair(str(name), value, "" if is_blank(unit) else str(unit), place.cell(index, 1)))
        return tuple(pairs)

    def _check_pair(self, column: Column, value: object, sheet: str, cell: str) -> None:
        try:
            column.parse(value, column.title)
        except InputError as error:
            self.complain(
                f"{column.title}: {error.problem}", sheet, cell, found=error.found, allowed=error.allowed
            )

    def stack_rows(self, declared: Field) -> tuple[Area, list[int], list[list[object]]]:
        """Read a stack: its place, the filled rows, and all rows with the note beside them."""
        place = self.area(declared)
        self.check_heads(declared, place)
        width = place.right - place.left + 1
        # The note of a row stands right of its named cells.
        block = self.block(dataclasses.replace(place, right=place.right + 1))
        kept = [index for index, row in enumerate(block) if not all(is_blank(cell) for cell in row[:width])]
        if not kept and declared.required:
            self.complain(f"{declared.label}: the stack is blank", place.sheet, place.cell(0, 0))
        for index in kept:
            self.check_stack_row(declared, place, index, block[index])
        return place, kept, block

    def check_stack_row(self, declared: Field, place: Area, index: int, cells: Sequence[object]) -> None:
        clamp = str(cells[0] or "").strip().casefold() == "clamp"
        for offset, column in enumerate(declared.columns[: place.right - place.left + 1]):
            if clamp and column.name == "thickness" and is_blank(cells[offset]):
                continue
            value = self._input(column, cells[offset], place.sheet, place.cell(index, offset))
            if column.type == "number" and isinstance(value, float) and value <= 0:
                self.complain(
                    f"{column.label} must be above 0",
                    place.sheet,
                    place.cell(index, offset),
                    found=value,
                    allowed=_wanted(column),
                )

    def doubt(
        self, problem: str, sheet: str, cell: str, *, found: object = None, allowed: str | None = None
    ) -> None:
        self.doubts.append(
            WorkbookError(problem, file=self.file, sheet=sheet, cell=cell, found=found, allowed=allowed)
        )

    def complain(
        self, problem: str, sheet: str, cell: str, *, found: object = None, allowed: str | None = None
    ) -> None:
        self.problems.append(
            WorkbookError(problem, file=self.file, sheet=sheet, cell=cell, found=found, allowed=allowed)
        )


def _names(missing: Sequence[Field]) -> str:
    first, more = missing[0], len(missing) - 1
    name = f'cell name "{first.name}" ({first.label}, sheet {first.sheet})'
    return f"{name} is" if not more else f"{name} and {more} more are"


def _result(value: object) -> Scalar:
    if is_blank(value):
        return None
    if isinstance(value, bool):
        return float(value)
    if isinstance(value, int):
        return float(value)
    return cast(Scalar, value)


def _wanted(declared: Field) -> str | None:
    if declared.type == "choice":
        return ", ".join(declared.choices)
    if declared.type == "date":
        return "a date, such as 2025-03-04"
    if declared.type not in ("number", "numbers", "money"):
        return None
    unit = shown_unit(declared.unit) if declared.unit else ""
    low, high = declared.minimum, declared.maximum
    span = f" from {low:g} to {high:g}" if low is not None and high is not None else ""
    return f"a number{f' in {unit}' if unit else ''}{span}"


def _plain(head: object) -> str:
    return str(head or "").split("[")[0].rstrip(" *").strip().casefold()
