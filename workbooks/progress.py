"""The progress bar of commands that go through many workbooks, with the time that is left."""

from __future__ import annotations

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

__all__ = ["progress_bar"]


def progress_bar(console: Console) -> Progress:
    """Build a bar that goes away when it is done, and is not shown where nobody looks.

    Parameters
    ----------
    console : Console
        Where it is shown.

    Returns
    -------
    Progress
    """
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )
