"""The command ``connect excel``: the add-in for Excel on Windows, on macOS and in a browser."""

from __future__ import annotations

import datetime
import os
from pathlib import Path, PurePosixPath
from typing import Annotated

import typer

from dampcell.functions import REGISTRY
from dampcell.functions.errors import WorkbookError
from dampcell.functions.hosts.http.access import config_folder
from dampcell.functions.hosts.http.settings import SECURE_PORT
from dampcell.functions.hosts.office_addin.build import AUTHORITY, AUTHORITY_KEY, build_addin, renewed
from dampcell.functions.hosts.office_addin.certificates import Identity
from dampcell.functions.hosts.office_addin.steps import steps
from dampcell.workbooks.files import write_bytes
from dampcell.workbooks.serve_command import ADDIN_FOLDER

__all__ = ["excel", "register", "write_addin"]


def excel(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="FOLDER", help="Where to write it; default: in your own config folder."),
    ] = None,
    port: Annotated[
        int, typer.Option("--secure-port", min=1024, max=65535, help="Port of the server for https.")
    ] = SECURE_PORT,
) -> None:
    """Write the add-in for Excel on Windows, macOS and the web, and say how Excel gets it.

    Run it again after an update, and once a year for a new certificate.
    """
    target = folder or config_folder() / ADDIN_FOLDER
    write_addin(target, datetime.datetime.now(datetime.UTC), port=port)
    serve = "dampcell serve"
    if folder is not None:
        serve += f' --excel "{target}"'
    if port != SECURE_PORT:
        serve += f" --secure-port {port}"
    told = steps(target, serve=serve, example=REGISTRY["PLATE_STIFFNESS"].example)
    _write(target, PurePosixPath("STEPS.txt"), told.encode())
    typer.echo(told, nl=False)


def register(group: typer.Typer) -> None:
    """Add the command to its group."""
    group.command("excel")(excel)


def write_addin(folder: Path, now: datetime.datetime, *, port: int = SECURE_PORT) -> None:
    """Write the add-in, keeping the certificate authority that is there.

    Parameters
    ----------
    folder : Path
        Folder of the add-in; made if it is not there.
    now : datetime
        Present time, with its zone.
    port : int
        Port of the server for https.

    Raises
    ------
    WorkbookError
        If a file cannot be written.
    """
    authority, leaf = renewed(_known_authority(folder), now)
    addin = build_addin(REGISTRY.values(), authority, leaf, port=port)
    for place, content in addin.private.items():
        _write(folder, place, content, private=True)
    for place, content in addin.files.items():
        _write(folder, place, content)


def _known_authority(folder: Path) -> Identity | None:
    try:
        return Identity((folder / AUTHORITY).read_bytes(), (folder / AUTHORITY_KEY).read_bytes())
    except OSError:
        return None


def _write(folder: Path, place: PurePosixPath, content: bytes, *, private: bool = False) -> None:
    path = folder / place
    try:
        path.parent.mkdir(mode=0o700 if private else 0o777, parents=True, exist_ok=True)
        if private:
            # The folder is closed first, so that nobody else may read the file at any moment.
            path.parent.chmod(0o700)
        write_bytes(path, content)
        if private and os.name == "posix":
            path.chmod(0o600)
    except OSError as error:
        raise WorkbookError(
            f"cannot be written ({error.strerror})", file=str(path), allowed="a folder that may be written to"
        ) from None
