"""How the template workbooks look: one set of named cell styles.

Inputs are boxed on all four sides and results have only a line below, so that
the two are told apart without colour; each style has its name in the program's
style list too.
"""

from __future__ import annotations

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Protection, Side

__all__ = [
    "BAND",
    "CAUTION",
    "FIGURE",
    "HEAD",
    "INPUT",
    "INPUT_TEXT",
    "LABEL",
    "LEGEND",
    "NOTE",
    "PLAIN",
    "RESULT",
    "RESULT_TEXT",
    "SERIES_COLOURS",
    "TITLE",
    "UNIT",
    "add_styles",
]

TITLE = "Dampcell title"
BAND = "Dampcell section"
HEAD = "Dampcell column head"
LEGEND = "Dampcell legend"
LABEL = "Dampcell label"
UNIT = "Dampcell unit"
NOTE = "Dampcell note"
PLAIN = "Dampcell plain"
FIGURE = "Dampcell figure"
INPUT = "Dampcell input"
INPUT_TEXT = "Dampcell input text"
RESULT = "Dampcell result"
RESULT_TEXT = "Dampcell result text"
CAUTION = "Dampcell caution"

# Slate and sand, with line colours that stay apart in greyscale and for colour-blind eyes.
_SLATE, _MIST, _SAND, _LINE, _GREY, _RUST, _PALE = (
    "2B4450",
    "E3EBEE",
    "FFF6DF",
    "8A6D2F",
    "5E6B70",
    "8C2F14",
    "F1F5F6",
)
SERIES_COLOURS = ("2B4450", "C8553D", "3C8D6E", "B08BC9", "B8860B", "7FA3B5", "8C2F14", "5E6B70")

_FONT = "Arial"


def _fill(colour: str) -> PatternFill:
    return PatternFill("solid", start_color=colour, end_color=colour)


def _box(colour: str) -> Border:
    side = Side(style="thin", color=colour)
    return Border(left=side, right=side, top=side, bottom=side)


def add_styles(workbook: Workbook) -> None:
    """Give a workbook the named styles.

    Parameters
    ----------
    workbook : Workbook
        A new workbook.
    """
    result_line = Border(bottom=Side(style="thin", color=_SLATE))
    hair_line = Border(bottom=Side(style="hair", color=_GREY))
    styles = [
        NamedStyle(
            TITLE, font=Font(_FONT, 16, bold=True, color=_SLATE), alignment=Alignment(vertical="center")
        ),
        NamedStyle(
            BAND,
            font=Font(_FONT, 11, bold=True, color="FFFFFF"),
            fill=_fill(_SLATE),
            alignment=Alignment(vertical="center"),
        ),
        NamedStyle(
            HEAD,
            font=Font(_FONT, 9, bold=True, color=_SLATE),
            fill=_fill(_MIST),
            border=Border(bottom=Side(style="thin", color=_SLATE)),
            alignment=Alignment(horizontal="center", wrap_text=True, vertical="center"),
        ),
        NamedStyle(
            LEGEND, font=Font(_FONT, 9, italic=True, color=_GREY), alignment=Alignment(vertical="center")
        ),
        NamedStyle(LABEL, font=Font(_FONT, 10), alignment=Alignment(wrap_text=True, vertical="center")),
        NamedStyle(
            UNIT,
            font=Font(_FONT, 9, color=_GREY),
            alignment=Alignment(horizontal="left", indent=1, vertical="center"),
        ),
        NamedStyle(
            NOTE,
            font=Font(_FONT, 9, italic=True, color=_GREY),
            alignment=Alignment(horizontal="left", indent=1, wrap_text=True, vertical="center"),
        ),
        NamedStyle(
            PLAIN,
            font=Font(_FONT, 10),
            border=hair_line,
            alignment=Alignment(horizontal="left", indent=1, wrap_text=True, vertical="center"),
        ),
        NamedStyle(FIGURE, font=Font(_FONT, 10), alignment=Alignment(horizontal="right", vertical="center")),
        NamedStyle(
            INPUT,
            font=Font(_FONT, 10),
            fill=_fill(_SAND),
            border=_box(_LINE),
            alignment=Alignment(horizontal="right", vertical="center"),
            protection=Protection(locked=False),
        ),
        NamedStyle(
            INPUT_TEXT,
            font=Font(_FONT, 10),
            fill=_fill(_SAND),
            border=_box(_LINE),
            alignment=Alignment(horizontal="left", indent=1, wrap_text=True, vertical="center"),
            protection=Protection(locked=False),
        ),
        NamedStyle(
            RESULT,
            font=Font(_FONT, 10, bold=True),
            fill=_fill(_PALE),
            border=result_line,
            alignment=Alignment(horizontal="right", vertical="center"),
        ),
        NamedStyle(
            RESULT_TEXT,
            font=Font(_FONT, 9),
            fill=_fill(_PALE),
            border=result_line,
            alignment=Alignment(horizontal="left", indent=1, vertical="center", wrap_text=True),
        ),
        NamedStyle(
            CAUTION,
            font=Font(_FONT, 9, bold=True, color=_RUST),
            border=hair_line,
            alignment=Alignment(horizontal="left", indent=1, wrap_text=True, vertical="center"),
        ),
    ]
    for style in styles:
        workbook.add_named_style(style)
