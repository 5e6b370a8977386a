"""The service ledger: one row per job, and what the bookkeeper counts from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from openpyxl import Workbook

from dampcell.workbooks.fields import Field, field_names
from dampcell.workbooks.forms import shop_charts, styles
from dampcell.workbooks.forms.blocks import write_block
from dampcell.workbooks.forms.book import add_sheet, new_book
from dampcell.workbooks.forms.help_sheet import write_help
from dampcell.workbooks.forms.pinned import pinned_bytes
from dampcell.workbooks.forms.sheet import FormSheet, Grid, Place

__all__ = ["KIND", "build_service_ledger", "finished"]

KIND = "service_ledger"

_FOOTER = 'Filled by hand or by "dampcell ledger". Each job counts once; undated rows are in no month.'
_JOBS = Grid(
    (2, 14, 12, 15, 24, 15, 11, 12, 12, 26, 11, 12, 12, 34), (2, 2), 3, 4, (3, 5), (6, 14), landscape=True
)
_OVERVIEW = Grid((2, 24, 12, 13, 13, *(13,) * 6, 11), (2, 2), 3, 4, (3, 5), (6, 12), landscape=True)
_GROUPS = Grid((2, 30, 12, 13, 13, 13, 3, *(11,) * 6), (2, 2), 3, 4, (3, 3), (4, 6), landscape=True)
_OIL = Grid((2, 34, 13, 13, 13, 48), (2, 2), 3, 4, (3, 4), (5, 6), landscape=True)
_DUE = Grid((2, 28, 16, 13, 14, 14, 12, 44), (2, 2), 3, 4, (3, 5), (6, 8), landscape=True)
_CHECK = Grid((2, 16, 12, 90), (2, 2), 3, 4, (3, 3), (4, 4), landscape=True)
_CHART_ROWS = 20
_KINDS_LEFT = 6
_TABLES_END = 6
# No service of a kind in a month shows as a dash.
_COUNTS = "0;-0;–"


def build_service_ledger() -> tuple[Workbook, Mapping[str, Place]]:
    """Build an empty service ledger.

    Returns
    -------
    tuple of Workbook and mapping
        The workbook, and the place of every field by name.
    """
    workbook, places = new_book("Service ledger")
    fields = field_names(KIND)
    overview = add_sheet(places, "Overview", _OVERVIEW)
    groups = add_sheet(places, "Groups", _GROUPS)
    oil = add_sheet(places, "Oil", _OIL)
    due = add_sheet(places, "Due", _DUE)
    check = add_sheet(places, "Check", _CHECK)
    jobs = add_sheet(places, "Jobs", _JOBS)
    _jobs(jobs, fields["jobs"])
    _overview(overview, fields)
    _groups(groups, fields)
    _oil(oil, fields)
    _due(due, fields)
    _block(check, fields, "findings")
    for sheet in (overview, groups, oil, due, check, jobs):
        sheet.finish(footer=_FOOTER)
        if sheet is not jobs:
            sheet.worksheet.page_setup.fitToHeight = 1
    write_help(workbook.create_sheet("Help"))
    return workbook, places.by_name


def finished(workbook: Workbook) -> bytes:
    """Save a ledger, filled or not; equal content gives equal bytes."""
    return pinned_bytes(workbook)


def _jobs(sheet: FormSheet, declared: Field) -> None:
    sheet.put(sheet.row, 2, declared.note, styles.LEGEND, wrap=False)
    sheet.row += 1
    head = sheet.row
    sheet.rows(declared, 2)
    sheet.worksheet.freeze_panes = f"C{head + 1}"
    sheet.worksheet.print_title_rows = f"{head}:{head}"


def _overview(sheet: FormSheet, fields: Mapping[str, Field]) -> None:
    sheet.section("Settings")
    for name in ("workshop", "ledger_day", "ledger_year", "tax_rate", "tax_basis"):
        sheet.simple(fields[name])
    sheet.section("The year")
    for name in (
        "year_shown",
        "services_total",
        "amount_total",
        "oil_total",
        "undated_total",
        "ledger_state",
    ):
        sheet.simple(fields[name])
    sheet.worksheet.row_dimensions[sheet.row - 1].height = 30
    sheet.section("By month")
    head = sheet.row
    write_block(sheet, fields["months"], 2)
    _pivot(sheet, fields, head)
    sheet.section("Charts")
    anchor = sheet.row + 1
    by_name = sheet.places.by_name
    shop_charts.add_months_chart(sheet.worksheet, by_name, anchor=f"B{anchor}")
    shop_charts.add_money_chart(sheet.worksheet, by_name, anchor=f"H{anchor}")
    sheet.row += _CHART_ROWS


def _pivot(sheet: FormSheet, fields: Mapping[str, Field], head: int) -> None:
    """Counts by month and kind, right of the months; the heads are the kinds, which people may change."""
    kinds, pivot, other = fields["pivot_kinds"], fields["pivot"], fields["other_kinds"]
    title = sheet.worksheet.title
    heads = Place(title, head, _KINDS_LEFT, head, _KINDS_LEFT + kinds.size - 1)
    for index, kind in enumerate(kinds.default.split(";")):
        sheet.put(head, _KINDS_LEFT + index, kind, styles.INPUT_TEXT)
    sheet.places.add(kinds.name, heads)
    sheet.validate(kinds, heads)
    after, sheet.row = sheet.row, head
    write_block(sheet, pivot, _KINDS_LEFT, heads=False)
    sheet.row = after
    places = {
        "services": sheet.places.by_name["months.services"],
        "first": sheet.places.by_name["pivot.kind_1"],
        "last": sheet.places.by_name[f"pivot.kind_{kinds.size}"],
    }
    column = _KINDS_LEFT + kinds.size
    place = Place(title, head + 1, column, head + other.size, column)
    sheet.put(head, column, other.label, styles.HEAD)
    sheet.input_column(replace(other, type="number"), place, places)
    sheet.places.add(other.name, place)
    for row in range(head + 1, head + 1 + pivot.size):
        for counted in range(_KINDS_LEFT, column + 1):
            sheet.worksheet.cell(row, counted).number_format = _COUNTS


def _groups(sheet: FormSheet, fields: Mapping[str, Field]) -> None:
    for name in ("by_damper", "by_kind", "by_technician"):
        _block(sheet, fields, name)
    _shorten_bands(sheet)
    by_name = sheet.places.by_name
    for name, row in (("by_damper", 4), ("by_kind", 18), ("by_technician", 32)):
        shop_charts.add_group_chart(
            sheet.worksheet, by_name, name=name, title=fields[name].section, anchor=f"H{row}"
        )
    sheet.row = max(sheet.row, 46)


def _oil(sheet: FormSheet, fields: Mapping[str, Field]) -> None:
    sheet.section("Bottles to order")
    for name in ("order_period", "cover_factor"):
        sheet.simple(fields[name])
    sheet.simple(fields["orders_rows"])
    write_block(sheet, fields["orders"], 2)
    sheet.section("Shelf")
    sheet.put(sheet.row, 2, fields["shelf"].note, styles.LEGEND, wrap=False)
    sheet.row += 1
    sheet.rows(fields["shelf"], 2)
    sheet.section("Chart")
    shop_charts.add_oil_chart(sheet.worksheet, sheet.places.by_name, anchor=f"B{sheet.row + 1}")
    sheet.row += _CHART_ROWS + 2


def _due(sheet: FormSheet, fields: Mapping[str, Field]) -> None:
    sheet.section("What is asked")
    for name in ("within_days", "hours_per_month", "months_at_most"):
        sheet.simple(fields[name])
    _block(sheet, fields, "due")


def _block(sheet: FormSheet, fields: Mapping[str, Field], name: str) -> None:
    """A section of its own: how many rows there are, then the rows."""
    sheet.section(fields[name].section)
    sheet.simple(fields[f"{name}_rows"])
    write_block(sheet, fields[name], 2)


def _shorten_bands(sheet: FormSheet) -> None:
    """Let the bands end with the tables, where charts stand beside them."""
    for row in range(4, sheet.row):
        if sheet.worksheet.cell(row, 2).style == styles.BAND:
            for column in range(_TABLES_END + 1, len(sheet.grid.widths) + 1):
                sheet.worksheet.cell(row, column).style = "Normal"
