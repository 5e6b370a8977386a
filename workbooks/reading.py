"""From cells to a job record: every field is found by its defined name.

`read_record` refuses a workbook that cannot be understood and says which cell to
mend; `check_record` lists all that is missing or doubtful. A renamed sheet or
rows inserted into a table move the defined names along, so both are understood.
"""

from __future__ import annotations

import dataclasses
import datetime
import re
from collections.abc import Iterator, Sequence
from typing import TypeVar, cast

from dampcell.functions.errors import InputError, WorkbookError
from dampcell.functions.registry import CellError
from dampcell.functions.tables import is_blank, nearest
from dampcell.functions.units import number_in, shown_unit
from dampcell.workbooks.fields import VARIANTS, Field, load_fields
from dampcell.workbooks.record import (
    BleedStep,
    CellSource,
    Checkpoint,
    Dial,
    Entry,
    Fill,
    Job,
    JobRecord,
    Oil,
    Pair,
    PriceLine,
    Scalar,
    Seat,
    Valve,
    Variant,
)
from dampcell.workbooks.sheets import address, area

__all__ = ["check_record", "read_record", "read_what_is_there"]

_KIND = "stack_record"
_EPOCH_1900, _EPOCH_1904 = datetime.date(1899, 12, 30), datetime.date(1904, 1, 1)
_SERIALS = (1.0, 73051.0)
_REFERENCE = re.compile(r"=?(?:'((?:[^']|'')+)'|([^'!]+))!(\$?[A-Z]{1,3}\$?\d+(?::\$?[A-Z]{1,3}\$?\d+)?)")

Group = TypeVar("Group")


def read_record(values: CellSource, file: str) -> JobRecord:
    """Read a stack record.

    Parameters
    ----------
    values : CellSource
        Cells and names of the workbook, results recalculated.
    file : text
        Its name, for messages.

    Returns
    -------
    JobRecord

    Raises
    ------
    WorkbookError
        If the workbook is no stack record, or a cell cannot be understood; the
        sentence names sheet and cell.
    """
    reader = _Reader(values, file)
    record = reader.record()
    if reader.problems:
        raise reader.problems[0]
    return record


def read_what_is_there(values: CellSource, file: str) -> tuple[JobRecord, tuple[WorkbookError, ...]]:
    """Read a stack record that may be incomplete; what cannot be understood is blank.

    Parameters
    ----------
    values, file
        As for `read_record`.

    Returns
    -------
    tuple of JobRecord and tuple of WorkbookError
        The record, and what `read_record` would refuse it for.

    Raises
    ------
    WorkbookError
        If the workbook is no stack record at all.
    """
    reader = _Reader(values, file)
    record = reader.record()
    return record, tuple(reader.problems)


def check_record(values: CellSource, file: str) -> tuple[WorkbookError, ...]:
    """List what is missing or doubtful in a stack record.

    Parameters
    ----------
    values, file
        As for `read_record`.

    Returns
    -------
    tuple of WorkbookError
        First what `read_record` would refuse, then what is only doubtful.

    Raises
    ------
    WorkbookError
        If the workbook is no stack record at all.
    """
    reader = _Reader(values, file)
    reader.record()
    return (*reader.problems, *reader.doubts)


@dataclasses.dataclass(frozen=True, slots=True)
class _Area:
    sheet: str
    top: int
    left: int
    bottom: int
    right: int

    def cell(self, row: int, column: int) -> str:
        """Address of a cell, counted from 0 within the area."""
        return address(self.top + row, self.left + column)


class _Reader:
    """Reads one workbook, gathering problems instead of stopping at the first."""

    def __init__(self, values: CellSource, file: str) -> None:
        self.values = values
        self.file = file
        self.problems: list[WorkbookError] = []
        self.doubts: list[WorkbookError] = []
        self.entries: dict[str, Entry] = {}
        self.lists: dict[str, tuple[Scalar, ...]] = {}
        names = {name.casefold(): target for name, target in values.defined_names.items()}
        self.targets = names
        known = [declared for declared in load_fields(_KIND) if declared.kind == "input"]
        missing = [declared for declared in known if declared.name.casefold() not in names]
        if len(missing) > len(known) / 2:
            raise WorkbookError(
                "is no stack record: its named cells are not there",
                file=file,
                allowed='a workbook that "dampcell new stack_record" made',
            )
        if missing:
            first = missing[0]
            raise WorkbookError(
                f'the cell name "{first.name}" ({first.label}, sheet {first.sheet}) is missing'
                + (f", and {len(missing) - 1} more" if len(missing) > 1 else ""),
                file=file,
                allowed="a stack record with all its names; copy the inputs into a new one",
            )

    def record(self) -> JobRecord:
        """Read all fields and put the record together."""
        fields = {declared.name: declared for declared in load_fields(_KIND)}
        for declared in fields.values():
            if declared.type == "numbers":
                self.lists[declared.name] = self._list(declared)
            elif not declared.is_table:
                self.entries[declared.name] = self._entry(declared)
        tables = {name: self._rows(declared) for name, declared in fields.items() if declared.type == "rows"}
        cartridge = self._pairs(fields["cartridge"])
        return JobRecord(
            file=self.file,
            job=self._group(
                Job,
                dials=tuple(_made(Dial, row) for row in tables["dials"]),
                price_lines=tuple(
                    _made(PriceLine, row) for row in tables["price_lines"] if row["price"] is not None
                ),
            ),
            seat=self._group(Seat, loads=self._numbers("loads")),
            valve=Valve(
                sheet=self._area(fields["valve"]).sheet,
                pairs=self._pairs(fields["valve"]),
                velocities=self._numbers("velocities"),
            ),
            variants=tuple(self._variants(fields)),
            oil=self._group(Oil),
            fill=Fill(
                sheet=fields["cartridge"].sheet,
                cartridge=cartridge,
                bleed_log=tuple(_made(BleedStep, row) for row in tables["bleed_log"]),
            ),
            checklist=tuple(_made(Checkpoint, row) for row in tables["checklist"]),
            entries=self.entries,
        )

    def _area(self, declared: Field) -> _Area:
        target = self.targets.get(declared.name.casefold(), "")
        match = _REFERENCE.fullmatch(target.strip())
        corners = area(match[3]) if match else None
        if match is None or corners is None:
            raise WorkbookError(
                f'the cell name "{declared.name}" ({declared.label}) points nowhere: its cells were deleted',
                file=self.file,
                found=target or None,
                allowed="a stack record with all its cells; copy the inputs into a new one",
            )
        sheet = (match[1] or match[2]).replace("''", "'")
        if sheet not in self.values.sheet_names:
            close = nearest(sheet, self.values.sheet_names)
            raise WorkbookError(
                f'the sheet "{sheet}" is missing, where {declared.label} should stand{close}', file=self.file
            )
        return _Area(sheet, corners[0], corners[1], corners[2], corners[3])

    def _block(self, place: _Area) -> list[list[object]]:
        return self.values.block(place.sheet, place.top, place.left, place.bottom, place.right)

    def _entry(self, declared: Field) -> Entry:
        place = self._area(declared)
        value = self._block(place)[0][0]
        cell = place.cell(0, 0)
        if declared.kind == "result":
            return Entry(declared, place.sheet, cell, _result(value))
        return Entry(declared, place.sheet, cell, self._input(declared, value, place.sheet, cell))

    def _list(self, declared: Field) -> tuple[Scalar, ...]:
        place = self._area(declared)
        cells = [cell for row in self._block(place) for cell in row]
        if declared.kind == "result":
            return tuple(_result(value) for value in cells)
        return tuple(
            self._input(declared, value, place.sheet, place.cell(index, 0))
            for index, value in enumerate(cells)
        )

    def _input(self, declared: Field, value: object, sheet: str, cell: str) -> Scalar:
        """Turn one input cell into its value; what cannot be understood is noted and read as blank."""
        if is_blank(value):
            if declared.required:
                self._complain(f"{declared.label} is missing", sheet, cell, allowed=_wanted(declared))
            elif declared.wanted:
                self._doubt(f"{declared.label} is missing", sheet, cell, allowed=_wanted(declared))
            if declared.type in ("number", "money") and declared.default:
                return float(declared.default)
            return declared.default or None if declared.type == "choice" else None
        try:
            return self._understood(declared, value, sheet, cell)
        except InputError as error:
            self._complain(
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
                self._doubt(
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

    def _rows(self, declared: Field) -> list[dict[str, Scalar]]:
        """Read a table; rows without any input are left out."""
        place = self._area(declared)
        self._check_heads(declared, place)
        filled: list[dict[str, Scalar]] = []
        for index, cells in enumerate(self._block(place)):
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

    def _check_heads(self, declared: Field, place: _Area) -> None:
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

    def _pairs(self, declared: Field) -> tuple[Pair, ...]:
        place = self._area(declared)
        pairs = []
        for index, cells in enumerate(self._block(place)):
            if is_blank(cells[0]):
                continue
            cell = place.cell(index, 1)
            value, unit = [*cells, None, None][1:3]
            if isinstance(value, CellError):
                self._complain(f"{cells[0]} holds the error value {value.code}", place.sheet, cell)
            pairs.append(Pair(str(cells[0]), value, "" if is_blank(unit) else str(unit), cell))
        return tuple(pairs)

    def _variants(self, fields: dict[str, Field]) -> Iterator[Variant]:
        for key in VARIANTS:
            declared = fields[f"stack_{key}"]
            place = self._area(declared)
            self._check_heads(declared, place)
            width = place.right - place.left + 1
            block = self.values.block(place.sheet, place.top, place.left, place.bottom, place.right + 1)
            kept = [
                index for index, row in enumerate(block) if not all(is_blank(cell) for cell in row[:width])
            ]
            if not kept:
                if declared.required:
                    self._complain(f"{declared.label}: the stack is blank", place.sheet, place.cell(0, 0))
                continue
            for index in kept:
                self._check_stack_row(declared, place, index, block[index])
            yield Variant(
                key=key,
                label=str(self.entries[f"label_{key}"].value or declared.label),
                sheet=place.sheet,
                rows=tuple(tuple(block[index][:width]) for index in kept),
                places=tuple(f"{place.cell(index, 0)}:{place.cell(index, width - 1)}" for index in kept),
                notes=tuple(
                    "" if is_blank(block[index][width]) else str(block[index][width]) for index in kept
                ),
                lifts=self.lists[f"lifts_{key}"],
                clicks_open=self._clicks(key),
                forces=self.lists[f"forces_{key}"],
                results={
                    name.removesuffix(f"_{key}"): entry
                    for name, entry in self.entries.items()
                    if entry.field.variant == key and entry.field.kind == "result"
                },
            )

    def _clicks(self, key: str) -> float:
        """Adjuster position of a variant; left blank, that of the stack as found, and closed without that."""
        for one in (key, VARIANTS[0]):
            value = self.entries[f"clicks_open_{one}"].value
            if isinstance(value, float):
                return value
        return 0.0

    def _check_stack_row(self, declared: Field, place: _Area, index: int, cells: Sequence[object]) -> None:
        clamp = str(cells[0] or "").strip().casefold() == "clamp"
        for offset, column in enumerate(declared.columns[: place.right - place.left + 1]):
            if clamp and column.name == "thickness" and is_blank(cells[offset]):
                continue
            value = self._input(column, cells[offset], place.sheet, place.cell(index, offset))
            if column.type == "number" and isinstance(value, float) and value <= 0:
                self._complain(
                    f"{column.label} must be above 0",
                    place.sheet,
                    place.cell(index, offset),
                    found=value,
                    allowed=_wanted(column),
                )

    def _numbers(self, name: str) -> tuple[float, ...]:
        return tuple(value for value in self.lists[name] if isinstance(value, float))

    def _group(self, group: type[Group], **given: object) -> Group:
        """Make a dataclass whose members are fields of the same name."""
        members = dataclasses.fields(cast("type", group))
        texts = {member.name for member in members if member.type == "str"}
        found = {
            member.name: self.entries[member.name].value for member in members if member.name in self.entries
        }
        filled = {name: "" if value is None and name in texts else value for name, value in found.items()}
        return group(**filled, **given)

    def _doubt(
        self, problem: str, sheet: str, cell: str, *, found: object = None, allowed: str | None = None
    ) -> None:
        self.doubts.append(
            WorkbookError(problem, file=self.file, sheet=sheet, cell=cell, found=found, allowed=allowed)
        )

    def _complain(
        self, problem: str, sheet: str, cell: str, *, found: object = None, allowed: str | None = None
    ) -> None:
        self.problems.append(
            WorkbookError(problem, file=self.file, sheet=sheet, cell=cell, found=found, allowed=allowed)
        )


def _made(group: type[Group], row: dict[str, Scalar]) -> Group:
    """Make one row's dataclass; members that the row lacks are left to the table."""
    members = dataclasses.fields(cast("type", group))
    return group(
        **{
            member.name: "" if member.type == "str" and row[member.name] is None else row[member.name]
            for member in members
        }
    )


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


def _text(cell: object) -> str:
    return "" if is_blank(cell) else str(cell)


def _plain(head: object) -> str:
    return str(head or "").split("[")[0].rstrip(" *").strip().casefold()
