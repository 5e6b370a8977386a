"""The command ``respell``: a workbook saved by one spreadsheet, for use in another."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks.files import write_bytes
from dampcell.workbooks.package import read_file
from dampcell.workbooks.respelling import respell

__all__ = ["Spreadsheet", "register", "respell_file"]

Spreadsheet = Literal["calc", "excel", "excel-desktop"]
"""Spreadsheets that have a spelling of their own."""


def respell_file(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A saved workbook (.xlsx or .xlsm).")],
    target: Annotated[Spreadsheet, typer.Option("--for", help="The spreadsheet that shall read the copy.")],
    output: Annotated[
        Path | None,
        typer.Option("--output", metavar="COPY", help="Where to write it; default: beside the source."),
    ] = None,
) -> None:
    """Write a copy of a workbook with our functions spelled for another spreadsheet.

    Excel saves _xldudf_DAMP_X( or DAMP_X( where LibreOffice knows DAMP.X( only. The source is never
    changed, and a file that is there already is not written over. Values stay as they were saved;
    recalculate after opening (Ctrl+Shift+F9 in LibreOffice, Ctrl+Alt+F9 in Excel).
    """
    copy = output or file.with_name(f"{file.stem}-for-{target}{file.suffix}")
    data, count = respell(read_file(file), file.name, target)
    if not count:
        typer.echo(f"{file.name}: all formulas are spelled for {target}; no copy is needed.", err=True)
        return
    if copy.exists():
        raise WorkbookError(
            "is there already", file=str(copy), allowed="--output with a new name, or deleting that file"
        )
    try:
        write_bytes(copy, data)
    except OSError as error:
        raise WorkbookError(
            f"cannot be written ({error.strerror})", file=str(copy), allowed="a file in a folder of yours"
        ) from None
    typer.echo(copy)
    typer.echo(f"{file.name}: formulas respelled: {count}.", err=True)


def register(app: typer.Typer) -> None:
    """Add the command of this module to the command line."""
    app.command("respell")(respell_file)
