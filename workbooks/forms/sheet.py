"""Placing fields on a sheet: one grid per sheet, fields in the order of the table.

The writer knows cells and styles, not what a template is for; the modules beside
it say which sheet has which grid and what stands between the sections.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from dampcell.functions.units import shown_unit
from dampcell.workbooks.fields import Field
from dampcell.workbooks.forms import styles

__all__ = ["FormSheet", "Grid", "Place", "Places", "column_head", "setup_page", "text_height"]

_LONG_HEIGHT = 64
_LINE = 13.5
_FINDINGS_LINES = 14
_SENTENCE_HEIGHT = 56


@dataclass(frozen=True, slots=True)
class Grid:
    """Columns of a sheet, counted from 1: where labels, inputs, units and notes stand.

    ``label``, ``text`` and ``note`` span from first to last column; ``text`` is
    the wide place of text inputs, ``value`` the narrow one of numbers.
    """

    widths: tuple[float, ...]
    label: tuple[int, int]
    value: int
    unit: int
    text: tuple[int, int]
    note: tuple[int, int]
    matrix: int = 4
    landscape: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """A rectangle on a sheet; rows and columns count from 1."""

    sheet: str
    top: int
    left: int
    bottom: int
    right: int

    @property
    def address(self) -> str:
        """Absolute address with the sheet, as defined names and charts want it."""
        first = f"${get_column_letter(self.left)}${self.top}"
        last = f"${get_column_letter(self.right)}${self.bottom}"
        cells = first if first == last else f"{first}:{last}"
        return f"{quote_sheetname(self.sheet)}!{cells}"

    def cell(self, row: int) -> str:
        """Address, on its own sheet, of the cell in the given row of the first column, from 0."""
        return f"{get_column_letter(self.left)}{self.top + row}"


@dataclass(slots=True)
class Places:
    """Where every field and every table column was put."""

    workbook: Workbook
    by_name: dict[str, Place] = field(default_factory=dict)

    def add(self, name: str, place: Place, *, defined: bool = True) -> None:
        """Remember a place, and give it its name in the workbook."""
        self.by_name[name] = place
        if defined:
            self.workbook.defined_names[name] = DefinedName(name, attr_text=place.address)


class FormSheet:
    """One sheet that is being filled from top to bottom."""

    def __init__(self, worksheet: Worksheet, grid: Grid, places: Places, title: str, legend: str) -> None:
        self.worksheet = worksheet
        self.grid = grid
        self.places = places
        self.row = 1
        for column, width in enumerate(grid.widths, start=1):
            worksheet.column_dimensions[get_column_letter(column)].width = width
        worksheet.sheet_view.showGridLines = False
        self.put(1, 2, title, styles.TITLE)
        worksheet.row_dimensions[1].height = 27
        self.put(2, 2, legend, styles.LEGEND)
        worksheet.freeze_panes = "A3"
        self.row = 4

    def put(self, row: int, column: int, value: object, style: str, *, wrap: bool = True) -> None:
        """Write one cell in a named style."""
        cell = self.worksheet.cell(row, column)
        cell.value = value  # type: ignore[assignment]  # openpyxl's stubs know no object
        cell.style = style
        if not wrap:
            cell.alignment = Alignment(vertical="center")

    def span(self, row: int, columns: tuple[int, int], value: object, style: str) -> None:
        """Write a cell that spans columns, with the style on each of them so that borders close."""
        for column in range(columns[0], columns[1] + 1):
            self.worksheet.cell(row, column).style = style
        self.worksheet.cell(row, columns[0]).value = value  # type: ignore[assignment]  # as above
        if columns[0] != columns[1]:
            self.worksheet.merge_cells(
                start_row=row, start_column=columns[0], end_row=row, end_column=columns[1]
            )

    def block(self, row: int, columns: tuple[int, int], rows: int, value: object, style: str) -> None:
        """Write a cell that spans columns and rows."""
        cell = self.worksheet.cell(row, columns[0])
        cell.value, cell.style = value, style  # type: ignore[assignment]  # as above
        self.worksheet.merge_cells(
            start_row=row, start_column=columns[0], end_row=row + rows - 1, end_column=columns[1]
        )

    def section(self, title: str) -> None:
        """Write a section band across the grid, with a blank row above."""
        if self.row > 4:
            self.row += 1
        for column in range(2, len(self.grid.widths) + 1):
            self.put(self.row, column, None, styles.BAND)
        self.put(self.row, 2, title, styles.BAND, wrap=False)
        self.worksheet.row_dimensions[self.row].height = 18
        self.row += 1

    def remark(self, text: str) -> None:
        """Write a line of explanation under a section's band; nothing if there is none."""
        if text:
            self.put(self.row, 2, text, styles.LEGEND)
            self.row += 1

    def break_page(self) -> None:
        """Let what follows begin on a new sheet of paper."""
        if self.row > 4:
            self.worksheet.row_breaks.append(Break(id=self.row))

    def simple(self, declared: Field, value: object = None) -> None:
        """Write a field of one cell: label, cell, unit, note."""
        row, grid = self.row, self.grid
        self.span(row, grid.label, declared.label + (" *" if declared.required else ""), styles.LABEL)
        wide = declared.type in ("text", "long", "choice")
        columns = (grid.text[0], grid.note[1]) if declared.type == "long" else grid.text
        columns = columns if wide else (grid.value, grid.value)
        self.span(row, columns, _default(declared) if value is None else value, _style(declared))
        self.number_format(row, columns[0], declared)
        if not wide:
            self.put(row, grid.unit, shown_unit(declared.unit) if declared.unit else None, styles.UNIT)
        if declared.type != "long":
            self.span(row, grid.note, declared.note, styles.NOTE)
            self.heighten(row, declared.note, grid.note)
            if declared.size > 1:
                # Merged cells do not grow with their text.
                self.worksheet.row_dimensions[row].height = 4 + declared.size * _LINE
        else:
            self.worksheet.row_dimensions[row].height = _LONG_HEIGHT
        place = Place(self.worksheet.title, row, columns[0], row, columns[0])
        if declared.formula:
            self.worksheet.cell(row, columns[0]).value = self.resolve(declared.formula, 0, {})
        self.places.add(declared.name, place)
        self.validate(declared, place)
        self.row += 1

    def rows(
        self,
        declared: Field,
        left: int,
        filled: Sequence[dict[str, object]] = (),
        *,
        fixed: Mapping[str, str] | None = None,
    ) -> None:
        """Write a table: a head row, then its rows; named without the head.

        Parameters
        ----------
        declared : Field
            The table.
        left : int
            Its first column.
        filled : sequence of dict
            Values of the first rows, by column name.
        fixed : mapping, optional
            Columns whose given values are part of the template and locked, with their style.
        """
        fixed = fixed or {}
        size = max(declared.size, len(filled))
        head, top = self.row, self.row + 1
        places = {
            column.name: Place(self.worksheet.title, top, left + index, top + size - 1, left + index)
            for index, column in enumerate(declared.columns)
        }
        for column in declared.columns:
            place = places[column.name]
            self.put(head, place.left, column_head(column), styles.HEAD)
            self.places.add(f"{declared.name}.{column.name}", place, defined=False)
            self.input_column(column, place, places)
        for index, values in enumerate(filled):
            for name, value in values.items():
                cell = self.worksheet.cell(top + index, places[name].left)
                cell.value = value  # type: ignore[assignment]  # as above
                if name in fixed:
                    cell.style = fixed[name]
                if isinstance(value, str):
                    self.heighten(top + index, value, (places[name].left, places[name].left))
        if any(column.formula and column.type == "long" for column in declared.columns):
            for row in range(top, top + size):
                self.worksheet.row_dimensions[row].height = _SENTENCE_HEIGHT
        self.worksheet.row_dimensions[head].height = 28
        right = left + len(declared.columns) - 1
        self.places.add(declared.name, Place(self.worksheet.title, top, left, top + size - 1, right))
        self.row = top + size

    def leave_room(self, declared: Field, height: float) -> None:
        """Make the rows of a table, whose heights are fixed by texts in them, at least so high [pt]."""
        place = self.places.by_name[declared.name]
        for row in range(place.top, place.bottom + 1):
            dimension = self.worksheet.row_dimensions[row]
            dimension.height = max(dimension.height or 0, height)

    def input_column(
        self, column: Field, place: Place, row_places: Mapping[str, Place] | None = None
    ) -> None:
        """Style, formulas and validation of one column of a table."""
        for index in range(place.bottom - place.top + 1):
            cell = self.worksheet.cell(place.top + index, place.left)
            cell.style = _style(column)
            self.number_format(place.top + index, place.left, column)
            if column.formula:
                cell.value = self.resolve(column.formula, index, row_places or {})
        if not column.formula:
            self.validate(column, place)

    def column_list(self, declared: Field, column: int, top: int, *, style: str = styles.FIGURE) -> None:
        """Write a list of cells down one column, without moving on; results in the given style."""
        place = Place(self.worksheet.title, top, column, top + declared.size - 1, column)
        values = declared.default.split(";") if declared.default else []
        for index in range(declared.size):
            cell = self.worksheet.cell(top + index, column)
            cell.style = style if declared.formula else _style(declared)
            self.number_format(top + index, column, declared)
            if declared.formula:
                cell.value = self.resolve(declared.formula, index, {})
            elif index < len(values):
                cell.value = float(values[index])
        self.places.add(declared.name, place)
        self.validate(declared, place)

    def matrix(self, group: Sequence[Field]) -> None:
        """Write fields that stand once per variant: one line each, one column per variant."""
        lines: dict[str, list[Field]] = {}
        for declared in group:
            lines.setdefault(declared.name.removesuffix(f"_{declared.variant}"), []).append(declared)
        for line in lines.values():
            first = line[0]
            for index in range(first.size):
                row = self.row + index
                self.span(row, self.grid.label, first.label, styles.LABEL)
                if first.unit and self.worksheet.cell(row, self.grid.unit).value is None:
                    self.put(row, self.grid.unit, shown_unit(first.unit), styles.UNIT)
                if first.size == 1:
                    self.span(row, self.grid.note, first.note, styles.NOTE)
                    self.heighten(row, first.note, self.grid.note)
                for offset, declared in enumerate(line):
                    cell = self.worksheet.cell(row, self.grid.matrix + offset)
                    cell.style = _style(declared)
                    self.number_format(row, self.grid.matrix + offset, declared)
                    cell.value = self.resolve(declared.formula, index, {})
            if first.size > 1:
                self.block(self.row, self.grid.note, first.size, first.note, styles.NOTE)
            if first.type == "long":
                self.worksheet.row_dimensions[self.row].height = _FINDINGS_LINES * _LINE
            for offset, declared in enumerate(line):
                column = self.grid.matrix + offset
                bottom = self.row + declared.size - 1
                self.places.add(declared.name, Place(self.worksheet.title, self.row, column, bottom, column))
            self.row += first.size

    def matrix_head(self, first: str, unit: str, labels: Sequence[str]) -> None:
        """Write the head of a matrix: the label column, the unit column, then one head per variant."""
        self.span(self.row, self.grid.label, first, styles.HEAD)
        self.put(self.row, self.grid.unit, unit, styles.HEAD)
        for offset, label in enumerate(labels):
            self.put(self.row, self.grid.matrix + offset, label, styles.HEAD)
        self.span(self.row, self.grid.note, None, styles.HEAD)
        self.worksheet.row_dimensions[self.row].height = 20
        self.row += 1

    def resolve(self, formula: str, index: int, columns: Mapping[str, Place]) -> str:
        """Fill the braces of a formula.

        {index} is the row's number, a name the cell of that column or list in the same row; with a
        colon, {name:}, it is the list from its first row to this one, and {table.column} the whole column.
        """

        def place_of(match: re.Match[str]) -> str:
            name = match.group(1)
            if name == "index":
                return str(index + 1)
            if name in columns:
                return columns[name].cell(index)
            place = self.places.by_name[name]
            if "." in name:
                return place.address
            cell = f"${get_column_letter(place.left)}${place.top + index}"
            if match.group(2):
                cell = f"${get_column_letter(place.left)}${place.top}:{cell}"
            return cell if place.sheet == self.worksheet.title else f"{quote_sheetname(place.sheet)}!{cell}"

        return re.sub(r"\{([a-z0-9_.]+)(:?)\}", place_of, formula)

    def validate(self, declared: Field, place: Place) -> None:
        """Attach what a cell may hold, with a message that says where to measure."""
        if declared.kind == "result":
            return
        cells = place.address.rpartition("!")[2].replace("$", "")
        rule = _rule(declared, place.cell(0))
        rule.add(cells)
        self.worksheet.add_data_validation(rule)

    def finish(self, *, footer: str, scale: int | None = None) -> None:
        """Protect all but inputs, and set up paper: A4, one page wide, or a scale that fits [%]."""
        sheet = self.worksheet
        sheet.protection.sheet = True
        sheet.protection.formatColumns = False
        sheet.protection.formatRows = False
        setup_page(sheet, last_row=self.row, last_column=len(self.grid.widths), landscape=self.grid.landscape)
        if scale is not None:
            sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=False)
            sheet.page_setup.fitToWidth = sheet.page_setup.fitToHeight = None
            sheet.page_setup.scale = scale
        assert sheet.oddFooter is not None
        for part, text in ((sheet.oddFooter.left, footer), (sheet.oddFooter.right, "&A, page &P of &N")):
            assert part is not None
            part.text, part.size = text, 8

    def number_format(self, row: int, column: int, declared: Field) -> None:
        """Show a cell with the digits of its quantity."""
        cell = self.worksheet.cell(row, column)
        if declared.type == "date":
            cell.number_format = "yyyy-mm-dd"
        elif declared.type == "money":
            cell.number_format = "#,##0.00"
        elif declared.type in ("number", "numbers", "grid") and declared.formula:
            usual = _UNIT_FORMATS.get(declared.unit, "0.00")
            cell.number_format = _FORMATS.get(declared.quantity, usual)
        elif declared.quantity in _INPUT_FORMATS:
            cell.number_format = _INPUT_FORMATS[declared.quantity]

    def heighten(self, row: int, text: str, columns: tuple[int, int]) -> None:
        """Make a row high enough for a wrapped text that spans the given columns."""
        dimension = self.worksheet.row_dimensions[row]
        across = sum(self.grid.widths[columns[0] - 1 : columns[1]])
        # Notes are written small.
        dimension.height = max(dimension.height or 0, text_height(text, 1.2 * across))


_FORMATS = {
    "quantity": "0",
    "outer_diameter": "0.0##",
    "thickness": "0.00##",
    "viscosity_index": "0",
    "loads": "General",
    "temperature": "0",
    "lift": "0.000",
    "load": "0.0",
    "stiffness": "0",
    "stress": "0",
    "change": "+0.0;-0.0;0.0",
    "force_change": "+0.0;-0.0;0.0",
    "flow_share": "0",
    "match_error": "0.0",
    "force": "0",
    "force_slope": "0",
    "clicks": "General",
    "velocity": "0.000",
    "viscosity": "0.0",
}
_UNIT_FORMATS = {"ml": "0.0", "mm": "0.00", "bar": "0.0"}
_INPUT_FORMATS = {"thickness": "0.00##", "outer_diameter": "0.0##", "inner_diameter": "0.0##"}


def text_height(text: str, width: float) -> float:
    """Height of a row that shows a wrapped text.

    Parameters
    ----------
    text : text
        What stands there.
    width : float
        Width of its column [characters].

    Returns
    -------
    float
        Height [points].
    """
    lines = max(1, -(-len(text) // max(int(width * 1.08), 1)))
    return 16.5 if lines == 1 else 4.0 + lines * 12.0


def setup_page(sheet: Worksheet, *, last_row: int, last_column: int, landscape: bool) -> None:
    """Give a sheet a print area that fits the width of A4.

    Parameters
    ----------
    sheet : Worksheet
        The sheet.
    last_row, last_column : int
        Corner of the print area, from 1.
    landscape : bool
        Whether the paper lies on its long side.
    """
    sheet.print_area = f"A1:{get_column_letter(last_column)}{last_row}"
    sheet.page_setup.paperSize = 9
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.page_margins.top = 0.5
    sheet.page_margins.bottom = 0.8
    sheet.page_margins.footer = 0.4
    sheet.print_options.horizontalCentered = True


def column_head(column: Field) -> str:
    unit = shown_unit(column.unit) if column.unit else ""
    return f"{column.label} [{unit}]" if unit else column.label


def _style(declared: Field) -> str:
    worded = declared.type in ("text", "long", "choice")
    if declared.formula:
        return styles.RESULT_TEXT if worded else styles.RESULT
    return styles.INPUT_TEXT if worded else styles.INPUT


def _default(declared: Field) -> object:
    if declared.type in ("number", "money") and declared.default:
        return float(declared.default)
    return declared.default or None


def _rule(declared: Field, cell: str) -> DataValidation:
    unit = shown_unit(declared.unit) if declared.unit else ""
    low, high = declared.minimum, declared.maximum
    prompt, error = declared.note, ""
    if declared.type in ("number", "numbers", "money"):
        span = f"from {low:g} to {high:g}" if low is not None and high is not None else ""
        what = f"A number{f' in {unit}' if unit else ''}{f' {span}' if span else ''}"
        bounds = f"AND({cell}>={low:.10g},{cell}<={high:.10g})" if span else "TRUE"
        # Elsewhere text passes: a person may write the unit into the cell, and the functions read it.
        text = "FALSE" if declared.bare else f"ISTEXT({cell})"
        rule = DataValidation("custom", formula1=f"IF(ISNUMBER({cell}),{bounds},{text})")
        error = (
            f"{what}, without any text beside it." if declared.bare else f"{what}, or text with its own unit."
        )
        prompt = f"{declared.note}\n{what}{', the number alone' if declared.bare else ''}."
    elif declared.type == "date":
        rule = DataValidation("date", operator="between", formula1="36526", formula2="73050")
        error = "A date from 2000 to 2099."
    elif declared.type == "choice":
        rule = DataValidation("list", formula1=f'"{",".join(declared.choices)}"')
        error = f"One of: {', '.join(declared.choices)}."
    else:
        rule = DataValidation("textLength", operator="lessThanOrEqual", formula1="2000")
        error = "Text of at most 2000 characters."
    rule.allow_blank = True
    rule.errorTitle, rule.error = _title(declared.label), error[:255]
    rule.promptTitle, rule.prompt = _title(declared.label), (prompt.strip() or error)[:255]
    rule.showErrorMessage = rule.showInputMessage = True
    return rule


def _title(label: str) -> str:
    return label if len(label) <= 32 else label[:31] + "…"
