"""Build the add-in: every file of its folder as bytes, the private ones apart."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import PurePosixPath
from typing import Final

import typst

from dampcell import __version__
from dampcell.functions.calls import CellFunction
from dampcell.functions.hosts.http.addin_files import ADDIN_FILES, ICON_SIZES, PANE, SERVED_FOLDER
from dampcell.functions.hosts.http.settings import SECURE_PORT
from dampcell.functions.hosts.office_addin.certificates import Identity, new_authority, new_leaf, still_good
from dampcell.functions.hosts.office_addin.manifest import manifest
from dampcell.functions.hosts.office_addin.metadata import metadata, scripted

__all__ = [
    "AUTHORITY",
    "AUTHORITY_KEY",
    "CERTIFICATE",
    "CERTIFICATE_KEY",
    "MANIFEST",
    "Addin",
    "build_addin",
    "renewed",
]

AUTHORITY: Final = PurePosixPath("dampcell-ca.crt")
MANIFEST: Final = PurePosixPath("catalog/manifest.xml")
AUTHORITY_KEY: Final = PurePosixPath("private/ca.key")
CERTIFICATE: Final = PurePosixPath("private/server.crt")
CERTIFICATE_KEY: Final = PurePosixPath("private/server.key")

_OFFICE_SCRIPT = "https://appsforoffice.microsoft.com/lib/1/hosted/office.js"
_HEAD = "</head>"
_LAYOUT = '<div class="layout">'
_UNLOCK = """<form id="unlock" class="banner" hidden>
    <p><label for="unlock-link">Paste the link that “dampcell serve” prints, once:</label></p>
    <p><input id="unlock-link" autocomplete="off" spellcheck="false" required></p>
    <p id="unlock-problem" role="alert"></p>
    <button type="submit">Connect Excel</button>
  </form>
  """
_ICON = """#set page(width: 72pt, height: 72pt, margin: 0pt, fill: none)
#image(bytes(sys.inputs.drawing), format: "svg", width: 72pt)
"""


@dataclass(frozen=True, slots=True)
class Addin:
    """The files of the add-in by their paths in its folder; the private ones are for this user's eyes."""

    files: dict[PurePosixPath, bytes]
    private: dict[PurePosixPath, bytes] = field(repr=False)


def build_addin(
    functions: Iterable[CellFunction],
    authority: Identity,
    leaf: Identity,
    *,
    version: str = __version__,
    port: int = SECURE_PORT,
) -> Addin:
    """Build the add-in.

    Parameters
    ----------
    functions : iterable of CellFunction
        The functions that Excel shall have.
    authority, leaf : Identity
        Who vouches for the server, and the server's own certificate.
    version : text
        Version of the add-in; it must be that of the server.
    port : int
        Port of the server for https.

    Returns
    -------
    Addin
        The same input gives the same bytes.
    """
    listed = list(functions)
    drawing = _shipped("dampcell.functions.hosts.http", "page/icon.svg")
    script = _shipped("dampcell.functions.hosts.office_addin", "shipped/functions.js")
    entry = _shipped("dampcell.functions.hosts.office_addin", "shipped/pane.js")
    served: dict[str, str | bytes] = {
        PANE: _pane(),
        f"{PANE}/pane.js": entry.replace("{{version}}", version),
        f"{PANE}/functions.js": script.replace("{{version}}", version).replace(
            "{{functions}}", json.dumps(scripted(listed), ensure_ascii=False)
        ),
        f"{PANE}/functions.json": json.dumps(metadata(listed), ensure_ascii=False, indent=1) + "\n",
        **{f"{PANE}/icon-{size}.png": _icon(drawing, size) for size in ICON_SIZES},
    }
    contents = {
        PurePosixPath(SERVED_FOLDER, ADDIN_FILES[path].name): content.encode()
        if isinstance(content, str)
        else content
        for path, content in served.items()
    }
    return Addin(
        {**contents, MANIFEST: manifest(version, port), AUTHORITY: authority.certificate},
        {AUTHORITY_KEY: authority.key, CERTIFICATE: leaf.certificate, CERTIFICATE_KEY: leaf.key},
    )


def renewed(known: Identity | None, now: datetime.datetime) -> tuple[Identity, Identity]:
    """Make a new certificate for the server, with the authority that the machine trusts already if it can be.

    Parameters
    ----------
    known : Identity, optional
        The authority made before.
    now : datetime
        Present time, with its zone.

    Returns
    -------
    Identity, Identity
        Authority and certificate of the server.
    """
    authority = known if known is not None and still_good(known, now) else new_authority(now)
    return authority, new_leaf(authority, now)


def _shipped(package: str, name: str) -> str:
    return files(package).joinpath(name).read_text(encoding="utf-8")


def _pane() -> str:
    """Give the server's page, with Office's script, the cell functions, and a place for the link."""
    page = _shipped("dampcell.functions.hosts.http", "page/index.html")
    scripts = "".join(
        f'  <script src="{source}"></script>\n'
        for source in (_OFFICE_SCRIPT, f"{PANE[1:]}/functions.js", f"{PANE[1:]}/pane.js")
    )
    before, head, rest = page.partition(_HEAD)
    inside, layout, after = rest.partition(_LAYOUT)
    return f"{before}{scripts}{head}{inside}{_UNLOCK}{layout}{after}"


def _icon(drawing: str, size: int) -> bytes:
    # A page of one inch has as many pixels as it has pixels per inch.
    picture = typst.compile(_ICON.encode(), format="png", ppi=float(size), sys_inputs={"drawing": drawing})
    assert isinstance(picture, bytes)
    return picture
