"""The command ``new``: a fresh workbook from a template."""

from __future__ import annotations

import datetime
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from dampcell.functions.errors import InputError, WorkbookError
from dampcell.functions.tables import nearest
from dampcell.workbooks.files import write_bytes
from dampcell.workbooks.forms.templates import KINDS, Program, template_bytes
from dampcell.workbooks.pages import Paper

__all__ = ["new", "register", "write_new"]


def new(
    kind: Annotated[str, typer.Argument(metavar="KIND", help=f"Template: {', '.join(KINDS)}.")],
    target: Annotated[
        Path | None,
        typer.Argument(metavar="TARGET", help="File or folder; default: the kind and the date, here."),
    ] = None,
    date: Annotated[
        datetime.datetime | None,
        typer.Option("--date", formats=["%Y-%m-%d"], help="Date that is filled in; default today."),
    ] = None,
    program: Annotated[
        Program,
        typer.Option("--for", help="Program it is for: excel (with the Office add-in) or calc (all others)."),
    ] = "calc",
    paper: Annotated[Paper, typer.Option("--paper", help="Paper that its sheets are set up for.")] = "a4",
    values: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="NAME=VALUE", help="Fill a field by its name; may be repeated."),
    ] = None,
) -> None:
    """Make a fresh workbook from a template; a file that is there already is never overwritten."""
    day = (date or datetime.datetime.now()).date()
    pairs = dict(_pair(text) for text in values or [])
    typer.echo(write_new(kind, target, day, pairs, program=program, paper=paper))


def register(app: typer.Typer) -> None:
    """Add the command to a command line."""
    app.command()(new)


def write_new(
    kind: str,
    target: Path | None,
    day: datetime.date,
    values: Mapping[str, str],
    *,
    program: Program = "calc",
    paper: Paper = "a4",
) -> Path:
    """Write a fresh workbook.

    Parameters
    ----------
    kind : text
        Template, spaces, dashes or underscores between its words.
    target : Path, optional
        File, or folder for a file named by kind and date.
    day : date
        Day that is filled in.
    values : mapping
        Further fields by name.
    program : text
        Spreadsheet program it is for.
    paper : {"a4", "us-letter"}
        Paper that its sheets are set up for.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    InputError
        If there is no such template or field.
    WorkbookError
        If the target exists already or cannot be written.
    """
    name = kind.strip().casefold().replace("-", "_").replace(" ", "_")
    if name not in KINDS:
        raise InputError(
            f"there is no template of that kind{nearest(name, KINDS)}", found=kind, allowed=", ".join(KINDS)
        )
    path = target or Path()
    if path.is_dir():
        path = path / f"{name} {day.isoformat()}.xlsx"
    elif path.suffix.casefold() != ".xlsx":
        path = path.with_name(f"{path.name}.xlsx")
    if os.path.lexists(path):
        raise WorkbookError("is there already and is left as it is", file=str(path), allowed="a new name")
    dated = {KINDS[name]: day} if KINDS[name] else {}
    data = template_bytes(name, {**dated, **values}, program=program, paper=paper)
    try:
        write_bytes(path, data)
    except OSError as error:
        raise WorkbookError(
            f"cannot be written ({error.strerror})", file=str(path), allowed="a folder that may be written to"
        ) from None
    return path


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals or not name.strip():
        raise InputError("is no pair of name and value", parameter="--set", found=text, allowed="NAME=VALUE")
    return name.strip(), value.strip()
