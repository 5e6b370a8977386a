"""From cells to a job record: every field is found by its defined name.

`read_record` refuses a workbook that cannot be understood and says which cell to
mend; `check_record` lists all that is missing or doubtful. A renamed sheet or
rows inserted into a table move the defined names along, so both are understood.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import TypeVar, cast

from dampcell.functions.errors import WorkbookError
from dampcell.functions.tables import is_blank
from dampcell.workbooks.fields import VARIANTS, Field
from dampcell.workbooks.form_reading import FormReader
from dampcell.workbooks.record import (
    BleedStep,
    CellSource,
    Checkpoint,
    Dial,
    Fill,
    Job,
    JobRecord,
    Layer,
    Oil,
    Orientation,
    PriceLine,
    Scalar,
    Seat,
    SmallPart,
    Teardown,
    Valve,
    Variant,
)

__all__ = ["RecordReader", "check_record", "read_record", "read_what_is_there"]

_KIND = "stack_record"

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
    reader = RecordReader(values, file)
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
    reader = RecordReader(values, file)
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
    reader = RecordReader(values, file)
    reader.record()
    return (*reader.problems, *reader.doubts)


class RecordReader(FormReader):
    """Reads a stack record."""

    def __init__(self, values: CellSource, file: str) -> None:
        super().__init__(values, file, _KIND)

    def record(self) -> JobRecord:
        """Read all fields and put the record together."""
        fields = self.fields
        self.read_fields()
        tables = {name: self.rows(declared) for name, declared in fields.items() if declared.type == "rows"}
        cartridge = self.pairs(fields["cartridge"])
        teardown = Teardown(
            orientations=tuple(_made(Orientation, row) for row in tables["orientations"]),
            layers=tuple(_made(Layer, row) for row in tables["teardown"]),
            small_parts=tuple(_made(SmallPart, row) for row in tables["small_parts"]),
        )
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
                sheet=self.area(fields["valve"]).sheet,
                pairs=self.pairs(fields["valve"]),
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
            teardown=teardown,
        )

    def _variants(self, fields: dict[str, Field]) -> Iterator[Variant]:
        for key in VARIANTS:
            declared = fields[f"stack_{key}"]
            place, kept, block = self.stack_rows(declared)
            if not kept:
                continue
            width = place.right - place.left + 1
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


def _made(group: type[Group], row: dict[str, Scalar]) -> Group:
    """Make one row's dataclass; members that the row lacks are left to the table."""
    members = dataclasses.fields(cast("type", group))
    return group(
        **{
            member.name: "" if member.type == "str" and row[member.name] is None else row[member.name]
            for member in members
        }
    )
