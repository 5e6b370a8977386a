"""Build the templates and the demo jobs anew: ``python -m dampcell.workbooks.forms``.

Run it after a change of a field, of the checklist, or of a cell function's help.
"""

from __future__ import annotations

from pathlib import Path

import typst

import dampcell.templates
from dampcell.workbooks.files import write_bytes
from dampcell.workbooks.forms.demo import demo_bytes, demo_jobs
from dampcell.workbooks.forms.stack_record import build_stack_record, finished
from dampcell.workbooks.forms.templates import KINDS, template_bytes

_PIXELS_PER_INCH = 144.0


def main() -> None:
    """Write picture, templates and demo jobs into the folder of the templates."""
    folder = Path(next(iter(dampcell.templates.__path__)))
    picture = folder / "pictures" / "where_to_measure"
    drawn = typst.compile(picture.with_suffix(".typ"), format="png", ppi=_PIXELS_PER_INCH)
    assert isinstance(drawn, bytes)
    write_bytes(picture.with_suffix(".png"), drawn)
    for kind in KINDS:
        write_bytes(folder / f"{kind}.xlsx", template_bytes(kind, {}))
    for job in demo_jobs():
        if "saved_by" in job:
            print(f"{job['file']}: to be saved by {job['saved_by']}; see DEVELOPERS.md")
        write_bytes(folder / "demo" / job["file"], demo_bytes(job, build_stack_record, finished))


if __name__ == "__main__":
    main()
