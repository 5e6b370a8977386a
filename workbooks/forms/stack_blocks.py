"""Stacks on a sheet: blocks of rows with a heading, two beside each other."""

from __future__ import annotations

from collections.abc import Sequence

from dampcell.workbooks.fields import Field
from dampcell.workbooks.forms import styles
from dampcell.workbooks.forms.sheet import FormSheet, Grid, Place, column_head

__all__ = ["STACKS_GRID", "write_stacks"]

STACKS_GRID = Grid(
    (2, 5, 12, 11, 11, 10, 11, 26, 3, 5, 12, 11, 11, 10, 11, 26),
    (2, 4),
    5,
    6,
    (5, 7),
    (8, 16),
    landscape=True,
)
"""Columns of a sheet of stacks: row number, columns of a stack and a note, twice."""

_LEFTS = (2, 10)


def write_stacks(
    sheet: FormSheet, stacks: Sequence[tuple[Field, Field, Field | None]], *, rows_on_page: int = 99
) -> None:
    """Write blocks of stacks, two beside each other.

    Parameters
    ----------
    sheet : FormSheet
        A sheet with `STACKS_GRID`.
    stacks : sequence of (stack, label, clicks)
        The fields of each block; clicks is left out where the adjuster stands elsewhere.
    rows_on_page : int
        Rows of blocks on a sheet of paper.
    """
    step = stacks[0][0].size + 3
    top = sheet.row + 1
    for index, (stack, label, clicks) in enumerate(stacks):
        if index and index % (2 * rows_on_page) == 0:
            sheet.row = top + (index // 2) * step - 1
            sheet.break_page()
        _write_stack(sheet, stack, label, clicks, top + (index // 2) * step, _LEFTS[index % 2])
    sheet.row = top + -(-len(stacks) // 2) * step


def _write_stack(
    sheet: FormSheet, stack: Field, label: Field, clicks: Field | None, row: int, left: int
) -> None:
    title = sheet.worksheet.title
    # Where the stacks have no headings of their own yet, they are told apart by their numbers.
    name = "Stack" if label.default else label.label
    sheet.span(row, (left, left + 1), name + (" *" if stack.required else ""), styles.LABEL)
    sheet.span(row, (left + 2, left + 4), label.default or None, styles.INPUT_TEXT)
    place = Place(title, row, left + 2, row, left + 2)
    sheet.places.add(label.name, place)
    sheet.validate(label, place)
    if clicks is not None:
        sheet.put(row, left + 5, clicks.label, styles.LABEL)
        sheet.put(row, left + 6, None, styles.INPUT_TEXT)
        place = Place(title, row, left + 6, row, left + 6)
        sheet.places.add(clicks.name, place)
        sheet.validate(clicks, place)
    sheet.put(row + 1, left, "Row", styles.HEAD)
    sheet.worksheet.row_dimensions[row + 1].height = 28
    top, bottom = row + 2, row + 1 + stack.size
    for offset, column in enumerate(stack.columns, start=left + 1):
        sheet.put(row + 1, offset, column_head(column), styles.HEAD)
        sheet.input_column(column, Place(title, top, offset, bottom, offset))
    for index in range(stack.size):
        sheet.put(top + index, left, index + 1, styles.UNIT)
    sheet.places.add(stack.name, Place(title, top, left + 1, bottom, left + len(stack.columns) - 1))
