"""The comparison table: variants in rows, chosen velocities in columns, libraries to choose from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import groupby

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from dampcell.functions.units import shown_unit
from dampcell.workbooks.fields import Field, field_names, load_fields
from dampcell.workbooks.forms import charts, styles
from dampcell.workbooks.forms.blocks import choose_from
from dampcell.workbooks.forms.book import FOOTER, add_picture, add_sheet, new_book, with_cautions
from dampcell.workbooks.forms.help_sheet import write_help
from dampcell.workbooks.forms.pairs import FACES, write_pairs
from dampcell.workbooks.forms.sheet import FormSheet, Grid, Place
from dampcell.workbooks.forms.stack_blocks import STACKS_GRID, write_stacks

__all__ = ["KIND", "build_comparison", "finished"]

KIND = "comparison"

_VALVES = 3
_GRIDS = {
    "Comparison": Grid((2, 27, *(15,) * 8, 34, 1.5), (2, 2), 3, 4, (3, 5), (6, 10), landscape=True),
    "Stacks": STACKS_GRID,
    "Valves": Grid((2, *(24, 11, 8, 3) * _VALVES, 58), (2, 2), 3, 4, (3, 4), (14, 14), landscape=True),
    "Oils": Grid((2, 34, 14, 14, 14, 14, 50), (2, 2), 3, 4, (3, 4), (5, 7), landscape=True),
    "Drawer": Grid((2, 18, 18, 18, 40), (2, 2), 3, 4, (3, 4), (5, 5)),
    "Match": Grid((2, 24, 46, 14, 14, 16, 16, 16), (2, 2), 3, 4, (3, 3), (5, 8), landscape=True),
    "Curves": Grid((2, *(11,) * 16), (2, 2), 3, 4, (3, 5), (6, 10), landscape=True),
}
# Programs forget page breaks where a sheet is fitted to the paper; these have a scale that fits instead.
_SCALES = {"Comparison": 56, "Stacks": 58}
_CHARTS_TITLE = "Charts"
_CHART_ROWS = 23


def build_comparison() -> tuple[Workbook, Mapping[str, Place]]:
    """Build an empty comparison table.

    Returns
    -------
    tuple of Workbook and mapping
        The workbook, and the place of every field by name.
    """
    workbook, places = new_book("Comparison")
    sheets = {name: add_sheet(places, name, grid) for name, grid in _GRIDS.items()}
    # The libraries come first, because the variants take from them.
    for name in ("Stacks", "Valves", "Oils", "Drawer", "Comparison", "Match", "Curves"):
        fields = [declared for declared in load_fields(KIND) if declared.sheet == name]
        for section, members in groupby(fields, key=lambda declared: declared.section):
            if section == "Change against the baseline":
                sheets[name].break_page()
            sheets[name].section(section)
            _WRITERS[name](sheets[name], list(members))
    _choose_by_name(sheets["Comparison"], sheets["Match"])
    _add_charts(sheets["Comparison"])
    for name, sheet in sheets.items():
        sheet.finish(footer=FOOTER, scale=_SCALES.get(name))
    for name in ("Valves", "Drawer", "Match", "Curves"):
        sheets[name].worksheet.page_setup.fitToHeight = 1
    write_help(workbook.create_sheet("Help"))
    return workbook, places.by_name


def finished(workbook: Workbook) -> bytes:
    """Save a comparison, filled or not, and put the cautions beside its charts.

    Parameters
    ----------
    workbook : Workbook
        From `build_comparison`.

    Returns
    -------
    bytes
        The workbook file; equal content gives equal bytes.
    """
    sheet = workbook["Comparison"]
    top = next(row for row in range(1, 200) if sheet.cell(row, 2).value == _CHARTS_TITLE)
    return with_cautions(workbook, "Comparison", (top + 2, 10), (top + _CHART_ROWS, 12))


def _write_comparison(sheet: FormSheet, group: Sequence[Field]) -> None:
    for declared in group:
        if declared.type == "grid":
            _write_grid(sheet, declared)
        elif declared.name == "bands":
            sheet.remark(declared.note)
            columns = tuple(_of_variants(sheet, column) for column in declared.columns)
            sheet.rows(replace(declared, columns=columns), 2)
        elif declared.type == "rows":
            sheet.remark(declared.note)
            sheet.rows(declared, 2)
        elif declared.type != "numbers":
            sheet.simple(declared)


def _of_variants(sheet: FormSheet, column: Field) -> Field:
    """Let the formula of a column refer to the variants in the rows above."""
    names = ("name", "missing", "temperature", "clicks_open", "stack_number", "valve_number", "oil_number")
    formula = column.formula
    for name in names:
        place = sheet.places.by_name[f"variants.{name}"]
        letter = get_column_letter(place.left)
        cells = f"{letter}${place.top}:{letter}${place.bottom}"
        formula = formula.replace(f"{{{name}}}", f"INDEX({cells},{{index}})")
    return replace(column, formula=formula)


def _write_grid(sheet: FormSheet, declared: Field) -> None:
    """Write a result for every variant, down, and every velocity, across."""
    velocities, first = field_names(KIND)["velocities"], sheet.grid.value
    head, title = sheet.row, sheet.worksheet.title
    unit = shown_unit(declared.unit)
    sheet.put(head, 2, f"{declared.label} [{unit}] at [{shown_unit(velocities.unit)}]", styles.HEAD)
    if "velocities" not in sheet.places.by_name:
        _write_velocities(sheet, velocities, head, first)
    across = sheet.places.by_name["velocities"]
    left, right = first, first + velocities.size - 1
    place = Place(title, head + 1, left, head + declared.size, right)
    rows = {name: sheet.places.by_name[f"variants.{name}"] for name in _columns("variants")}
    for offset in range(velocities.size):
        column = left + offset
        if across.top != head:
            sheet.put(head, column, f"={get_column_letter(across.left + offset)}{across.top}", styles.HEAD)
        for index in range(declared.size):
            formula = declared.formula
            for name, text in _around(sheet, across, offset, index).items():
                formula = formula.replace(f"{{{name}}}", text)
            value = sheet.resolve(formula, index, rows)
            sheet.put(head + 1 + index, column, value, styles.RESULT)
            sheet.number_format(head + 1 + index, column, declared)
    for index in range(declared.size):
        name = rows["name"].cell(index)
        sheet.put(head + 1 + index, 2, f'=IF({name}="","–",{name})', styles.LABEL)
    sheet.worksheet.row_dimensions[head].height = 20
    sheet.places.add(declared.name, place)
    sheet.row = head + declared.size + 1
    sheet.remark(declared.note)


def _around(sheet: FormSheet, across: Place, offset: int, index: int) -> dict[str, str]:
    """Cells that a grid's formula refers to: the velocity over it, and the force of the same cell."""
    letter = get_column_letter(across.left + offset)
    found = {"velocity": f"{letter}${across.top}"}
    forces = sheet.places.by_name.get("forces")
    if forces is not None:
        column = get_column_letter(forces.left + offset)
        found["force"] = f"{column}{forces.top + index}"
        found["force_column"] = f"{column}${forces.top}:{column}${forces.bottom}"
    return found


def _write_velocities(sheet: FormSheet, declared: Field, row: int, left: int) -> None:
    place = Place(sheet.worksheet.title, row, left, row, left + declared.size - 1)
    for offset, value in enumerate(declared.default.split(";")):
        sheet.put(row, left + offset, float(value), styles.INPUT)
    sheet.places.add(declared.name, place)
    sheet.validate(declared, place)


def _columns(table: str) -> list[str]:
    return [column.name for column in field_names(KIND)[table].columns]


def _write_library_of_stacks(sheet: FormSheet, group: Sequence[Field]) -> None:
    stacks = [declared for declared in group if declared.type == "stack"]
    labels = [declared for declared in group if declared.type != "stack"]
    sheet.remark(f"{stacks[0].note}. Give each stack a name; the variants choose it by that name.")
    write_stacks(
        sheet, [(stack, label, None) for stack, label in zip(stacks, labels, strict=True)], rows_on_page=2
    )


def _write_valves(sheet: FormSheet, group: Sequence[Field]) -> None:
    valves = [declared for declared in group if declared.type == "pairs"]
    labels = [declared for declared in group if declared.type != "pairs"]
    sheet.remark(valves[0].note)
    sheet.remark(FACES)
    add_picture(sheet, "where_to_measure_the_valve", width=560)
    grid, top = sheet.grid, sheet.row
    for index, (valve, label) in enumerate(zip(valves, labels, strict=True)):
        left = 2 + 4 * index
        sheet.row = top
        sheet.grid = replace(grid, label=(left, left), value=left + 1, unit=left + 2)
        sheet.put(top, left, label.label, styles.LABEL)
        sheet.span(top, (left + 1, left + 2), None, styles.INPUT_TEXT)
        place = Place(sheet.worksheet.title, top, left + 1, top, left + 1)
        sheet.places.add(label.name, place)
        sheet.validate(label, place)
        sheet.row += 1
        # The meaning stands once, beside the last one.
        last = index == len(valves) - 1
        write_pairs(sheet, valve, noted=last)
    sheet.grid = grid


def _write_tables(sheet: FormSheet, group: Sequence[Field]) -> None:
    for declared in group:
        if declared.type == "rows":
            sheet.remark(declared.note)
            sheet.rows(declared, 2)
        else:
            sheet.simple(declared)


def _write_curves(sheet: FormSheet, group: Sequence[Field]) -> None:
    head = sheet.row
    for offset, declared in enumerate(group):
        column, style, text = 2 + offset, styles.FIGURE, declared.label
        if declared.variant:
            name = f"INDEX({sheet.places.by_name['variants.name'].address},{declared.variant})"
            text = f'=IF({name}="","–",{name})&", {declared.label} [{shown_unit(declared.unit)}]"'
        else:
            # Names are long: they lean over into the free columns beside them.
            column, style = 2 + 3 * offset, styles.LEGEND
        sheet.put(head, column, text, styles.HEAD)
        sheet.column_list(declared, column, head + 1, style=style)
    sheet.worksheet.row_dimensions[head].height = 42
    sheet.row = head + 1 + max(declared.size for declared in group)


_WRITERS: dict[str, Callable[[FormSheet, Sequence[Field]], None]] = {
    "Comparison": _write_comparison,
    "Drawer": _write_tables,
    "Match": _write_tables,
    "Stacks": _write_library_of_stacks,
    "Valves": _write_valves,
    "Oils": _write_tables,
    "Curves": _write_curves,
}


def _choose_by_name(sheet: FormSheet, match: FormSheet) -> None:
    """Let variants choose stacks, valves and oils from their lists, and the baseline from the variants."""
    places = sheet.places.by_name
    for column, source in (("stack", "stack_names"), ("valve", "valve_names"), ("oil", "oils.name")):
        choose_from(sheet, places[f"variants.{column}"], places[source])
    choose_from(sheet, places["baseline"], places["variants.name"])
    choose_from(match, places["match_variant"], places["variants.name"])


def _add_charts(sheet: FormSheet) -> None:
    sheet.section(_CHARTS_TITLE)
    row = sheet.row + 1
    charts.add_curves_chart(sheet.worksheet, sheet.places.by_name, anchor=f"B{row}")
    charts.add_changes_chart(sheet.worksheet, sheet.places.by_name, anchor=f"F{row}")
    sheet.row += _CHART_ROWS
