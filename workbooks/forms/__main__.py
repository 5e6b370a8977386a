"""Build the templates and the demo jobs anew: ``python -m dampcell.workbooks.forms``.

Run it after a change of a field, of the checklist, or of a cell function's help.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import tempfile
import zipfile
from pathlib import Path

import typst

import dampcell.templates
from dampcell.workbooks.files import write_bytes
from dampcell.workbooks.forms.demo import demo_bytes, demo_jobs
from dampcell.workbooks.forms.stack_record import build_stack_record, finished
from dampcell.workbooks.forms.templates import KINDS, template_bytes

_PIXELS_PER_INCH = 144.0
_SECONDS = 180
_AXIS = re.compile(rb'<c:(axId|crossAx) val="\d+"/>')


def main() -> None:
    """Write pictures, templates and demo jobs into the folder of the templates."""
    folder = Path(next(iter(dampcell.templates.__path__)))
    for picture in sorted((folder / "pictures").glob("*.typ")):
        drawn = typst.compile(picture, format="png", ppi=_PIXELS_PER_INCH)
        assert isinstance(drawn, bytes)
        write_bytes(picture.with_suffix(".png"), drawn)
    for kind in KINDS:
        write_bytes(folder / f"{kind}.xlsx", template_bytes(kind, {}))
    program = shutil.which("soffice")
    for job in demo_jobs():
        data = demo_bytes(job, build_stack_record, finished)
        if job.get("saved_by") == "libreoffice":
            if program is None:
                print(f"{job['file']} is left as it is: LibreOffice is not here to save it")
                continue
            data = _saved_by_libreoffice(data, program)
        target = folder / "demo" / job["file"]
        if not target.exists() or _content(target.read_bytes()) != _content(data):
            write_bytes(target, data)


def _content(data: bytes) -> dict[str, bytes]:
    """All parts, less the time of saving and the random numbers that LibreOffice gives to axes."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return {
            name: _AXIS.sub(b"", package.read(name))
            for name in package.namelist()
            if not name.startswith("docProps/")
        }


def _saved_by_libreoffice(data: bytes, program: str) -> bytes:
    """Open and save a workbook in the real program, with a throw-away profile."""
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        source = work / "job.xlsx"
        source.write_bytes(data)
        subprocess.run(
            [
                program,
                f"-env:UserInstallation={(work / 'profile').as_uri()}",
                "--headless",
                "--convert-to",
                "xlsx:Calc MS Excel 2007 XML",
                "--outdir",
                str(work / "saved"),
                str(source),
            ],
            check=True,
            capture_output=True,
            timeout=_SECONDS,
        )
        return (work / "saved" / source.name).read_bytes()


if __name__ == "__main__":
    main()
