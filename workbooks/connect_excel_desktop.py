"""The command ``connect excel-desktop``: Excel on Windows, which calls Python itself through xlwings."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from dampcell.functions import REGISTRY
from dampcell.functions.calls import NAMESPACE, literal
from dampcell.functions.errors import WorkbookError
from dampcell.functions.hosts.excel_desktop.module import MODULE, cell_name, module_text
from dampcell.functions.hosts.excel_desktop.steps import steps
from dampcell.functions.hosts.http.access import config_folder
from dampcell.workbooks.files import write_bytes

__all__ = ["excel_desktop", "register"]


def excel_desktop(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="FOLDER", help="Where to write it; default: in your own config folder."),
    ] = None,
) -> None:
    """Write the functions for Excel on Windows through xlwings, and say how the workbook gets them.

    No server is needed there: the workbook calls Python itself. Run it again after an update.
    """
    file = (folder or config_folder() / "excel-desktop").resolve() / f"{MODULE}.py"
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write_bytes(file, module_text(REGISTRY.values()).encode())
    except OSError as error:
        raise WorkbookError(
            f"cannot be written ({error.strerror})", file=str(file), allowed="a folder that may be written to"
        ) from None
    example = REGISTRY["PLATE_STIFFNESS"]
    refused = ", ".join(literal(value) for value in (example.name, 30, 12, -0.2, 26))
    told = steps(
        file,
        python=sys.executable,
        example=example.example.replace(f"{NAMESPACE}.{example.name}", cell_name(example)),
        why=f"={NAMESPACE}_WHY({refused})",
    )
    typer.echo(told, nl=False)


def register(group: typer.Typer) -> None:
    """Add the command to its group."""
    group.command("excel-desktop")(excel_desktop)
