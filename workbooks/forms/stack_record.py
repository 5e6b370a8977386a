"""The stack record: one workbook per job, built from the field table and the registry."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from importlib.resources import files
from itertools import groupby

from openpyxl import Workbook
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, OneCellAnchor
from openpyxl.drawing.xdr import XDRPositiveSize2D

from dampcell.functions.units import shown_unit
from dampcell.workbooks.fields import VARIANTS, Field, field_names, load_fields, read_template_table
from dampcell.workbooks.forms import charts, styles
from dampcell.workbooks.forms.help_sheet import write_help
from dampcell.workbooks.forms.pairs import write_pairs
from dampcell.workbooks.forms.pinned import pinned_bytes
from dampcell.workbooks.forms.shapes import Picture, add_text_box
from dampcell.workbooks.forms.sheet import FormSheet, Grid, Place, Places, column_head

__all__ = ["KIND", "build_stack_record", "finished"]

KIND = "stack_record"

_LEGEND = (
    "Boxed cells are yours to fill in; * marks what a report needs. "
    "Cells with only a line below are calculated. A number may carry its own unit, such as 0.006 in."
)
_FOOTER = "Estimates, to be confirmed by a qualified person. The maker's manual comes first."
_GRIDS = {
    "Job": Grid((2, 29, 11, 11, 11, 11, 11, 42, 20), (2, 2), 3, 4, (3, 6), (7, 9)),
    "Stacks": Grid(
        (2, 5, 12, 11, 11, 10, 11, 26, 3, 5, 12, 11, 11, 10, 11, 26),
        (2, 4),
        5,
        6,
        (5, 7),
        (8, 11),
        landscape=True,
    ),
    "Valve": Grid((2, 29, 14, 10, 78), (2, 2), 3, 4, (3, 4), (5, 5)),
    "Oil and fill": Grid((2, 34, 14, 14, 14, 62), (2, 2), 3, 4, (3, 5), (6, 6)),
    "Checklist": Grid((2, 13, 10, 52, 10, 10, 56, 30), (2, 4), 5, 6, (5, 6), (7, 8), landscape=True),
    "Results": Grid((2, 32, 10, 20, 20, 20, 20, 20, 48), (2, 2), 4, 3, (4, 8), (9, 9), landscape=True),
    "Damping": Grid((2, 32, 10, 20, 20, 20, 20, 20, 48), (2, 2), 4, 3, (4, 8), (9, 9), landscape=True),
    "Curves": Grid((2, 12, *(11,) * 10, 3, 14, 14), (2, 2), 3, 4, (3, 5), (6, 10), landscape=True),
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
_LISTS = {"loads": "Load [N]", "velocities": "Velocity [m/s]"}
_CHARTS = "Charts"
_RESULTS_DRAWING = "xl/drawings/drawing2.xml"
_EMU_PER_PIXEL = 9525
_PICTURE_ROW = 5
_CHART_ROWS = 23
_BLANK_CHECKS = 4


def build_stack_record() -> tuple[Workbook, Mapping[str, Place]]:
    """Build an empty stack record.

    Returns
    -------
    tuple of Workbook and mapping
        The workbook, and the place of every field by name.
    """
    workbook = Workbook()
    workbook.properties.creator = "Dampcell"
    workbook.properties.title = "Stack record"
    workbook.calculation.fullCalcOnLoad = True
    styles.add_styles(workbook)
    places = Places(workbook)
    sheets = {name: _new_sheet(workbook, name, places) for name in _GRIDS}
    for name, sheet in sheets.items():
        _write_sheet(sheet, [declared for declared in load_fields(KIND) if declared.sheet == name])
    results = sheets["Results"]
    _add_picture(sheets["Stacks"])
    results.section(_CHARTS)
    charts.add_lift_chart(results.worksheet, places.by_name, anchor=f"B{results.row + 1}")
    charts.add_viscosity_chart(results.worksheet, places.by_name, anchor=f"E{results.row + 1}")
    results.row += _CHART_ROWS
    for sheet in sheets.values():
        sheet.finish(footer=_FOOTER)
    sheets["Stacks"].worksheet.page_setup.fitToHeight = 1
    sheets["Checklist"].worksheet.page_setup.fitToHeight = 1
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
    top = next(row for row in range(1, 200) if workbook["Results"].cell(row, 2).value == _CHARTS)
    cautions = tuple(row["caution"] for row in read_template_table("cautions"))
    return add_text_box(
        pinned_bytes(workbook),
        drawing=_RESULTS_DRAWING,
        lines=("Cautions", *cautions),
        corner=(top + 2, 8),
        opposite=(top + 2 + _CHART_ROWS - 2, 9),
    )


def _add_picture(sheet: FormSheet) -> None:
    data = files("dampcell.templates").joinpath("pictures", "where_to_measure.png").read_bytes()
    picture = Picture(data, width=470, height=246)
    picture.anchor = OneCellAnchor(
        _from=AnchorMarker(col=11, row=_PICTURE_ROW - 1, colOff=250_000, rowOff=60_000),
        ext=XDRPositiveSize2D(picture.width * _EMU_PER_PIXEL, picture.height * _EMU_PER_PIXEL),
    )
    sheet.worksheet.add_image(picture)


def _new_sheet(workbook: Workbook, name: str, places: Places) -> FormSheet:
    first = len(workbook.worksheets) == 1 and not places.by_name and workbook.worksheets[0].title == "Sheet"
    worksheet = workbook.worksheets[0] if first else workbook.create_sheet()
    worksheet.title = name
    title = "Stack record" if name == "Job" else f"Stack record · {name}"
    return FormSheet(worksheet, _GRIDS[name], places, title, _LEGEND)


def _write_sheet(sheet: FormSheet, fields: Sequence[Field]) -> None:
    for section, members in groupby(fields, key=lambda declared: declared.section):
        group = list(members)
        if section == "Oil":
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


def _write_form(sheet: FormSheet, group: Sequence[Field]) -> None:
    for declared in group:
        if declared.type == "pairs":
            sheet.remark(declared.note)
            write_pairs(sheet, declared, _BOUND.get(declared.name))
        elif declared.type == "rows":
            sheet.remark(declared.note)
            filled = _checks() if declared.name == "checklist" else ()
            sheet.rows(declared, 2, filled, fixed=_FIXED)
        else:
            sheet.simple(declared)


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
    sheet.put(sheet.row, 2, f"{stacks[0].note}. Leave a variant blank if you do not need it.", styles.LEGEND)
    top = sheet.row + 2
    size = stacks[0].size
    for index, stack in enumerate(stacks):
        left, row = (2, 10)[index % 2], top + (index // 2) * (size + 3)
        key = VARIANTS[index]
        _write_stack(sheet, stack, others[f"label_{key}"], others[f"clicks_open_{key}"], row, left)
    sheet.row = top + -(-len(stacks) // 2) * (size + 3)


def _write_stack(sheet: FormSheet, stack: Field, label: Field, clicks: Field, row: int, left: int) -> None:
    title = sheet.worksheet.title
    sheet.span(row, (left, left + 1), "Stack" + (" *" if stack.required else ""), styles.LABEL)
    sheet.span(row, (left + 2, left + 4), label.default, styles.INPUT_TEXT)
    place = Place(title, row, left + 2, row, left + 2)
    sheet.places.add(label.name, place)
    sheet.validate(label, place)
    sheet.put(row, left + 5, clicks.label, styles.LABEL)
    sheet.put(row, left + 6, None, styles.INPUT)
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
            for index in range(first.size):
                sheet.put(
                    sheet.row + index,
                    sheet.grid.unit,
                    sheet.resolve(f"={{{down}}}", index, {}),
                    styles.RESULT,
                )
    sheet.matrix([declared for declared in group if declared.variant])


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
