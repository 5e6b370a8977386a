"""Name/value tables on a sheet, as the cell function that takes them declares them."""

from __future__ import annotations

from dampcell.functions.tables import Column
from dampcell.functions.units import shown_unit
from dampcell.workbooks.fields import Field
from dampcell.workbooks.form_reading import pair_columns
from dampcell.workbooks.forms import styles
from dampcell.workbooks.forms.sheet import FormSheet, Place

__all__ = ["FACES", "write_pairs"]

FACES = (
    "a and b are the two faces of the piston: names that begin with a belong to face a, those with b to "
    "face b. Fill in the face under the stack, and leave the other blank."
)
"""What a newcomer has to know of the names in a table of a valve."""


def write_pairs(
    sheet: FormSheet, declared: Field, values: dict[str, str] | None = None, *, noted: bool = True
) -> None:
    """Write a name/value table: name, value, unit, meaning.

    Every value has a name of its own in the workbook: that of the table, an
    underscore, and its own.

    Parameters
    ----------
    sheet : FormSheet
        Where it goes.
    declared : Field
        The table; the cells of an input are unlocked, those of a result hold ``values``.
    values : dict, optional
        Formulas or texts that the value cells hold from the start, by name.
    noted : bool
        Whether the meaning stands beside each value.
    """
    grid, values = sheet.grid, values or {}
    note = (grid.unit + 1, grid.note[1])
    columns = [
        column for column in pair_columns(declared) if declared.kind == "input" or column.name in values
    ]
    head, place = sheet.row, grid.label[0]
    for left, text in ((place, "Name"), (grid.value, "Value"), (grid.unit, "Unit")):
        sheet.put(head, left, text, styles.HEAD)
    if noted:
        sheet.span(head, note, "What it is, where to measure", styles.HEAD)
    top = head + 1
    for row, column in enumerate(columns, start=top):
        entry = Field(
            name=column.name,
            sheet=declared.sheet,
            section=declared.section,
            label=column.title,
            kind=declared.kind,
            type="number" if column.unit else ("choice" if column.choices else "text"),
            unit=column.unit,
            choices=column.choices,
            note=_meaning(column),
        )
        sheet.put(row, place, column.title, styles.LABEL)
        style = styles.INPUT if declared.kind == "input" else styles.RESULT
        sheet.put(row, grid.value, values.get(column.name), style)
        sheet.put(row, grid.unit, shown_unit(column.unit) if column.unit else None, styles.UNIT)
        if noted:
            sheet.span(row, note, entry.note, styles.NOTE)
            sheet.heighten(row, entry.note, note)
        cell = Place(sheet.worksheet.title, row, grid.value, row, grid.value)
        sheet.validate(entry, cell)
        sheet.places.add(f"{declared.name}_{column.name}", cell)
    sheet.row = top + len(columns)
    sheet.places.add(declared.name, Place(sheet.worksheet.title, top, place, sheet.row - 1, grid.unit))


def _meaning(column: Column) -> str:
    if column.required or column.default in (None, "", 0.0):
        return column.meaning
    default = f"{column.default:g}" if isinstance(column.default, float) else column.default
    return f"{column.meaning}; blank is {default}"
