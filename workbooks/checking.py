"""What is missing or doubtful in a template workbook of any kind, with sheet and cell."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dampcell.functions.errors import InputError, WorkbookError
from dampcell.functions.tables import is_blank, nearest
from dampcell.functions.units import number_in
from dampcell.workbooks.engine import recalculate_package
from dampcell.workbooks.fields import Field
from dampcell.workbooks.form_reading import FormReader
from dampcell.workbooks.forms.templates import KINDS
from dampcell.workbooks.kinds import JOB, kind_of
from dampcell.workbooks.package import open_package
from dampcell.workbooks.reading import RecordReader
from dampcell.workbooks.record import CellSource
from dampcell.workbooks.results import Recalculated
from dampcell.workbooks.sources import SavedCells

__all__ = ["Checked", "check_workbook", "kind_of_workbook"]

_MOST_ERRORS = 12


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check found.

    Parameters
    ----------
    file : text
        Name of the workbook.
    kind : text
        Kind of template that it was made from.
    to_mend : tuple of WorkbookError
        What is missing or cannot be understood.
    to_look_at : tuple of WorkbookError
        What is only doubtful.
    """

    file: str
    kind: str
    to_mend: tuple[WorkbookError, ...]
    to_look_at: tuple[WorkbookError, ...]


def kind_of_workbook(values: CellSource, file: str) -> str:
    """Tell from its named cells which template a workbook was made from.

    Parameters
    ----------
    values : CellSource
        The workbook.
    file : text
        Its name, for messages.

    Returns
    -------
    text
        One of the kinds of templates.

    Raises
    ------
    WorkbookError
        If it was made from none of them.
    """
    kind = kind_of(values.defined_names)
    if kind is None:
        raise WorkbookError(
            "is made from none of the templates: their named cells are not there",
            file=file,
            allowed='a workbook that "dampcell new" made: ' + ", ".join(KINDS),
        )
    return kind


def check_workbook(data: bytes, file: str) -> Checked:
    """Check a workbook made from a template.

    Parameters
    ----------
    data : bytes
        The workbook; it is only read.
    file : text
        Its name, for messages.

    Returns
    -------
    Checked

    Raises
    ------
    WorkbookError
        If it is no usable workbook, or was made from no template.
    """
    package = open_package(data, file)
    kind = kind_of_workbook(SavedCells(package), file)
    recalculated = recalculate_package(package)
    values = SavedCells(package, recalculated)
    reader = RecordReader(values, file) if kind == JOB else FormReader(values, file, kind)
    try:
        if isinstance(reader, RecordReader):
            reader.record()
        else:
            reader.read_fields()
            reader.read_tables()
    except WorkbookError as error:
        # Parts of the workbook are not where they belong: nothing more can be said of the rest.
        return Checked(file, kind, (*reader.problems, error), tuple(reader.doubts))
    doubts = [*reader.doubts, *_overwritten(reader, recalculated), *_missing(reader)]
    doubts += _told(reader, recalculated) if isinstance(reader, RecordReader) else _baseline(reader)
    to_mend = (*reader.problems, *_texts(reader), *_errors(recalculated, file))
    return Checked(file, kind, to_mend, (*doubts, *_stale(recalculated, file)))


def _texts(reader: FormReader) -> Iterator[WorkbookError]:
    """Text in cells that formulas of the sheet reckon with; what is no number at all was told before."""
    for declared in reader.fields.values():
        bare = [(offset, column) for offset, column in enumerate(declared.columns) if column.bare]
        place = reader.area(declared) if bare else None
        for index, cells in enumerate(reader.block(place) if place is not None else ()):
            for offset, column in bare:
                value = cells[offset]
                if place is None or not isinstance(value, str) or is_blank(value):
                    continue
                number = _number(value, column)
                if number is not None:
                    yield WorkbookError(
                        f"{column.label} is text, and the sheet cannot reckon with text",
                        file=reader.file,
                        sheet=place.sheet,
                        cell=place.cell(index, offset),
                        found=value,
                        allowed=f"{number:g} typed as a number, with nothing beside it",
                    )


def _number(cell: object, column: Field) -> float | None:
    try:
        return number_in(cell, column.unit or "-", parameter=column.label)
    except InputError:
        return None


def _overwritten(reader: FormReader, recalculated: Recalculated) -> Iterator[WorkbookError]:
    """Result cells in which a value stands instead of the template's formula."""
    for entry in reader.entries.values():
        place = (entry.sheet, entry.cell)
        # A field that an older template did not have has no cell.
        if (
            entry.cell
            and entry.field.kind == "result"
            and entry.field.formula
            and place not in recalculated.cells
        ):
            yield WorkbookError(
                f"{entry.field.label} should be calculated, but its formula was "
                + ("deleted" if is_blank(entry.value) else "written over"),
                file=reader.file,
                sheet=entry.sheet,
                cell=entry.cell,
                allowed="the formula of a fresh workbook",
            )


def _missing(reader: FormReader) -> Iterator[WorkbookError]:
    """What the rows of a table say that they still need, in their column of that name."""
    for declared in reader.fields.values():
        column = next((n for n, one in enumerate(declared.columns) if one.name == "missing"), None)
        if column is None:
            continue
        place = reader.area(declared)
        for index, cells in enumerate(reader.block(place)):
            if isinstance(cells[column], str) and not is_blank(cells[column]):
                yield WorkbookError(
                    f"{cells[0] or 'this row'} still needs {cells[column]}",
                    file=reader.file,
                    sheet=place.sheet,
                    cell=place.cell(index, 0),
                )


def _baseline(reader: FormReader) -> Iterator[WorkbookError]:
    """A comparison against a variant that is not there: all percentages stay blank then."""
    baseline = reader.entries.get("baseline")
    if baseline is None or is_blank(baseline.value):
        return
    names = [str(cells[0]) for cells in reader.block(reader.area(reader.fields["variants"])) if cells[0]]
    if str(baseline.value).casefold() not in map(str.casefold, names):
        yield WorkbookError(
            f"{baseline.field.label}: no variant has this name{nearest(str(baseline.value), names)}",
            file=reader.file,
            sheet=baseline.sheet,
            cell=baseline.cell,
            found=baseline.value,
            allowed=", ".join(names) or None,
        )


def _clicks(reader: RecordReader) -> Iterator[WorkbookError]:
    """Clicks that are reckoned with, while no dial was found there."""
    clicks = reader.entries["clicks_open_as_found"]
    dials = reader.fields["dials"]
    column = next(index for index, one in enumerate(dials.columns) if one.name == "as_found")
    cells = [row[column] for row in reader.block(reader.area(dials)) if not is_blank(row[column])]
    found = [number for cell in cells if (number := _number(cell, dials.columns[column])) is not None]
    if isinstance(clicks.value, float) and found and clicks.value not in found:
        yield WorkbookError(
            "the stack as found is reckoned with clicks at which no dial was found on the sheet Job",
            file=reader.file,
            sheet=clicks.sheet,
            cell=clicks.cell,
            found=clicks.value,
            allowed=" or ".join(f"{number:g}" for number in found),
        )


def _told(reader: RecordReader, recalculated: Recalculated) -> Iterator[WorkbookError]:
    """What the results of a stack record say that needs a look before the damper goes out."""
    entries = reader.entries
    yield from _clicks(reader)
    parts = entries["small_parts_finding"]
    if "not all in" in str(parts.value):
        yield WorkbookError(str(parts.value), file=reader.file, sheet=parts.sheet, cell=parts.cell)
    missing, valve = str(entries["damping_missing"].value or ""), reader.area(reader.fields["valve"])
    typed = (
        not is_blank(cells[1]) and (valve.sheet, valve.cell(index, 1)) not in recalculated.cells
        for index, cells in enumerate(reader.block(valve))
    )
    if missing and any(typed):
        yield WorkbookError(
            "force against velocity is not calculated yet",
            file=reader.file,
            sheet=valve.sheet,
            cell=valve.cell(0, 1),
            allowed=missing,
        )
    dials = reader.fields["dials"]
    place = reader.area(dials)
    column = next(index for index, one in enumerate(dials.columns) if one.name == "finding")
    for index, cells in enumerate(reader.block(place)):
        if "does not read true" in str(cells[column]):
            yield WorkbookError(
                f"{cells[0]}: {cells[column]}",
                file=reader.file,
                sheet=place.sheet,
                cell=place.cell(index, column),
            )


def _errors(recalculated: Recalculated, file: str) -> Iterator[WorkbookError]:
    """Results that are errors, with the sentence of each, and formulas that cannot be computed."""
    found = dict.fromkeys((*recalculated.findings, *recalculated.errors()))
    for finding in list(found)[:_MOST_ERRORS]:
        yield WorkbookError(finding.problem, file=file, sheet=finding.sheet, cell=finding.cell)
    if len(found) > _MOST_ERRORS:
        yield WorkbookError(f"{len(found) - _MOST_ERRORS} more results are errors", file=file)


def _stale(recalculated: Recalculated, file: str) -> Iterator[WorkbookError]:
    """One sentence for all results that are older than their inputs."""
    stale = list(recalculated.stale())
    if stale:
        yield WorkbookError(
            f"{len(stale)} saved results are older than the inputs, first this one",
            file=file,
            sheet=stale[0].sheet,
            cell=stale[0].cell,
            found=stale[0].saved,
            allowed=f"{stale[0].value}: open the workbook with the functions installed and save it",
        )
