"""Hand the extension to the LibreOffice of this user."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from dampcell.functions.errors import InputError

__all__ = ["FILE", "find_package_tool", "install"]

FILE = "dampcell.oxt"
"""Name of the extension's file."""

_SECONDS = 180
_BY_HAND = '"dampcell connect calc --output dampcell.oxt", and opening that file in LibreOffice'


def find_package_tool() -> str | None:
    """Find the program of LibreOffice that installs extensions, or give None."""
    on_path = shutil.which("unopkg")
    return on_path or next((str(place) for place in _usual_places() if place.is_file()), None)


def install(extension: bytes, tool: str | None) -> None:
    """Install the extension for this user; an older one is replaced.

    Parameters
    ----------
    extension : bytes
        The .oxt package.
    tool : text or None
        The program that installs it, see `find_package_tool`.

    Raises
    ------
    InputError
        If LibreOffice is not there, or refuses; the sentence holds what it said.
    """
    if tool is None:
        raise InputError("LibreOffice was not found (its program unopkg is missing)", allowed=_BY_HAND)
    with tempfile.TemporaryDirectory(prefix="dampcell-") as folder:
        file = Path(folder) / FILE
        file.write_bytes(extension)
        try:
            done = subprocess.run(
                [tool, "add", "--force", "--suppress-license", str(file)],
                capture_output=True,
                text=True,
                errors="replace",
                timeout=_SECONDS,
                check=False,
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            raise InputError(
                f"LibreOffice did not take the extension ({type(error).__name__})",
                parameter=tool,
                allowed=_BY_HAND,
            ) from None
    if done.returncode:
        said = " ".join((done.stderr or done.stdout).split()) or f"exit code {done.returncode}"
        raise InputError(
            "LibreOffice did not take the extension",
            parameter=tool,
            found=said,
            allowed=f"closing all windows of LibreOffice and trying again as an ordinary user; or {_BY_HAND}",
        )


def _usual_places() -> Iterator[Path]:
    if sys.platform == "win32":
        for variable in ("ProgramFiles", "ProgramFiles(x86)"):
            if os.environ.get(variable):
                yield Path(os.environ[variable]) / "LibreOffice" / "program" / "unopkg.com"
    elif sys.platform == "darwin":
        yield Path("/Applications/LibreOffice.app/Contents/MacOS/unopkg")
    else:
        yield Path("/usr/lib/libreoffice/program/unopkg")
