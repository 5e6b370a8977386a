"""The command ``connect calc``: the extension for LibreOffice."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dampcell.functions import REGISTRY
from dampcell.functions.errors import WorkbookError
from dampcell.functions.hosts.calc_addin.extension import build_extension
from dampcell.functions.hosts.calc_addin.installing import find_package_tool, install
from dampcell.functions.hosts.http.settings import PORT
from dampcell.workbooks.files import write_bytes

__all__ = ["calc", "register"]

_STEPS = """Next:
1. Close all windows of LibreOffice and start it again.
2. Leave the calculation server running while you work: dampcell serve{port}
3. Try a formula: {example}
   =DAMP.STATUS() says whether the server is reached; the menu Dampcell has more.
Run "dampcell connect calc" again after every update.
"""


def calc(
    output: Annotated[
        Path | None,
        typer.Option("--output", metavar="FILE", help="Only write the extension, as a .oxt file."),
    ] = None,
    install_it: Annotated[
        bool, typer.Option("--install", help="Install it; so it is without --output.")
    ] = False,
    port: Annotated[
        int, typer.Option("--port", min=1, max=65535, help="Port of the calculation server.")
    ] = PORT,
) -> None:
    """Put the functions into LibreOffice Calc, with their help in the Function Wizard.

    The extension is built from the functions and installed for this user; the path of a written
    file goes to standard output.
    """
    extension = build_extension(REGISTRY.values(), port=port)
    if output is not None:
        try:
            write_bytes(output, extension)
        except OSError as error:
            raise WorkbookError(
                f"cannot be written ({error.strerror})",
                file=str(output),
                allowed="a file in a folder of yours",
            ) from None
        typer.echo(output)
    if output is None or install_it:
        install(extension, find_package_tool())
        typer.echo("The extension is installed.", err=True)
    else:
        typer.echo("Open the file in LibreOffice to install it.", err=True)
    example = REGISTRY["PLATE_STIFFNESS"].example.replace(", ", "; ")
    served = "" if port == PORT else f" --port {port}"
    typer.echo(_STEPS.format(port=served, example=example), err=True, nl=False)


def register(group: typer.Typer) -> None:
    """Add the command to its group."""
    group.command("calc")(calc)
