"""Tables of results, and lists to choose from."""

from __future__ import annotations

from dataclasses import replace

from dampcell.workbooks.fields import Field
from dampcell.workbooks.forms import styles
from dampcell.workbooks.forms.sheet import FormSheet, Place, column_head

__all__ = ["choose_from", "write_block"]

# Marks a column as one of results until its formula is known.
_RESULT = '=""'


def write_block(sheet: FormSheet, declared: Field, left: int, *, heads: bool = True) -> None:
    """Write a table of results: heads, then cells that all ask one table, or each column its own formula.

    One array formula over all cells would be asked once only, but a program that lacks our
    functions would then show errors instead of the values saved in the cells.

    Parameters
    ----------
    sheet : FormSheet
        Where it goes.
    declared : Field
        The table. Its own formula stands in all cells, with {row} and {column}; without one
        each column has its formula.
    left : int
        First column.
    heads : bool
        False leaves the cells of the heads to the caller.
    """
    head, top, bottom = sheet.row, sheet.row + 1, sheet.row + declared.size
    places = {
        column.name: Place(sheet.worksheet.title, top, left + index, bottom, left + index)
        for index, column in enumerate(declared.columns)
    }
    for column in declared.columns:
        place = places[column.name]
        if heads:
            sheet.put(head, place.left, column_head(column), styles.HEAD)
        sheet.places.add(f"{declared.name}.{column.name}", place, defined=False)
    for number, column in enumerate(declared.columns, start=1):
        place = places[column.name]
        sheet.input_column(replace(column, formula=column.formula or _RESULT), place, places)
        for index in range(0 if column.formula else declared.size):
            written = declared.formula.replace("{row}", str(index + 1)).replace("{column}", str(number))
            cell = sheet.worksheet.cell(top + index, place.left)
            cell.value = sheet.resolve(written, index, places) or None
    sheet.worksheet.row_dimensions[head].height = 28
    block = Place(sheet.worksheet.title, top, left, bottom, left + len(declared.columns) - 1)
    sheet.places.add(declared.name, block)
    sheet.row = bottom + 1


def choose_from(sheet: FormSheet, place: Place, source: Place) -> None:
    """Let the cells of a column be chosen from a range of cells; what is not there may still be typed.

    Parameters
    ----------
    sheet : FormSheet
        Sheet of the column, whose validation is there already.
    place : Place
        The column.
    source : Place
        The cells to choose from.
    """
    cells = place.address.rpartition("!")[2].replace("$", "")
    rules = sheet.worksheet.data_validations.dataValidation
    rule = next(one for one in rules if str(one.sqref) == cells)
    rule.type, rule.operator, rule.formula1 = "list", None, source.address
    rule.errorStyle = "warning"
    rule.error = "This name is not in the list."
