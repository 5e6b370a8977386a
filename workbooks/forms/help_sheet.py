"""The help sheet of a template: every cell function, from the registry."""

from __future__ import annotations

from openpyxl.worksheet.worksheet import Worksheet

import dampcell.functions.cells  # noqa: F401  (declares the cell functions)
from dampcell.functions.registry import REGISTRY
from dampcell.functions.units import shown_unit
from dampcell.workbooks.forms import styles
from dampcell.workbooks.forms.sheet import FormSheet, Grid, Places, setup_page

__all__ = ["write_help"]

_WIDTHS = (2.0, 54.0, 50.0, 22.0, 48.0)


def write_help(worksheet: Worksheet) -> None:
    """Fill a sheet with the list of cell functions.

    Parameters
    ----------
    worksheet : Worksheet
        A new sheet.
    """
    workbook = worksheet.parent
    assert workbook is not None
    grid = Grid(_WIDTHS, (2, 2), 3, 4, (3, 3), (5, 5), landscape=True)
    sheet = FormSheet(
        worksheet,
        grid,
        Places(workbook),
        f"{workbook.properties.title} · Help",
        "Arguments in brackets may stay blank. "
        'Where a cell shows an error, =DAMP.WHY("NAME", same arguments) says why.',
    )
    for column, head in enumerate(("Function and arguments", "What it gives", "Unit", "Example"), start=2):
        sheet.put(sheet.row, column, head, styles.HEAD)
    worksheet.freeze_panes = f"A{sheet.row + 1}"
    worksheet.print_title_rows = f"{sheet.row}:{sheet.row}"
    sheet.row += 1
    families = dict.fromkeys(function.family for function in REGISTRY.values())
    for family in families:
        members = [function for function in REGISTRY.values() if function.family == family]
        for column in range(2, len(_WIDTHS) + 1):
            sheet.put(sheet.row, column, None, styles.BAND)
        sheet.put(sheet.row, 2, family, styles.BAND)
        sheet.row += 1
        for function in members:
            unit = function.result_unit and shown_unit(function.result_unit)
            if function.result_columns:
                unit = "table: " + ", ".join(head for head, _ in function.result_columns)
            # A leading apostrophe would be shown; the quote prefix keeps the example a text.
            cells = (function.signature, function.summary + ".", unit or "text or number", function.example)
            for column, text in enumerate(cells, start=2):
                sheet.put(sheet.row, column, None, styles.PLAIN)
                cell = worksheet.cell(sheet.row, column)
                cell.value = text
                if text.startswith("="):
                    cell.data_type = "s"
                    cell.quotePrefix = True
            lines = max(
                -(-len(text) // int(width * 1.15)) for text, width in zip(cells, _WIDTHS[1:], strict=True)
            )
            worksheet.row_dimensions[sheet.row].height = 4 + 13 * lines
            sheet.row += 1
    setup_page(worksheet, last_row=sheet.row, last_column=len(_WIDTHS), landscape=True)
    sheet.finish(footer="Generated from the list of functions.")
