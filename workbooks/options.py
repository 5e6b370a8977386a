"""Options that several commands have in common, declared once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dampcell.workbooks.pages import Paper

__all__ = ["MostMemory", "MostSeconds", "PaperSize", "ResultsFolder"]

ResultsFolder = Annotated[
    Path | None,
    typer.Option("--out", help='Folder for the results; default "reports" beside the sources.'),
]
"""Where the results go."""

PaperSize = Annotated[Paper, typer.Option("--paper", help="Paper size.")]
"""Paper of the reports."""

MostSeconds = Annotated[
    float, typer.Option("--seconds", min=1.0, help="Time that one workbook may take [s].")
]
"""Time limit of one workbook."""

MostMemory = Annotated[int, typer.Option("--memory", min=512, help="Memory that one worker may take [MB].")]
"""Memory limit of one worker."""
