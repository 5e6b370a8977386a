"""Pages: the blocks a report is made of, and the one call that turns them into a PDF.

templates/report.typ lays the blocks out; it computes nothing. A new part of a
report is a few more blocks here-and-there in workbooks/reports.py, never a
change of the layout.
"""

from __future__ import annotations

import datetime
import functools
import itertools
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from importlib.resources import files
from typing import Literal

import typst

from dampcell.functions.errors import InputError
from dampcell.workbooks.plots import LABEL_LINE, Plot

__all__ = [
    "Block",
    "Head",
    "Page",
    "Paper",
    "Step",
    "caution",
    "checklist",
    "columns",
    "facts",
    "findings",
    "heading",
    "plot",
    "remarks",
    "render",
    "table",
    "text",
]

Block = dict[str, object]
"""One part of a page, with its kind; see the functions below."""

Head = tuple[str, str]
"""Head of a table column, and its unit or nothing."""

Paper = Literal["a4", "us-letter"]

TEXT_WIDTH = 174.0
"""Width of the text on both papers [mm]; the layout sets its margins for it."""

CREATOR_DATE = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
"""Date in the file's properties when a job has none: the same input must give the same bytes."""


@dataclass(frozen=True, slots=True)
class Page:
    """All that a report shows.

    Parameters
    ----------
    title, subtitle : text
        What was worked on.
    workshop : text
        Whose report it is.
    kind : text
        What the paper is, such as ``Service report``.
    address, reference : tuple of text
        Lines below the workshop, and below the kind.
    footer, footer_caution : text
        The two lines at the foot of every page.
    blocks : tuple of Block
        The content, in order.
    date : datetime.date, optional
        Date of the file's properties.
    """

    title: str
    subtitle: str
    workshop: str
    kind: str
    footer: str
    footer_caution: str
    blocks: tuple[Block, ...]
    address: tuple[str, ...] = ()
    reference: tuple[str, ...] = ()
    date: datetime.date | None = None


def heading(words: str, level: Literal[1, 2] = 1) -> Block:
    """A heading of a part (1) or of something within it (2)."""
    return {"kind": "heading", "level": level, "text": words}


def text(words: str, *, small: bool = False) -> Block:
    """A paragraph; line breaks in it are kept."""
    return {"kind": "text", "text": words, "small": small}


def facts(rows: Sequence[tuple[str, str]]) -> Block:
    """Names and values side by side."""
    return {"kind": "facts", "rows": [list(row) for row in rows]}


def columns(*parts: Sequence[Block]) -> Block:
    """Lists of blocks beside each other; without running text they stay whole on their page."""
    whole = not any(block["kind"] == "text" for part in parts for block in part)
    return {"kind": "columns", "columns": [list(part) for part in parts], "whole": whole}


def findings(title: str, entries: Sequence[tuple[str, str]]) -> Block:
    """What the eye should meet first: of what is spoken, and the sentences."""
    return {"kind": "findings", "title": title, "items": [list(entry) for entry in entries]}


def remarks(entries: Sequence[tuple[str, str]]) -> Block:
    """Sentences for who wants to know more: of what is spoken, and the sentences."""
    return {"kind": "remarks", "items": [list(entry) for entry in entries]}


def caution(title: str, sentences: Sequence[str]) -> Block:
    """Sentences that keep people from harm."""
    return {"kind": "caution", "title": title, "items": list(sentences)}


@dataclass(frozen=True, slots=True)
class Step:
    """A line of a checklist: its phase, whether it is ticked, what to do, torque [N·m], remark, caution."""

    phase: str
    ticked: bool
    step: str
    torque: str = ""
    remark: str = ""
    caution: str = ""


def checklist(steps: Sequence[Step]) -> Block:
    """Steps with a box to tick, under the phases in which they come."""
    groups = [
        {"phase": phase, "rows": [asdict(step) for step in group]}
        for phase, group in itertools.groupby(steps, key=lambda step: step.phase)
    ]
    return {"kind": "checklist", "groups": groups}


def plot(drawn: Plot, *, height: float, note: str = "") -> Block:
    """A plot over the whole width.

    Parameters
    ----------
    drawn : Plot
        Axes and lines.
    height : float
        Height of the plot area [mm], above 0.
    note : text
        Sentence below it.
    """
    # A line of a label is 4.4 mm high: its step in fractions depends on the height of the plot.
    lines = 2 if any(len(series.name) > LABEL_LINE for series in drawn.series) else 1
    laid_out = drawn.layout(label_step=lines * 4.4 / height)
    return {"kind": "plot", "plot": laid_out, "height": height, "note": note}


def table(
    heads: Sequence[Head],
    rows: Sequence[Sequence[str]],
    *,
    texts: Sequence[int] = (0,),
    fill: Sequence[int] = (0,),
    note: str = "",
) -> Block:
    """A table; numbers stand at the right.

    Parameters
    ----------
    heads : sequence of Head
        Column heads.
    rows : sequence of rows of text
        Cells as they are shown.
    texts : sequence of int
        Columns that hold words and stand at the left.
    fill : sequence of int
        Columns that take the room that is left.
    note : text
        Sentence below it.

    Raises
    ------
    InputError
        If a row has not one cell per column.
    """
    for row in rows:
        if len(row) != len(heads):
            raise InputError(
                "has not one cell per column", parameter="table row", found=len(row), allowed=str(len(heads))
            )
    return {
        "kind": "table",
        "head": [list(head) for head in heads],
        "rows": [list(row) for row in rows],
        "align": ["l" if index in texts else "r" for index in range(len(heads))],
        "fill": [index in fill for index in range(len(heads))],
        "note": note,
    }


def render(page: Page, paper: Paper = "a4") -> bytes:
    """Typeset a page.

    Parameters
    ----------
    page : Page
        Content.
    paper : {"a4", "us-letter"}
        Paper size.

    Returns
    -------
    bytes
        The PDF; equal content gives equal bytes.
    """
    content = {
        "paper": paper,
        "title": page.title,
        "subtitle": page.subtitle,
        "workshop": page.workshop,
        "kind": page.kind,
        "address": list(page.address),
        "reference": list(page.reference),
        "footer": {"left": page.footer, "caution": page.footer_caution},
        "blocks": list(page.blocks),
    }
    day = page.date
    stamp = datetime.datetime(day.year, day.month, day.day, tzinfo=datetime.UTC) if day else CREATOR_DATE
    made = _compiler().compile(
        input=_layout(),
        format="pdf",
        sys_inputs={"report": json.dumps(content, ensure_ascii=False)},
        timestamp=stamp,
    )
    assert isinstance(made, bytes)
    return made


@functools.cache
def _compiler() -> typst.Compiler:
    # Kept for the life of the process: fonts and layout are read once, a page then takes milliseconds.
    return typst.Compiler(ignore_system_fonts=True)


@functools.cache
def _layout() -> bytes:
    return files("dampcell.templates").joinpath("report.typ").read_bytes()
