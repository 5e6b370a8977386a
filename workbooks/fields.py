"""The fields of the template workbooks, as templates/fields.csv declares them.

Template, reading, messages and report all start from these, so that a field is
declared once: its name in the workbook, its place, its quantity with unit, what
it may hold and where to measure it.
"""

from __future__ import annotations

import csv
import functools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Literal, cast

from dampcell.functions.data import read_table

__all__ = ["VARIANTS", "Field", "field_names", "load_fields", "read_template_table"]

VARIANTS = ("as_found", "a", "b", "c", "d")
"""Keys of the stacks of one record, in the order in which they are shown."""

_TABLES = ("fields", "shop_fields")

_NUMBERED = {
    "variant": VARIANTS,
    "stack": tuple(map(str, range(1, 9))),
    "valve": ("1", "2", "3"),
    "row": tuple(map(str, range(1, 9))),
}
"""What a name in braces stands for in the name of a field that is there several times."""

_STACKS = "stack_record"
"""The template whose stack columns all stacks have."""

FieldKind = Literal["input", "result", "column"]
FieldType = Literal[
    "text", "long", "date", "number", "money", "choice", "numbers", "stack", "pairs", "rows", "grid"
]
_BARE: dict[str, FieldType] = {"bare number": "number", "bare money": "money"}


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a template workbook; a row of templates/fields.csv.

    Parameters
    ----------
    name : text
        Defined name in the workbook; a column of a table has the name after the dot.
    sheet, section, label : text
        Where it stands, and what it is called there.
    kind, type : text
        See the header of templates/fields.csv.
    quantity, unit : text
        Nomenclature name and its unit; both empty for what is no quantity.
    size : int
        Rows of a list or table, lines of a text, else 1.
    required, wanted : bool
        Whether a report needs it; whether a check asks for it.
    default : text
        What a fresh template holds there.
    choices : tuple of text
        What a choice may be.
    minimum, maximum : float, optional
        Range that validation and ``dampcell check`` allow.
    formula : text
        Formula of a result.
    note : text
        Where to measure it, or what it means.
    variant : text
        Key of the stack it belongs to, or empty.
    columns : tuple of Field
        Columns of a table of rows.
    bare : bool
        Whether formulas of the sheet itself reckon with the cell, so that text cannot stand there.
    """

    name: str
    sheet: str
    section: str
    label: str
    kind: FieldKind
    type: FieldType
    quantity: str = ""
    unit: str = ""
    size: int = 1
    required: bool = False
    wanted: bool = False
    default: str = ""
    choices: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    formula: str = ""
    note: str = ""
    variant: str = ""
    columns: tuple[Field, ...] = ()
    bare: bool = False

    @property
    def is_table(self) -> bool:
        """Whether it spans more than one column of cells."""
        return self.type in ("stack", "pairs", "rows", "grid")


@functools.cache
def load_fields(workbook: str) -> tuple[Field, ...]:
    """Read the fields of one template.

    Parameters
    ----------
    workbook : text
        Kind of template, such as ``stack_record``.

    Returns
    -------
    tuple of Field
        In the order of the table; columns are inside their table, and a name
        with ``{variant}`` stands once for every stack.
    """
    units = {row["name"]: row["unit"] for row in read_table("nomenclature")}
    plain: list[Field] = []
    columns: dict[str, list[Field]] = {}
    for row in field_tables():
        table, _, name = row["name"].partition(".")
        of_stacks = row["workbook"] == _STACKS and table == "stack"
        if row["kind"] == "column" and (of_stacks or row["workbook"] == workbook):
            columns.setdefault(table, []).append(replace(_field(row, units), name=name))
        elif row["workbook"] == workbook:
            plain.extend(_each(_field(row, units)))
    return tuple(
        replace(field, columns=tuple(columns.get("stack" if field.type == "stack" else field.name, ())))
        for field in plain
    )


@functools.cache
def field_names(workbook: str) -> dict[str, Field]:
    """Look up the fields of one template by name.

    Parameters
    ----------
    workbook : text
        Kind of template.

    Returns
    -------
    dict
        Name to field.
    """
    return {field.name: field for field in load_fields(workbook)}


@functools.cache
def field_tables() -> tuple[dict[str, str], ...]:
    """Rows of the tables of fields of all templates, as they stand there."""
    return tuple(row for table in _TABLES for row in read_template_table(table))


def read_template_table(name: str) -> list[dict[str, str]]:
    """Read one of the CSV files that stand beside the templates.

    Parameters
    ----------
    name : text
        File name without its ending.

    Returns
    -------
    list of dict
        One dictionary per row; lines that start with ``#`` are left out.
    """
    text = files("dampcell.templates").joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if line and not line.startswith("#")))


def _field(row: dict[str, str], units: dict[str, str]) -> Field:
    if row["quantity"] and row["quantity"] not in units:
        raise KeyError(f"{row['quantity']} (field {row['name']}) is not in functions/data/nomenclature.csv")
    return Field(
        name=row["name"],
        sheet=row["sheet"],
        section=row["section"],
        label=row["label"],
        kind=cast(FieldKind, row["kind"]),
        type=_BARE.get(row["type"], cast(FieldType, row["type"])),
        bare=row["type"] in _BARE,
        quantity=row["quantity"],
        unit=units.get(row["quantity"], ""),
        size=int(row["size"] or 1),
        required=row["required"] == "yes",
        wanted=row["required"] == "wanted",
        default=row["default"],
        choices=tuple(choice.strip() for choice in row["choices"].split(",") if choice.strip()),
        minimum=float(row["minimum"]) if row["minimum"] else None,
        maximum=float(row["maximum"]) if row["maximum"] else None,
        formula=row["formula"],
        note=row["note"],
    )


def _each(field: Field) -> Iterator[Field]:
    """Repeat a field whose name has a placeholder, with the placeholder's key in name, label and formula."""
    for word, keys in _NUMBERED.items():
        brace = f"{{{word}}}"
        if brace in field.name:
            for key in keys:
                yield replace(
                    field,
                    name=field.name.replace(brace, key),
                    label=field.label.replace(brace, key),
                    formula=field.formula.replace(brace, key),
                    variant=key,
                )
            return
    yield field
