"""The oil shelf: what is really in the bottles, blends, stock and cost."""

from __future__ import annotations

from collections.abc import Mapping

from openpyxl import Workbook

from dampcell.workbooks.fields import Field, field_names
from dampcell.workbooks.forms import shop_charts, styles
from dampcell.workbooks.forms.blocks import choose_from, write_block
from dampcell.workbooks.forms.book import add_sheet, new_book
from dampcell.workbooks.forms.help_sheet import write_help
from dampcell.workbooks.forms.pinned import pinned_bytes
from dampcell.workbooks.forms.sheet import FormSheet, Grid, Place

__all__ = ["KIND", "build_oil_shelf", "finished"]

KIND = "oil_shelf"

DRAWN = 8
"""Oils that the chart shows."""

_FOOTER = "The weight on a label is no standard: the viscosity counts. The maker's manual comes first."
_SHELF = Grid(
    (2, 30, 12, 12, 12, 12, 13, 12, 11, 11, 12, 13, 26), (2, 2), 3, 4, (3, 5), (6, 13), landscape=True
)
_REAL = Grid((2, 30, 13, 13, 11, 40, 38, 24, 12, 12, 12, 10), (2, 2), 3, 4, (3, 5), (6, 12), landscape=True)
_BLEND = Grid((2, 28, 28, 12, 12, 12, 12, 12, 12, 12, 44), (2, 2), 3, 4, (3, 5), (6, 11), landscape=True)
_CURVES = Grid((2, 22, *(14,) * 8), (2, 2), 3, 4, (3, 5), (6, 10), landscape=True)
_CHART_ROWS = 25


def build_oil_shelf() -> tuple[Workbook, Mapping[str, Place]]:
    """Build an empty oil shelf.

    Returns
    -------
    tuple of Workbook and mapping
        The workbook, and the place of every field by name.
    """
    workbook, places = new_book("Oil shelf")
    fields = field_names(KIND)
    shelf = add_sheet(places, "Shelf", _SHELF)
    shelf.section("Workshop")
    for name in ("workshop", "shelf_date", "working_temperature"):
        shelf.simple(fields[name])
    _table(shelf, fields["bottles"])
    real = add_sheet(places, "Real oil", _REAL)
    _results(real, fields["real"])
    blend = add_sheet(places, "Blend", _BLEND)
    for name in ("blends", "measured"):
        _table(blend, fields[name])
    for side in ("oil_a", "oil_b"):
        choose_from(blend, places.by_name[f"blends.{side}"], places.by_name["bottles.oil"])
    curves = add_sheet(places, "Curves", _CURVES)
    _curves(curves, fields)
    real.section("Viscosity against temperature")
    shop_charts.add_shelf_chart(real.worksheet, places.by_name, anchor=f"B{real.row + 1}", oils=DRAWN)
    real.row += _CHART_ROWS
    for sheet in (shelf, real, blend, curves):
        sheet.finish(footer=_FOOTER)
        sheet.worksheet.page_setup.fitToHeight = 1
    write_help(workbook.create_sheet("Help"))
    return workbook, places.by_name


def finished(workbook: Workbook) -> bytes:
    """Save an oil shelf, filled or not; equal content gives equal bytes."""
    return pinned_bytes(workbook)


def _table(sheet: FormSheet, declared: Field) -> None:
    sheet.section(declared.section)
    sheet.put(sheet.row, 2, declared.note, styles.LEGEND, wrap=False)
    sheet.row += 1
    top = sheet.row + 1
    sheet.rows(declared, 2)
    # Sentences stand in wide columns here: two lines are enough.
    for row in range(top, sheet.row):
        sheet.worksheet.row_dimensions[row].height = 27 if _has_sentence(declared) else 17


def _results(sheet: FormSheet, declared: Field) -> None:
    sheet.section(declared.section)
    sheet.put(sheet.row, 2, declared.note, styles.LEGEND, wrap=False)
    sheet.row += 1
    top = sheet.row + 1
    write_block(sheet, declared, 2)
    for row in range(top, sheet.row):
        sheet.worksheet.row_dimensions[row].height = 27


def _curves(sheet: FormSheet, fields: Mapping[str, Field]) -> None:
    drawn, curves = fields["drawn_rows"], fields["curves"]
    sheet.section(drawn.section)
    sheet.put(sheet.row, 2, drawn.note, styles.LEGEND, wrap=False)
    top = sheet.row + 2
    sheet.put(top - 1, 2, "Line", styles.HEAD)
    sheet.put(top - 1, 3, drawn.label, styles.HEAD)
    for index in range(drawn.size):
        sheet.put(top + index, 2, f"Oil {index + 1}", styles.LABEL)
    sheet.column_list(drawn, 3, top)
    sheet.row = top + drawn.size
    sheet.section(curves.section)
    head = sheet.row
    write_block(sheet, curves, 2)
    bottles = sheet.places.by_name["bottles.oil"].address
    for index in range(DRAWN):
        row = f"INDEX(drawn_rows,{index + 1})"
        name = f'=IF({row}="","(blank)",IF(INDEX({bottles},{row})="","(blank)",INDEX({bottles},{row})))'
        sheet.put(head, 3 + index, name, styles.HEAD)
    sheet.worksheet.row_dimensions[head].height = 42


def _has_sentence(declared: Field) -> bool:
    return any(column.type == "text" and column.formula for column in declared.columns)
