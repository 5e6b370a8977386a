"""Native charts of the templates: they follow the cells in every spreadsheet program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Protocol

from openpyxl.chart import BarChart, Reference, ScatterChart, Series
from openpyxl.chart.axis import ChartLines
from openpyxl.chart.data_source import StrRef
from openpyxl.chart.layout import Layout, ManualLayout
from openpyxl.chart.series import SeriesLabel, XYSeries
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText, Text
from openpyxl.chart.title import Title
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import CharacterProperties, Paragraph, ParagraphProperties, RegularTextRun
from openpyxl.worksheet.worksheet import Worksheet

from dampcell.workbooks.fields import VARIANTS
from dampcell.workbooks.forms.sheet import Place
from dampcell.workbooks.forms.styles import SERIES_COLOURS

__all__ = [
    "Adder",
    "add_change_chart",
    "add_changes_chart",
    "add_curves_chart",
    "add_force_chart",
    "add_lift_chart",
    "add_viscosity_chart",
]

# Told apart in black and white as well.
_DASHES = ("solid", "dash", "sysDot", "lgDashDot", "sysDash", "solid", "dash", "sysDot")
_WIDTH_EMU = 25400


class Adder(Protocol):
    """One of the functions that add a chart."""

    def __call__(self, worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
        """Add it at a cell."""


def add_lift_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart the lift of all variants against load.

    Parameters
    ----------
    worksheet : Worksheet
        Where the chart goes.
    places : mapping
        Place of every field by name.
    anchor : text
        Cell of its top left corner.
    """
    chart = _chart("Lift against load", "load [N]", "lift [mm]")
    for index, variant in enumerate(VARIANTS):
        label = f"label_{variant}"
        _add_line(
            worksheet, chart, places[f"curve_x_{variant}"], places[f"curve_y_{variant}"], index, places[label]
        )
    worksheet.add_chart(chart, anchor)


def add_viscosity_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart the viscosity of the oil against temperature; arguments as for the lift."""
    chart = _chart("Oil viscosity against temperature", "temperature [°C]", "viscosity [mm²/s]")
    _add_line(worksheet, chart, places["curve_temperatures"], places["curve_viscosities"], 0, None)
    chart.x_axis.scaling.min, chart.x_axis.scaling.max = 0, 100
    chart.legend = None
    worksheet.add_chart(chart, anchor)


def add_force_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart force against velocity, with the band of the stack as found; arguments as for the lift."""
    chart = _chart("Force against velocity", "shaft velocity [m/s]", "force [N]")
    for index, variant in enumerate(VARIANTS):
        across, up = places[f"damping_x_{variant}"], places[f"damping_y_{variant}"]
        _add_line(worksheet, chart, across, up, index, places[f"label_{variant}"])
    for name, title in (("damping_low", "as found, low"), ("damping_high", "as found, high")):
        line = Series(
            _reference(worksheet, places[name]),
            _reference(worksheet, places[f"damping_x_{VARIANTS[0]}"]),
            title=title,
        )
        _draw(line, SERIES_COLOURS[0], "sysDot", _WIDTH_EMU // 3)
        chart.series.append(line)
    worksheet.add_chart(chart, anchor)


def add_change_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart the change of force against the stack as found; arguments as for the lift."""
    chart = BarChart()
    _dress(chart, "Change of force against the stack as found", "shaft velocity [m/s]", "change [%]")
    for index, variant in enumerate(VARIANTS[1:], start=1):
        _add_bars(worksheet, chart, places[f"force_change_{variant}"], index, places[f"label_{variant}"])
    chart.set_categories(_reference(worksheet, places["velocities"]))
    chart.gapWidth = 60
    # The categories stay at the foot where bars reach below zero.
    chart.x_axis.tickLblPos = "low"
    worksheet.add_chart(chart, anchor)


def add_curves_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart the curves of all variants of a comparison; arguments as for the lift."""
    chart = _chart("Force against velocity", "shaft velocity [m/s]", "force [N]")
    for index, label in enumerate(_labels(places["forces"])):
        across, up = places[f"curve_x_{index + 1}"], places[f"curve_y_{index + 1}"]
        _add_line(worksheet, chart, across, up, index, label)
    worksheet.add_chart(chart, anchor)


def add_changes_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart the changes of all variants of a comparison against its baseline; arguments as for the lift."""
    chart = BarChart()
    _dress(chart, "Change against the baseline", "shaft velocity [m/s]", "change [%]")
    changes = places["force_changes"]
    for index, label in enumerate(_labels(changes)):
        row = replace(changes, top=changes.top + index, bottom=changes.top + index)
        _add_bars(worksheet, chart, row, index, label)
    chart.set_categories(_reference(worksheet, places["velocities"]))
    chart.gapWidth = 60
    chart.x_axis.tickLblPos = "low"
    worksheet.add_chart(chart, anchor)


def _labels(grid: Place) -> list[Place]:
    """The cells before each row of a grid, which name it."""
    left = grid.left - 1
    return [Place(grid.sheet, row, left, row, left) for row in range(grid.top, grid.bottom + 1)]


def _add_bars(worksheet: Worksheet, chart: BarChart, bars: Place, index: int, label: Place) -> None:
    series = Series(_reference(worksheet, bars))
    series.tx = SeriesLabel(strRef=StrRef(label.address))
    series.graphicalProperties.solidFill = SERIES_COLOURS[index % len(SERIES_COLOURS)]
    series.graphicalProperties.line.solidFill = SERIES_COLOURS[0]
    chart.series.append(series)


def _chart(title: str, across: str, up: str) -> ScatterChart:
    chart = ScatterChart()
    chart.scatterStyle = "lineMarker"
    _dress(chart, title, across, up)
    chart.x_axis.scaling.min = chart.y_axis.scaling.min = 0
    return chart


def _dress(chart: ScatterChart | BarChart, title: str, across: str, up: str) -> None:
    """Give a chart its titles, grid, size and legend."""
    chart.style = 2
    chart.title = _text(title, size=1200)
    chart.x_axis.title, chart.y_axis.title = _text(across, size=900), _text(up, size=900)
    for axis in (chart.x_axis, chart.y_axis):
        axis.majorGridlines = ChartLines(GraphicalProperties(ln=LineProperties(solidFill="D5DADC", w=6350)))
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.number_format = chart.y_axis.number_format = "General"
    assert chart.legend is not None
    chart.legend.position = "b"
    chart.width, chart.height = 14, 11
    chart.layout = Layout(manualLayout=ManualLayout(x=0.02, y=0.11, w=0.94, h=0.7))


def _text(words: str, *, size: int) -> Title:
    """A title in a size that leaves room for the plot [hundredths of a point]."""
    look = CharacterProperties(sz=size, b=True, solidFill="2B4450")
    paragraph = Paragraph(pPr=ParagraphProperties(defRPr=look), r=[RegularTextRun(rPr=look, t=words)])
    return Title(tx=Text(rich=RichText(p=[paragraph])), overlay=False)


def _add_line(
    worksheet: Worksheet, chart: ScatterChart, across: Place, up: Place, index: int, label: Place | None
) -> None:
    line = Series(_reference(worksheet, up), _reference(worksheet, across), title="viscosity")
    if label is not None:
        line.tx = SeriesLabel(strRef=StrRef(label.address))
    _draw(line, SERIES_COLOURS[index % len(SERIES_COLOURS)], _DASHES[index % len(_DASHES)], _WIDTH_EMU)
    chart.series.append(line)


def _draw(line: XYSeries, colour: str, dash: str, width: int) -> None:
    assert line.marker is not None
    line.marker.symbol = "none"
    line.smooth = False
    line.graphicalProperties.line.solidFill = colour
    line.graphicalProperties.line.dashStyle = dash
    line.graphicalProperties.line.width = width


def _reference(worksheet: Worksheet, place: Place) -> Reference:
    return Reference(worksheet=worksheet, range_string=place.address)
