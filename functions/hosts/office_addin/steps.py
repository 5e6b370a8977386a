"""What a person does to have the add-in in Excel, on Windows, on macOS and in a browser."""

from __future__ import annotations

from pathlib import Path

from dampcell.functions.hosts.office_addin.build import AUTHORITY, MANIFEST

__all__ = ["steps"]

_STEPS = """The Excel add-in lies in {folder}

1. Trust the certificate authority that was made for this machine. It can vouch for this machine's
   own names (localhost) and for nothing else. Do one of these:
   Windows  certutil -user -addstore Root "{authority}"
            and answer Yes.
   macOS    security add-trusted-cert -r trustRoot -k ~/Library/Keychains/login.keychain-db "{authority}"
   Firefox  has a list of its own: Settings, Privacy & Security, View Certificates, Authorities, Import
            {authority}; tick "trust to identify websites".

2. Show Excel the manifest.
   Windows  Share the folder {catalog} with yourself alone (right click, Properties, Sharing).
            In Excel: File, Options, Trust Center, Trust Center Settings, Trusted Add-in Catalogs;
            enter the network path that Windows shows, Add catalog, tick "Show in Menu", OK.
            Start Excel again; Home, Add-ins, More Add-ins, Shared Folder, Dampcell, Add.
   macOS    mkdir -p ~/Library/Containers/com.microsoft.Excel/Data/Documents/wef
            cp "{manifest}" ~/Library/Containers/com.microsoft.Excel/Data/Documents/wef/
            Start Excel again; Home, Add-ins, Dampcell.
   Browser  In Excel on the web: Home, Add-ins, More Add-ins, Upload My Add-in; choose
            {manifest}
            Where the browser asks whether the page may reach this device or the local network, allow it.

3. Start the server, and leave it running while you work:
            {serve}

4. In Excel, press the button Dampcell on the tab Home, and paste the link that the server printed.
   This is done once; the add-in keeps what it needs. Then try in a cell:
            {example}

Run "dampcell connect excel" again after an update of Dampcell, and once a year for a new certificate;
steps 1 and 2 need not be done again then.
To undo it all: Windows  certutil -user -delstore Root "Dampcell, for this machine only"
                macOS    security delete-certificate -c "Dampcell, for this machine only"
                then remove the folder {folder}
"""


def steps(folder: Path, *, serve: str, example: str) -> str:
    """Write the steps for one folder.

    Parameters
    ----------
    folder : Path
        Folder of the add-in.
    serve : text
        Command that starts the server.
    example : text
        A formula to try.

    Returns
    -------
    text
    """
    manifest = folder / MANIFEST
    return _STEPS.format(
        folder=folder,
        authority=folder / AUTHORITY,
        manifest=manifest,
        catalog=manifest.parent,
        serve=serve,
        example=example,
    )
