"""The files of the Excel add-in, which `dampcell connect excel` wrote into a folder and this server shows.

Only the names listed here are ever served, and the files are read once, at the start.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from dampcell.functions.errors import InputError

__all__ = [
    "ADDIN_FILES",
    "ICON_SIZES",
    "PANE",
    "SERVED_FOLDER",
    "AddinFile",
    "headers_of",
    "read_addin_files",
]

PANE: Final = "/excel"
"""Path of the task pane; it lies beside the page, whose files it uses."""

SERVED_FOLDER: Final = "served"
"""Name of the folder, within that of the add-in, that holds nothing secret."""

ICON_SIZES: Final = (16, 32, 64, 80, 128)
"""Widths of the icons that Office asks for [pixel]."""

# Office's own script has to come from there, and Excel in a browser shows the pane in a frame.
_SCRIPTS = "https://appsforoffice.microsoft.com"
_FRAMES = (
    "https://*.officeapps.live.com https://*.live.com https://*.office.com https://*.office365.com "
    "https://*.sharepoint.com https://*.microsoft365.com https://*.cloud.microsoft"
)
_PANE_HEADERS: Mapping[str, str | None] = {
    "content-security-policy": (
        f"default-src 'none'; script-src 'self' {_SCRIPTS}; style-src 'self'; img-src 'self' data:; "
        f"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'self' {_FRAMES}"
    ),
    "x-frame-options": None,
}
_OPEN_HEADERS: Mapping[str, str | None] = {
    "access-control-allow-origin": "*",
    "cross-origin-resource-policy": "cross-origin",
}


@dataclass(frozen=True, slots=True)
class AddinFile:
    """One file that is served.

    Parameters
    ----------
    name : text
        Name in the folder.
    kind : text
        Media type.
    headers : mapping
        Headers in place of the usual ones; None leaves one out.
    open : bool
        Whether pages of other servers may load it: Excel in a browser does so itself.
    """

    name: str
    kind: str
    headers: Mapping[str, str | None] = field(default_factory=dict)
    open: bool = False


ADDIN_FILES: Mapping[str, AddinFile] = {
    PANE: AddinFile("taskpane.html", "text/html; charset=utf-8", _PANE_HEADERS),
    f"{PANE}/pane.js": AddinFile("pane.js", "text/javascript; charset=utf-8"),
    f"{PANE}/functions.js": AddinFile("functions.js", "text/javascript; charset=utf-8"),
    f"{PANE}/functions.json": AddinFile("functions.json", "application/json", _OPEN_HEADERS, open=True),
    **{
        f"{PANE}/icon-{size}.png": AddinFile(f"icon-{size}.png", "image/png", _OPEN_HEADERS, open=True)
        for size in ICON_SIZES
    },
}
"""Path to file; those that are open hold nothing but help texts and drawings."""


def headers_of(path: str, usual: Mapping[str, str]) -> Mapping[str, str]:
    """Give the headers of a response.

    Parameters
    ----------
    path : text
        Path of the request.
    usual : mapping
        Headers of every other response.

    Returns
    -------
    mapping
    """
    served = ADDIN_FILES.get(path)
    if served is None:
        return usual
    changed: dict[str, str | None] = {**usual, **served.headers}
    return {name: value for name, value in changed.items() if value is not None}


def read_addin_files(folder: Path | None) -> Iterator[tuple[str, bytes, str]]:
    """Read the files of the add-in.

    Parameters
    ----------
    folder : Path, optional
        Folder of the add-in; without one there is nothing to serve.

    Yields
    ------
    text, bytes, text
        Path, content, media type.

    Raises
    ------
    InputError
        If a file is missing.
    """
    if folder is None:
        return
    for path, served in ADDIN_FILES.items():
        file = folder / SERVED_FOLDER / served.name
        try:
            content = file.read_bytes()
        except OSError as error:
            raise InputError(
                f"cannot be read ({error.strerror})",
                parameter=str(file),
                allowed='a folder that "dampcell connect excel" wrote; run it again',
            ) from None
        yield path, content, served.kind
