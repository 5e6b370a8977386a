"""The templates by kind: built in memory, empty or with some fields filled."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from dampcell.functions.errors import InputError
from dampcell.functions.tables import nearest
from dampcell.workbooks.fields import field_names
from dampcell.workbooks.forms.demo import fill, respell
from dampcell.workbooks.forms.stack_record import KIND, build_stack_record, finished

__all__ = ["KINDS", "SPELLINGS", "Program", "template_bytes"]

KINDS: Final = {KIND: "date_in"}
"""Kinds of templates, and the field of each that takes the day on which it is made."""


Program = Literal["calc", "excel"]

SPELLINGS: Final[Mapping[Program, str]] = {"calc": "DAMP.", "excel": "_xldudf_DAMP_"}
"""How a saved formula names our functions, so that the program finds its add-in."""


def template_bytes(kind: str, values: Mapping[str, object], *, program: Program = "calc") -> bytes:
    """Build a template.

    Parameters
    ----------
    kind : text
        One of `KINDS`.
    values : mapping
        Fields to fill by name; texts, numbers as text, dates.
    program : text
        Spreadsheet program whose spelling of our functions is written.

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
    workbook, places = build_stack_record()
    typed = {name: _typed(inputs[name].type, value) for name, value in values.items()}
    fill(workbook, places, {"fields": typed, "tables": {}})
    respell(workbook, SPELLINGS[program])
    return finished(workbook)


def _typed(kind: str, value: object) -> object:
    """A plain number goes in as one; anything else stays the text it is, as if typed."""
    if kind in ("number", "money") and isinstance(value, str):
        try:
            return float(value)
        except ValueError:
            return value
    return value
