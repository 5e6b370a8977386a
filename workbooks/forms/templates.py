"""The templates by kind: built in memory, empty or with some fields filled."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from openpyxl import Workbook

from dampcell.functions.errors import InputError
from dampcell.functions.tables import nearest
from dampcell.workbooks.fields import field_names
from dampcell.workbooks.forms import comparison, oil_shelf, service_ledger, stack_record
from dampcell.workbooks.forms.demo import fill, respell
from dampcell.workbooks.forms.sheet import Place
from dampcell.workbooks.pages import Paper

__all__ = ["KINDS", "SPELLINGS", "TEMPLATES", "Program", "Template", "template_bytes"]


@dataclass(frozen=True, slots=True)
class Template:
    """One kind of template workbook.

    Parameters
    ----------
    build : callable
        Builds it empty; gives the workbook, and the place of every field by name.
    finish : callable
        Saves it; equal content gives equal bytes.
    date_field : text
        Field that takes the day on which a fresh one is made, or empty.
    """

    build: Callable[[], tuple[Workbook, Mapping[str, Place]]]
    finish: Callable[[Workbook], bytes]
    date_field: str = ""


TEMPLATES: Final[Mapping[str, Template]] = {
    stack_record.KIND: Template(stack_record.build_stack_record, stack_record.finished, "date_in"),
    comparison.KIND: Template(comparison.build_comparison, comparison.finished, "comparison_date"),
    oil_shelf.KIND: Template(oil_shelf.build_oil_shelf, oil_shelf.finished, "shelf_date"),
    service_ledger.KIND: Template(service_ledger.build_service_ledger, service_ledger.finished, "ledger_day"),
}
"""The templates by kind."""

KINDS: Final = {kind: template.date_field for kind, template in TEMPLATES.items()}
"""Kinds of templates, and the field of each that takes the day on which it is made, or an empty text."""


_PAPERS: Final[Mapping[Paper, int]] = {"a4": 9, "us-letter": 1}

Program = Literal["calc", "excel"]

SPELLINGS: Final[Mapping[Program, str]] = {"calc": "DAMP.", "excel": "_xldudf_DAMP_"}
"""How a saved formula names our functions, so that the program finds its add-in."""


def template_bytes(
    kind: str, values: Mapping[str, object], *, program: Program = "calc", paper: Paper = "a4"
) -> bytes:
    """Build a template.

    Parameters
    ----------
    kind : text
        One of `KINDS`.
    values : mapping
        Fields to fill by name; texts, numbers as text, dates.
    program : text
        Spreadsheet program whose spelling of our functions is written.
    paper : {"a4", "us-letter"}
        Paper that its sheets are set up for; all fit on both.

    Returns
    -------
    bytes
        The workbook; equal input gives equal bytes.

    Raises
    ------
    InputError
        If a name is no input field of one cell.
    """
    inputs = {
        name: declared
        for name, declared in field_names(kind).items()
        if declared.kind == "input" and not declared.is_table and declared.type != "numbers"
    }
    for name in values:
        if name not in inputs:
            raise InputError(
                f"there is no field of that name{nearest(name, inputs)}",
                found=name,
                allowed=", ".join(inputs),
            )
    template = TEMPLATES[kind]
    workbook, places = template.build()
    typed = {name: _typed(inputs[name].type, value) for name, value in values.items()}
    fill(workbook, places, {"fields": typed, "tables": {}})
    respell(workbook, SPELLINGS[program])
    for sheet in workbook.worksheets:
        sheet.page_setup.paperSize = _PAPERS[paper]
    return template.finish(workbook)


def _typed(kind: str, value: object) -> object:
    """A plain number goes in as one; anything else stays the text it is, as if typed."""
    if kind in ("number", "money") and isinstance(value, str):
        try:
            return float(value)
        except ValueError:
            return value
    return value
