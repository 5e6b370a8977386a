"""What all template workbooks share: a new book, its sheets, pictures and cautions."""

from __future__ import annotations

import struct
from importlib.resources import files

from openpyxl import Workbook
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, OneCellAnchor
from openpyxl.drawing.xdr import XDRPositiveSize2D

from dampcell.workbooks.fields import read_template_table
from dampcell.workbooks.forms import styles
from dampcell.workbooks.forms.pinned import pinned_bytes
from dampcell.workbooks.forms.shapes import Picture, add_text_box
from dampcell.workbooks.forms.sheet import FormSheet, Grid, Places

__all__ = ["FOOTER", "LEGEND", "add_picture", "add_sheet", "drawing_part", "new_book", "with_cautions"]

LEGEND = (
    "Boxed cells are yours to fill in; * marks what is needed. "
    "Cells with only a line below are calculated. A number may carry its own unit, such as 0.006 in."
)
"""What stands under the title of every sheet."""

FOOTER = "Estimates, to be confirmed by a qualified person. The maker's manual comes first."
"""What stands at the foot of every printed page."""

_CONNECT = (
    "Where calculated cells show #NAME?, the functions are not connected yet: "
    'run "dampcell connect calc" or "dampcell connect excel" once, then open the workbook again.'
)
_EMU_PER_PIXEL = 9525
_ROW_PIXELS = 20
_PNG_SIZE = slice(16, 24)


def new_book(title: str) -> tuple[Workbook, Places]:
    """Make a workbook with the named styles and no sheet yet.

    Parameters
    ----------
    title : text
        Its title.

    Returns
    -------
    tuple of Workbook and Places
    """
    workbook = Workbook()
    workbook.remove(workbook.worksheets[0])
    workbook.properties.creator = "Dampcell"
    workbook.properties.title = title
    workbook.calculation.fullCalcOnLoad = True
    styles.add_styles(workbook)
    return workbook, Places(workbook)


def add_sheet(places: Places, name: str, grid: Grid, *, legend: str = LEGEND) -> FormSheet:
    """Add a sheet with its title and the legend.

    Parameters
    ----------
    places : Places
        Where fields are remembered; its workbook gets the sheet.
    name : text
        Name of the sheet; the first one carries the workbook's title alone.
    grid : Grid
        Its columns.
    legend : text
        Line under the title.

    Returns
    -------
    FormSheet
    """
    workbook = places.workbook
    kind = workbook.properties.title or ""
    first = not workbook.worksheets
    sheet = FormSheet(
        workbook.create_sheet(name), grid, places, kind if first else f"{kind} · {name}", legend
    )
    if first:
        sheet.put(3, 2, _CONNECT, styles.LEGEND)
        sheet.worksheet.row_dimensions[3].height = 24
    return sheet


def add_picture(sheet: FormSheet, name: str, *, width: int, row: int | None = None, column: int = 2) -> None:
    """Put a picture of the templates on a sheet.

    Parameters
    ----------
    sheet : FormSheet
        Where it goes.
    name : text
        File in templates/pictures, without its ending.
    width : int
        Width on the sheet [pixel at 96 per inch].
    row : int, optional
        Row of its upper edge; if left out, it stands in rows of its own at the current place.
    column : int
        Column of its left edge.
    """
    data = files("dampcell.templates").joinpath("pictures", f"{name}.png").read_bytes()
    across, down = struct.unpack(">II", data[_PNG_SIZE])
    height = round(width * down / across)
    picture = Picture(data, width=width, height=height)
    picture.anchor = OneCellAnchor(
        _from=AnchorMarker(col=column - 1, row=(row or sheet.row) - 1, colOff=60_000, rowOff=60_000),
        ext=XDRPositiveSize2D(width * _EMU_PER_PIXEL, height * _EMU_PER_PIXEL),
    )
    sheet.worksheet.add_image(picture)
    if row is None:
        sheet.row += -(-height // _ROW_PIXELS) + 1


def drawing_part(workbook: Workbook, sheet: str) -> str:
    """Name the part that holds the drawings of a sheet: they are numbered in the order of the sheets."""
    drawn = [
        one.title
        for one in workbook.worksheets
        if one._charts or one._images  # type: ignore[attr-defined]  # openpyxl has no public list of either
    ]
    return f"xl/drawings/drawing{drawn.index(sheet) + 1}.xml"


def with_cautions(
    workbook: Workbook, sheet: str, corner: tuple[int, int], opposite: tuple[int, int]
) -> bytes:
    """Save a workbook, with the cautions in a text box on a sheet that has a drawing.

    Parameters
    ----------
    workbook : Workbook
        What to save.
    sheet : text
        Name of the sheet.
    corner, opposite : tuple of int
        Row and column, from 1, of the top left cell and of the cell after the bottom right one.

    Returns
    -------
    bytes
        The workbook file; equal content gives equal bytes.
    """
    cautions = tuple(row["caution"] for row in read_template_table("cautions"))
    drawing = drawing_part(workbook, sheet)
    return add_text_box(
        pinned_bytes(workbook),
        drawing=drawing,
        lines=("Cautions", *cautions),
        corner=corner,
        opposite=opposite,
    )
