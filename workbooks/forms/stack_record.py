"""The stack record: one workbook per job, built from the field table and the registry."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import groupby

from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from dampcell.functions.units import shown_unit
from dampcell.workbooks.fields import VARIANTS, Field, field_names, load_fields, read_template_table
from dampcell.workbooks.forms import charts, styles
from dampcell.workbooks.forms.book import FOOTER, add_picture, add_sheet, new_book, with_cautions
from dampcell.workbooks.forms.help_sheet import write_help
from dampcell.workbooks.forms.pairs import FACES, write_pairs
from dampcell.workbooks.forms.sheet import FormSheet, Grid, Place, text_height
from dampcell.workbooks.forms.stack_blocks import STACKS_GRID, write_stacks

__all__ = ["KIND", "build_stack_record", "finished"]

KIND = "stack_record"

_MATRIX = Grid((2, 32, 10, 20, 20, 20, 20, 20, 48), (2, 2), 4, 3, (4, 8), (9, 9), landscape=True)
_GRIDS = {
    "Job": Grid((2, 29, 11, 11, 11, 11, 11, 42, 20), (2, 2), 3, 4, (3, 6), (7, 9)),
    "Teardown": Grid((2, 24, 24, 18, 18, 26, 44), (2, 2), 3, 4, (3, 5), (6, 7)),
    "Stacks": STACKS_GRID,
    "Valve": Grid((2, 29, 14, 10, 78), (2, 2), 3, 4, (3, 4), (5, 5)),
    "Oil and fill": Grid((2, 34, 14, 14, 14, 62), (2, 2), 3, 4, (3, 5), (6, 6)),
    "Checklist": Grid((2, 13, 10, 52, 10, 10, 56, 40), (2, 4), 5, 6, (5, 6), (7, 8), landscape=True),
    "Results": _MATRIX,
    "Damping": _MATRIX,
    "Curves": Grid((2, *(12,) * 12), (2, 2), 3, 4, (3, 5), (6, 10), landscape=True),
}
_FIXED = {"phase": styles.PLAIN, "item": styles.PLAIN, "caution": styles.CAUTION}
# Valve and oil take over what stands on other sheets already; a person may write over the valve's.
_BOUND = {
    "valve": {
        "a_seat_diameter": '=IF(load_diameter="","",load_diameter)',
        "a_seat_height": '=IF(seat_height="","",seat_height)',
    },
    "oil": {name: f'=IF({name}="","",{name})' for name in ("viscosity_40", "viscosity_100", "density_15")},
}
_PICTURES = {"valve": ("where_to_measure_the_valve", 560), "cartridge": ("where_to_measure_the_fill", 560)}
_LISTS = {"loads": "Load [N]", "velocities": "Velocity [m/s]"}
_BREAKS = ("Oil",)
_BEFORE_CHARTS = ("Fill and bleed", "Change of force against the stack as found")
_PAGES = {"Teardown": 1, "Stacks": 1, "Valve": 1, "Oil and fill": 1, "Checklist": 1, "Curves": 1}
# Programs forget page breaks where a sheet is fitted to the paper; these have a scale that fits instead.
_SCALES = {"Results": 54, "Damping": 54}
_CHARTS: dict[str, tuple[charts.Adder, charts.Adder]] = {
    "Results": (charts.add_lift_chart, charts.add_viscosity_chart),
    "Damping": (charts.add_force_chart, charts.add_change_chart),
}
_CHARTS_TITLE = "Charts"
_CHART_ROWS = 23
_BLANK_CHECKS = 4
_CLICKS = (
    "Clicks open is what is reckoned with: this valve's adjuster, counted from fully closed. "
    "What all the dials of the damper stood at, as found and as left, is recorded on the sheet Job."
)


def build_stack_record() -> tuple[Workbook, Mapping[str, Place]]:
    """Build an empty stack record.

    Returns
    -------
    tuple of Workbook and mapping
        The workbook, and the place of every field by name.
    """
    workbook, places = new_book("Stack record")
    sheets = {name: add_sheet(places, name, grid) for name, grid in _GRIDS.items()}
    for name, sheet in sheets.items():
        _write_sheet(sheet, [declared for declared in load_fields(KIND) if declared.sheet == name])
    # The picture takes the free place beside the last stack.
    last = places.by_name[f"stack_{VARIANTS[-1]}"].top
    add_picture(sheets["Stacks"], "where_to_measure", width=590, row=last - 1, column=10)
    for sheet in (sheets["Results"], sheets["Damping"]):
        _add_charts(sheet)
    for name, sheet in sheets.items():
        sheet.finish(footer=FOOTER, scale=_SCALES.get(name))
    for name, pages in _PAGES.items():
        sheets[name].worksheet.page_setup.fitToHeight = pages
    write_help(workbook.create_sheet("Help"))
    return workbook, places.by_name


def finished(workbook: Workbook) -> bytes:
    """Save a stack record, filled or not, and put the cautions beside its charts.

    Parameters
    ----------
    workbook : Workbook
        From `build_stack_record`.

    Returns
    -------
    bytes
        The workbook file; equal content gives equal bytes.
    """
    top = _charts_row(workbook["Results"])
    return with_cautions(workbook, "Results", (top + 2, 9), (top + _CHART_ROWS, 10))


def _add_charts(sheet: FormSheet) -> None:
    """Put two charts into the rows that were kept for them; the curves that they draw are placed last."""
    row = _charts_row(sheet.worksheet) + 2
    for adder, column in zip(_CHARTS[sheet.worksheet.title], ("B", "E"), strict=True):
        adder(sheet.worksheet, sheet.places.by_name, anchor=f"{column}{row}")


def _charts_row(worksheet: Worksheet) -> int:
    return next(row for row in range(1, 200) if worksheet.cell(row, 2).value == _CHARTS_TITLE)


def _keep_charts(sheet: FormSheet) -> None:
    if sheet.worksheet.title == "Damping":
        sheet.break_page()
    sheet.section(_CHARTS_TITLE)
    sheet.row += _CHART_ROWS


def _write_sheet(sheet: FormSheet, fields: Sequence[Field]) -> None:
    for section, members in groupby(fields, key=lambda declared: declared.section):
        group = list(members)
        if section in _BREAKS:
            sheet.break_page()
        sheet.section(section)
        if sheet.worksheet.title == "Curves":
            _write_curves(sheet, group)
        elif any(declared.type == "stack" for declared in group):
            _write_stacks(sheet, group)
        elif any(declared.variant for declared in group):
            _write_matrix(sheet, group)
        else:
            _write_form(sheet, group)
        if section in _BEFORE_CHARTS:
            _keep_charts(sheet)


def _write_form(sheet: FormSheet, group: Sequence[Field]) -> None:
    lists = [declared for declared in group if declared.type == "numbers"]
    for declared in group:
        if declared.type == "pairs":
            sheet.remark(declared.note)
            sheet.remark(FACES if declared.name == "valve" else "")
            if declared.name in _PICTURES:
                name, width = _PICTURES[declared.name]
                add_picture(sheet, name, width=width)
            write_pairs(sheet, declared, _BOUND.get(declared.name))
        elif declared.type == "rows":
            sheet.remark(declared.note)
            filled = _checks() if declared.name == "checklist" else ()
            sheet.rows(declared, 2, filled, fixed=_FIXED)
            if filled:
                sheet.leave_room(declared, text_height("two lines", 5))
        elif declared.type != "numbers":
            sheet.simple(declared)
    if lists:
        _write_lists(sheet, lists)


def _write_lists(sheet: FormSheet, lists: Sequence[Field]) -> None:
    """Write lists of results beside each other, one column each, down the list that they take."""
    down = _listed_by(lists[0].formula)
    labels = [f"{declared.label} [{shown_unit(declared.unit)}]" for declared in lists]
    sheet.matrix_head(lists[0].section, _LISTS[down], labels)
    _write_side(sheet, down, lists[0].size)
    for offset, declared in enumerate(lists):
        sheet.column_list(declared, sheet.grid.matrix + offset, sheet.row, style=styles.RESULT)
    for index in range(lists[0].size):
        sheet.span(sheet.row + index, sheet.grid.label, "Share at", styles.LABEL)
    sheet.row += lists[0].size


def _checks() -> list[dict[str, object]]:
    lines: list[dict[str, object]] = [
        {
            "phase": row["phase"],
            "item": row["item"],
            "torque": float(row["torque"]) if row["torque"] else None,
            "caution": row["caution"] or "",
        }
        for row in read_template_table("checklist")
        if row["workbook"] == KIND
    ]
    return lines + [{} for _ in range(_BLANK_CHECKS)]


def _write_stacks(sheet: FormSheet, group: Sequence[Field]) -> None:
    stacks = [declared for declared in group if declared.type == "stack"]
    others = {declared.name: declared for declared in group}
    sheet.remark(f"{stacks[0].note}. Leave a variant blank if you do not need it.")
    sheet.remark(_CLICKS)
    write_stacks(
        sheet,
        [
            (stack, others[f"label_{key}"], others[f"clicks_open_{key}"])
            for stack, key in zip(stacks, VARIANTS, strict=True)
        ],
    )


def _variant_labels() -> list[str]:
    return [f"=label_{variant}" for variant in VARIANTS]


def _write_matrix(sheet: FormSheet, group: Sequence[Field]) -> None:
    listed = next((declared for declared in group if declared.type == "numbers"), None)
    first = next(declared for declared in group if declared.variant)
    if listed is None:
        for declared in group:
            if not declared.variant:
                sheet.simple(declared)
        sheet.matrix_head("", "Unit", _variant_labels())
    else:
        # Down the side stand the numbers that the formulas take: loads or velocities.
        down = _listed_by(first.formula)
        head, unit = _LISTS[down], shown_unit(first.unit)
        sheet.matrix_head(f"{first.section.split(' ')[0]} [{unit}]", head, _variant_labels())
        if listed.kind == "input":
            sheet.column_list(listed, sheet.grid.unit, sheet.row)
        else:
            _write_side(sheet, down, first.size)
    sheet.matrix([declared for declared in group if declared.variant])


def _write_side(sheet: FormSheet, down: str, size: int) -> None:
    for index in range(size):
        value = sheet.resolve(f'=IF({{{down}}}="","",{{{down}}})', index, {})
        sheet.put(sheet.row + index, sheet.grid.unit, value, styles.RESULT)


def _listed_by(formula: str) -> str:
    """Find the list that a formula takes row by row, itself or through the rows it refers to."""
    names = re.findall(r"\{([a-z0-9_]+)\}", formula)
    return next((name for name in names if name in _LISTS), "") or next(
        filter(None, (_listed_by(field_names(KIND)[name].formula) for name in names)), ""
    )


def _write_curves(sheet: FormSheet, group: Sequence[Field]) -> None:
    head, left = sheet.row, 2
    for offset, declared in enumerate(group):
        unit = shown_unit(declared.unit)
        text: str = f"{declared.label} [{unit}]"
        if declared.variant:
            empty = f"COUNTA(stack_{declared.variant})=0"
            name = f"label_{declared.variant}"
            text = f'=IF({empty},{name}&" (blank)",{name})&", {declared.label.lower()} [{unit}]"'
        sheet.put(head, left + offset, text, styles.HEAD)
        sheet.column_list(declared, left + offset, head + 1)
    sheet.worksheet.row_dimensions[head].height = 42
    sheet.row = head + 1 + group[0].size
