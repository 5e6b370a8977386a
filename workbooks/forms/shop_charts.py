"""Charts of oil shelf and ledger: they point at cells that stay where they are, so they follow a refill."""

from __future__ import annotations

from collections.abc import Mapping

from openpyxl.chart import BarChart, Reference, ScatterChart, Series
from openpyxl.chart.axis import ChartLines
from openpyxl.chart.data_source import StrRef
from openpyxl.chart.layout import Layout, ManualLayout
from openpyxl.chart.series import SeriesLabel
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText, Text
from openpyxl.chart.title import Title
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import CharacterProperties, Paragraph, ParagraphProperties, RegularTextRun
from openpyxl.worksheet.worksheet import Worksheet

from dampcell.workbooks.forms.sheet import Place
from dampcell.workbooks.forms.styles import SERIES_COLOURS

__all__ = [
    "add_group_chart",
    "add_money_chart",
    "add_months_chart",
    "add_oil_chart",
    "add_shelf_chart",
]

_INK, _GRID = "2B4450", "D5DADC"
# Seven kinds in a pile: the line colours, then two pale ones.
_PILE = (*SERIES_COLOURS, "9FB4BD", "E2C9A6")
# Eight curves: colours in turn, told apart in black and white by their dashes.
_DASHES = ("solid", "dash", "sysDot", "lgDashDot", "sysDash", "dashDot", "lgDash", "sysDashDot")
_WIDTH_EMU = 22225


def add_shelf_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str, oils: int) -> None:
    """Chart viscosity against temperature for the chosen oils.

    Parameters
    ----------
    worksheet : Worksheet
        Where the chart goes.
    places : mapping
        Place of every field by name.
    anchor : text
        Cell of its top left corner.
    oils : int
        Number of curves.
    """
    chart = ScatterChart()
    chart.scatterStyle = "lineMarker"
    _dress(chart, "Viscosity against temperature", "temperature [°C]", "viscosity [mm²/s]", (34.0, 12.0))
    # Thin and thick oils differ tenfold, and so does one oil over the range.
    chart.y_axis.scaling.logBase = 10
    chart.x_axis.scaling.min, chart.x_axis.scaling.max = 0, 100
    across = _reference(worksheet, places["curves.temperature"])
    for index in range(oils):
        place = places[f"curves.curve_{index + 1}"]
        line = Series(_reference(worksheet, place), across)
        line.tx = SeriesLabel(strRef=StrRef(_head(place)))
        line.marker.symbol = "none"
        line.smooth = False
        line.graphicalProperties.line.solidFill = _PILE[index % len(SERIES_COLOURS)]
        line.graphicalProperties.line.dashStyle = _DASHES[index]
        line.graphicalProperties.line.width = _WIDTH_EMU
        chart.series.append(line)
    assert chart.legend is not None
    chart.legend.position = "r"
    chart.layout = Layout(manualLayout=ManualLayout(x=0.03, y=0.1, w=0.72, h=0.76))
    worksheet.add_chart(chart, anchor)


def add_months_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart the services of each month, one pile of kinds; arguments as for the shelf."""
    chart = _bars("Services by month and kind", "", "services", (17.0, 9.5))
    chart.grouping, chart.overlap = "stacked", 100
    names = [f"pivot.kind_{number}" for number in range(1, 7)] + ["other_kinds"]
    for index, name in enumerate(names):
        _add_bars(worksheet, chart, places[name], places["months.month"], _PILE[index])
    _whole_numbers(chart)
    worksheet.add_chart(chart, anchor)


def add_money_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart the money of each month; arguments as for the shelf."""
    chart = _bars("Billed by month, without tax", "", "amount", (15.5, 9.5))
    _add_bars(worksheet, chart, places["months.amount"], places["months.month"], _INK)
    chart.legend = None
    chart.layout = Layout(manualLayout=ManualLayout(x=0.02, y=0.12, w=0.95, h=0.78))
    worksheet.add_chart(chart, anchor)


def add_group_chart(
    worksheet: Worksheet, places: Mapping[str, Place], *, name: str, title: str, anchor: str
) -> None:
    """Chart the services of the groups of a table; its name and a title, else as for the shelf."""
    chart = _bars(f"Services {title[:1].lower()}{title[1:]}", "", "services", (14.0, 6.8))
    chart.type = "bar"
    _add_bars(worksheet, chart, places[f"{name}.services"], places[f"{name}.group"], _INK)
    chart.legend = None
    # The largest group, which stands first in the table, stands at the top.
    chart.x_axis.scaling.orientation = "maxMin"
    chart.y_axis.crosses = "max"
    chart.layout = Layout(manualLayout=ManualLayout(x=0.02, y=0.13, w=0.94, h=0.75))
    _whole_numbers(chart)
    worksheet.add_chart(chart, anchor)


def add_oil_chart(worksheet: Worksheet, places: Mapping[str, Place], *, anchor: str) -> None:
    """Chart the oil used and in stock; arguments as for the shelf."""
    chart = _bars("Oil used and in stock", "", "volume [ml]", (25.0, 10.5))
    for name, colour in (("orders.oil_used", _INK), ("orders.stock", SERIES_COLOURS[1])):
        _add_bars(worksheet, chart, places[name], places["orders.oil"], colour)
    worksheet.add_chart(chart, anchor)


def _bars(title: str, across: str, up: str, size: tuple[float, float]) -> BarChart:
    chart = BarChart()
    _dress(chart, title, across, up, size)
    chart.y_axis.scaling.min = 0
    chart.gapWidth = 60
    return chart


def _add_bars(worksheet: Worksheet, chart: BarChart, values: Place, names: Place, colour: str) -> None:
    bars = Series(_reference(worksheet, values))
    bars.tx = SeriesLabel(strRef=StrRef(_head(values)))
    bars.graphicalProperties.solidFill = colour
    bars.graphicalProperties.line.solidFill = _INK
    bars.graphicalProperties.line.width = 3175
    chart.series.append(bars)
    chart.set_categories(_reference(worksheet, names))


def _whole_numbers(chart: BarChart) -> None:
    chart.y_axis.number_format = "0"
    chart.y_axis.majorUnit = 1


def _dress(
    chart: ScatterChart | BarChart, title: str, across: str, up: str, size: tuple[float, float]
) -> None:
    chart.style = 2
    chart.title = _text(title, points=12)
    if across:
        chart.x_axis.title = _text(across, points=9)
    chart.y_axis.title = _text(up, points=9)
    chart.y_axis.majorGridlines = ChartLines(GraphicalProperties(ln=LineProperties(solidFill=_GRID, w=6350)))
    if isinstance(chart, ScatterChart):
        chart.x_axis.majorGridlines = chart.y_axis.majorGridlines
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.number_format = chart.y_axis.number_format = "General"
    assert chart.legend is not None
    chart.legend.position = "b"
    # openpyxl's stubs take the usual size, 15 by 7.5 cm, for whole numbers.
    chart.width, chart.height = size  # type: ignore[assignment]
    chart.layout = Layout(manualLayout=ManualLayout(x=0.02, y=0.12, w=0.95, h=0.66))


def _text(words: str, *, points: int) -> Title:
    look = CharacterProperties(sz=points * 100, b=True, solidFill=_INK)
    paragraph = Paragraph(pPr=ParagraphProperties(defRPr=look), r=[RegularTextRun(rPr=look, t=words)])
    return Title(tx=Text(rich=RichText(p=[paragraph])), overlay=False)


def _reference(worksheet: Worksheet, place: Place) -> Reference:
    return Reference(worksheet=worksheet, range_string=place.address)


def _head(place: Place) -> str:
    """Address of the head above a column."""
    return Place(place.sheet, place.top - 1, place.left, place.top - 1, place.left).address
