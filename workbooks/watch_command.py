"""The command ``watch``: reports are made as workbooks are saved, until the command is interrupted."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer
import watchfiles

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks.batch import REPORTS_FOLDER, find, is_job_name, plan
from dampcell.workbooks.options import MostMemory, MostSeconds, PaperSize, ResultsFolder
from dampcell.workbooks.pool import MEMORY, SECONDS, Pool
from dampcell.workbooks.report_command import bring_up_to_date

__all__ = ["register", "watch"]

_QUIET = 1000
"""Time without any change after which a save counts as finished [ms]."""


def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of job workbooks.")],
    out: ResultsFolder = None,
    paper: PaperSize = "a4",
    seconds: MostSeconds = SECONDS,
    memory: MostMemory = MEMORY,
    poll: Annotated[
        bool,
        typer.Option("--poll", help="Look into the folder again and again: for network drives."),
    ] = False,
) -> None:
    """Make a report whenever a job workbook is saved; end with Ctrl-C.

    First, whatever is not up to date is made. A workbook may stay open in its
    spreadsheet program: what was last saved counts. Lock files are left out, and
    a workbook that is only half written is looked at when the rest has come.
    """
    if not folder.is_dir():
        _say(f"{folder}: there is no such folder; allowed: a folder of job workbooks.")
        raise typer.Exit(2)
    hand_out = Pool(1, seconds, memory)

    def make(saved: frozenset[Path] | None = None) -> None:
        try:
            tasks = plan(find([folder], skip=out), out=out, paper=paper, while_open=True)
            chosen = [task for task in tasks if saved is None or Path(os.path.realpath(task.source)) in saved]
            if chosen:
                bring_up_to_date(chosen, hand_out)
        except WorkbookError as error:
            # Such as a run of the command "report" in the same folder: the next save finds it done.
            _say(str(error))

    events = watchfiles.watch(
        folder,
        watch_filter=lambda change, path: _may_be_job(change, Path(path), folder, out),
        step=_QUIET,
        rust_timeout=_QUIET,
        yield_on_timeout=True,
        force_polling=poll or None,
    )
    try:
        # From the first answer on no save is missed, so that what was saved before is made after it.
        next(events, None)
        make()
        _say(f"Watching {folder}; Ctrl-C ends this.")
        for changes in events:
            saved = _whole(Path(path) for _, path in changes)
            if saved:
                make(saved)
    except KeyboardInterrupt:
        # The ordinary end.
        pass
    _say("No longer watching.")


def register(app: typer.Typer) -> None:
    """Add the command to a command line."""
    app.command()(watch)


def _may_be_job(change: watchfiles.Change, path: Path, folder: Path, out: Path | None) -> bool:
    if change == watchfiles.Change.deleted or not is_job_name(path.name):
        return False
    within = path.relative_to(folder.resolve()) if path.is_relative_to(folder.resolve()) else path
    if any(part == REPORTS_FOLDER or part.startswith(".") for part in within.parts[:-1]):
        return False
    return out is None or not path.is_relative_to(out.resolve())


def _whole(paths: Iterable[Path]) -> frozenset[Path]:
    """Those whose last bytes are there: the directory of a zip package is written last."""
    return frozenset(path.resolve() for path in paths if zipfile.is_zipfile(path))


def _say(sentence: str) -> None:
    typer.echo(sentence, err=True)
