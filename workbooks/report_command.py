"""The commands ``report`` and ``demo``: saved workbooks in, reports out.

Paths of finished reports go to standard output, everything else to standard
error, so that the output can be piped on.
"""

from __future__ import annotations

import datetime
import json
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

from dampcell.functions.errors import DampcellError, WorkbookError
from dampcell.workbooks.batch import (
    ENDINGS,
    HandOut,
    JobOutcome,
    Task,
    find,
    hand_out_here,
    plan,
    run_all,
    settled,
)
from dampcell.workbooks.cluster import Cluster
from dampcell.workbooks.demo_set import write_demo_set
from dampcell.workbooks.files import write_bytes
from dampcell.workbooks.options import MostMemory, MostSeconds, PaperSize, ResultsFolder
from dampcell.workbooks.pool import MEMORY, SECONDS, Pool
from dampcell.workbooks.progress import progress_bar
from dampcell.workbooks.results import Difference
from dampcell.workbooks.stamps import read_stamp, versions

__all__ = ["bring_up_to_date", "demo", "register", "report"]

DEMO_FOLDER = Path("dampcell-demo")
_MOST_ROWS = 40
_PROCESSES = os.cpu_count() or 1


def report(
    paths: Annotated[
        list[Path], typer.Argument(metavar="PATH...", help="Job workbooks, or folders of them.")
    ],
    out: ResultsFolder = None,
    paper: PaperSize = "a4",
    since: Annotated[
        datetime.datetime | None,
        typer.Option("--since", formats=["%Y-%m-%d"], help="Only workbooks saved on this day or later."),
    ] = None,
    only_failed: Annotated[
        bool, typer.Option("--only-failed", help="Only workbooks that the last run could not use.")
    ] = False,
    again: Annotated[bool, typer.Option("--again", help="Make what is up to date, too.")] = False,
    processes: Annotated[
        int,
        typer.Option(
            "--processes",
            min=0,
            help="Worker processes; 0 works in this process, without any limits.",
            show_default="one per core",
        ),
    ] = _PROCESSES,
    seconds: MostSeconds = SECONDS,
    memory: MostMemory = MEMORY,
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", help="Address of a Dask scheduler, to work on a cluster instead."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of paths.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would be made.")] = False,
) -> None:
    """Make a PDF report and a refreshed copy of every job workbook; the sources are only read.

    Folders are searched to any depth; lock files, earlier results and workbooks
    of another kind are left out. What is up to date is not made again: the same
    workbook, the same version of the functions and of the report. Interrupted at
    any point, the next run makes the rest. A workbook that cannot be used is
    named with its reason, and the others go on: exit code 1 then, 0 when all
    went well, 2 for a wrong call.
    """
    try:
        tasks = plan(find(paths, skip=out), out=out, paper=paper)
        if not tasks:
            places = ", ".join(str(path) for path in paths)
            raise WorkbookError(
                "there is no workbook here", file=places, allowed=f"files ending in {' or '.join(ENDINGS)}"
            )
        chosen = [
            task for task in tasks if _saved_since(task, since) and (not only_failed or _failed_before(task))
        ]
        if dry_run:
            _announce(chosen, again, as_json)
            return
        hand_out: HandOut = hand_out_here
        if scheduler is not None:
            hand_out = Cluster(scheduler)
        elif processes:
            hand_out = Pool(min(processes, max(1, len(chosen))), seconds, memory)
        raise typer.Exit(bring_up_to_date(chosen, hand_out, again=again, as_json=as_json))
    except DampcellError as error:
        _say(str(error))
        raise typer.Exit(2) from None


def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder for the demo.")] = DEMO_FOLDER,
    paper: PaperSize = "a4",
    everything: Annotated[
        bool,
        typer.Option(
            "--all", help="The whole year: twelve jobs, oil shelf, comparison and ledger; no reports."
        ),
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
    code = bring_up_to_date(plan(find([out]), paper=paper), Pool(_PROCESSES))
    _say(f"The workbooks lie in {out}, their reports in {out / 'reports'}.")
    raise typer.Exit(code)


def register(app: typer.Typer) -> None:
    """Add the commands of this module to the command line."""
    app.command()(report)
    app.command()(demo)


def bring_up_to_date(
    tasks: Sequence[Task], hand_out: HandOut, *, again: bool = False, as_json: bool = False
) -> int:
    """Make what is not up to date, and tell what became of every workbook.

    Parameters
    ----------
    tasks : sequence of Task
        What to do.
    hand_out : callable
        Who does the work.
    again : bool
        Whether to make what is up to date, too.
    as_json : bool
        Whether to print one JSON object instead of the paths of reports.

    Returns
    -------
    int
        Exit code: 0 when all went well, 1 when a workbook could not be used.

    Raises
    ------
    WorkbookError
        If another run is at work in the same folder.
    """
    console = Console(stderr=True)
    outcomes: list[JobOutcome] = []
    with progress_bar(console) as bar:
        line = bar.add_task("reports", total=len(tasks))
        for outcome in run_all(tasks, hand_out, again=again):
            outcomes.append(outcome)
            if outcome.done and outcome.made and not as_json:
                typer.echo(str(outcome.task.report))
            bar.advance(line)
    # Workers finish in any order; what is told is in the order of the folder.
    order = {task: place for place, task in enumerate(tasks)}
    outcomes.sort(key=lambda outcome: order[outcome.task])
    if as_json:
        typer.echo(
            json.dumps({"jobs": [_as_json(outcome) for outcome in outcomes]}, ensure_ascii=False, indent=1)
        )
    _summary(outcomes, console)
    return 1 if any(outcome.failure for outcome in outcomes) else 0


def _saved_since(task: Task, day: datetime.datetime | None) -> bool:
    if day is None:
        return True
    try:
        return task.source.stat().st_mtime >= day.timestamp()
    except OSError:
        # Let the run say what is wrong with it.
        return True


def _failed_before(task: Task) -> bool:
    stamp = read_stamp(task.stamp)
    return stamp is not None and bool(stamp.failure)


def _summary(outcomes: Sequence[JobOutcome], console: Console) -> None:
    remarkable = [one for one in outcomes if one.failure or one.problems or one.stale or one.changed]
    if 0 < len(remarkable) <= _MOST_ROWS:
        console.print(_table(remarkable))
    for outcome in outcomes:
        for sentence in (outcome.failure, *outcome.problems):
            if sentence:
                _say(sentence)
        if outcome.changed and outcome.made:
            _say(
                f"{outcome.task.source.name}: {_count(len(outcome.changed), 'result')} changed because the "
                f"functions did, such as {_difference(outcome.changed[0])}; see the changelog, heading "
                '"Results changed".'
            )
    kinds = Counter(
        "failed"
        if outcome.failure
        else "of another kind left out"
        if outcome.other_kind
        else "made"
        if outcome.made
        else "up to date"
        for outcome in outcomes
    )
    stale = sum(bool(outcome.stale) for outcome in outcomes)
    told = [f"{_count(kinds['made'], 'report')} made"]
    told += [
        f"{kinds[kind]} {kind}"
        for kind in ("up to date", "of another kind left out", "failed")
        if kinds[kind]
    ]
    if stale:
        told.append(f"{stale} with saved values that differ from the recalculated ones")
    _say(", ".join(told) + ".")


def _table(outcomes: Iterable[JobOutcome]) -> Table:
    table = Table(box=None, pad_edge=False)
    for head in ("workbook", "job", "result"):
        table.add_column(head, overflow="ellipsis", no_wrap=True)
    for head in ("not computed", "stale", "changed"):
        table.add_column(head, justify="right")
    for outcome in outcomes:
        counts = (outcome.problems, outcome.stale, outcome.changed)
        table.add_row(
            outcome.task.source.name,
            outcome.job_number,
            "report" if outcome.done else "failed",
            *(str(len(count) or "") for count in counts),
        )
    return table


def _announce(tasks: Sequence[Task], again: bool, as_json: bool) -> None:
    waiting = [task for task in tasks if again or settled(task, now=versions()) is None]
    if as_json:
        listed = [
            {"source": str(task.source), "report": str(task.report), "copy": str(task.copy)}
            for task in waiting
        ]
        typer.echo(json.dumps({"planned": listed}, ensure_ascii=False, indent=1))
        return
    for task in waiting:
        typer.echo(str(task.report))
    _say(
        f"{_count(len(waiting), 'report')} would be made, {len(tasks) - len(waiting)} are up to date; "
        "nothing was written."
    )


def _as_json(outcome: JobOutcome) -> dict[str, object]:
    return {
        "source": str(outcome.task.source),
        "job": outcome.job_number,
        "report": str(outcome.task.report) if outcome.done else None,
        "copy": str(outcome.task.copy) if outcome.done else None,
        "made": outcome.made,
        "failure": outcome.failure or None,
        "other_kind": outcome.other_kind or None,
        "problems": list(outcome.problems),
        "stale": list(map(_difference_as_json, outcome.stale)),
        "changed": list(map(_difference_as_json, outcome.changed)),
    }


def _difference_as_json(one: Difference) -> dict[str, str]:
    return {"sheet": one.sheet, "cell": one.cell, "before": one.before, "now": one.now}


def _difference(one: Difference) -> str:
    return f"{one.sheet}!{one.cell} from {one.before} to {one.now}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _say(sentence: str) -> None:
    typer.echo(sentence, err=True)
