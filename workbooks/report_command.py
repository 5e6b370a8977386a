"""The commands ``report`` and ``demo``: saved workbooks in, reports out.

Paths of finished reports go to standard output, everything else to standard
error, so that the output can be piped on.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from dampcell.functions.errors import DampcellError, WorkbookError
from dampcell.workbooks.audit import cell_text
from dampcell.workbooks.batch import ENDINGS, JobOutcome, Task, find, plan, run_all
from dampcell.workbooks.demo_set import write_demo_set
from dampcell.workbooks.files import write_bytes
from dampcell.workbooks.pages import Paper

__all__ = ["demo", "register", "report"]

DEMO_FOLDER = Path("dampcell-demo")


def report(
    paths: Annotated[
        list[Path], typer.Argument(metavar="PATH...", help="Job workbooks, or folders of them.")
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", help='Folder for the results; default "reports" beside the sources.'),
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="Paper size.")] = "a4",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of paths.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would be made.")] = False,
) -> None:
    """Make a PDF report and a refreshed copy of every job workbook; the sources are only read.

    Folders are searched to any depth; lock files and earlier results are left
    out. A workbook that cannot be used is named with its reason, and the others
    go on: exit code 1 then, 0 when all went well, 2 for a wrong call.
    """
    try:
        found = find(paths, skip=out)
        tasks = plan(found, out=out, paper=paper)
    except WorkbookError as error:
        _say(str(error))
        raise typer.Exit(2) from None
    if not tasks:
        places = ", ".join(str(path) for path in paths)
        _say(f"{places}: there is no workbook here; allowed: files ending in {' or '.join(ENDINGS)}.")
        raise typer.Exit(2)
    if dry_run:
        _announce(tasks, as_json)
        return
    raise typer.Exit(_work(tasks, as_json))


def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder for the demo.")] = DEMO_FOLDER,
    paper: Annotated[Paper, typer.Option("--paper", help="Paper size.")] = "a4",
    everything: Annotated[
        bool,
        typer.Option("--all", help="The whole year: twelve jobs, the oil shelf and the ledger; no reports."),
    ] = False,
) -> None:
    """Copy the demo job workbooks of an invented workshop, and make their reports.

    Workbooks that are in the folder already are kept as they are.
    """
    jobs = out / "jobs" if everything else out
    try:
        jobs.mkdir(parents=True, exist_ok=True)
        for source in sorted(
            files("dampcell.templates").joinpath("demo").iterdir(), key=lambda item: item.name
        ):
            target = jobs / source.name
            if source.name.endswith(ENDINGS) and not target.exists():
                write_bytes(target, source.read_bytes())
        if everything:
            for path in write_demo_set(out, jobs):
                typer.echo(str(path))
            return
    except (DampcellError, OSError) as error:
        _say(f"{out}: the demo cannot be written here ({error}); allowed: a folder that may be written to.")
        raise typer.Exit(2) from None
    code = _work(plan(find([out]), paper=paper), as_json=False)
    _say(f"The workbooks lie in {out}, their reports in {out / 'reports'}.")
    raise typer.Exit(code)


def register(app: typer.Typer) -> None:
    """Add the commands of this module to the command line."""
    app.command()(report)
    app.command()(demo)


def _work(tasks: Sequence[Task], as_json: bool) -> int:
    console = Console(stderr=True)
    outcomes: list[JobOutcome] = []
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )
    with bar:
        line = bar.add_task("reports", total=len(tasks))
        for outcome in run_all(tasks):
            outcomes.append(outcome)
            if outcome.done and not as_json:
                typer.echo(str(outcome.task.report))
            bar.advance(line)
    if as_json:
        typer.echo(
            json.dumps({"jobs": [_as_json(outcome) for outcome in outcomes]}, ensure_ascii=False, indent=1)
        )
    _summary(outcomes, console)
    return 0 if all(outcome.done for outcome in outcomes) else 1


def _summary(outcomes: Sequence[JobOutcome], console: Console) -> None:
    table = Table(box=None, pad_edge=False)
    for head in ("workbook", "job", "result", "not computed", "stale"):
        table.add_column(head, justify="right" if head in ("not computed", "stale") else "left")
    for outcome in outcomes:
        table.add_row(
            outcome.task.source.name,
            outcome.job_number,
            "report" if outcome.done else "failed",
            str(len(outcome.problems) or "") if outcome.done else "",
            str(len(outcome.stale) or "") if outcome.done else "",
        )
    console.print(table)
    for outcome in outcomes:
        for sentence in (outcome.failure, *outcome.problems):
            if sentence:
                _say(sentence)
    failed = sum(not outcome.done for outcome in outcomes)
    _say(
        f"{len(outcomes) - failed} of {len(outcomes)} reports made"
        + (f", {failed} failed." if failed else ".")
    )


def _announce(tasks: Sequence[Task], as_json: bool) -> None:
    if as_json:
        listed = [
            {"source": str(task.source), "report": str(task.report), "copy": str(task.copy)} for task in tasks
        ]
        typer.echo(json.dumps({"planned": listed}, ensure_ascii=False, indent=1))
        return
    for task in tasks:
        typer.echo(str(task.report))
    _say(f"{len(tasks)} reports would be made; nothing was written.")


def _as_json(outcome: JobOutcome) -> dict[str, object]:
    return {
        "source": str(outcome.task.source),
        "job": outcome.job_number,
        "report": str(outcome.task.report) if outcome.done else None,
        "copy": str(outcome.task.copy) if outcome.done else None,
        "failure": outcome.failure or None,
        "problems": list(outcome.problems),
        "stale": [
            {
                "sheet": cell.sheet,
                "cell": cell.cell,
                "saved": cell_text(cell.saved),
                "now": cell_text(cell.value),
            }
            for cell in outcome.stale
        ],
    }


def _say(sentence: str) -> None:
    typer.echo(sentence, err=True)
