"""The command ``check``: what is missing or doubtful in workbooks, in plain words."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks.checking import Checked, check_workbook
from dampcell.workbooks.package import read_file

__all__ = ["check", "register"]


def check(
    paths: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Workbooks made from a template.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of lines.")] = False,
) -> None:
    """Say what is missing or doubtful in workbooks, with sheet and cell; they are only read.

    Exit code 1 when something has to be mended, 0 when nothing has, even if something is doubtful.
    """
    checked: list[Checked] = []
    for path in paths:
        try:
            # What was last saved counts, even while the workbook is open.
            checked.append(check_workbook(read_file(path, while_open=True), path.name))
        except WorkbookError as error:
            checked.append(Checked(path.name, "", (error,), ()))
    typer.echo(_as_json(checked) if as_json else "\n".join(_lines(checked)))
    if any(one.to_mend for one in checked):
        raise typer.Exit(1)


def register(app: typer.Typer) -> None:
    """Add the command to a command line."""
    app.command()(check)


def _lines(checked: Sequence[Checked]) -> list[str]:
    lines = []
    for one in checked:
        if not one.to_mend and not one.to_look_at:
            lines.append(f"{one.file}: nothing is missing or doubtful ({one.kind.replace('_', ' ')}).")
        lines += [f"to mend: {problem}" for problem in one.to_mend]
        lines += [f"to look at: {doubt}" for doubt in one.to_look_at]
    return lines


def _as_json(checked: Sequence[Checked]) -> str:
    def shown(error: WorkbookError) -> dict[str, object]:
        return {
            "sheet": error.sheet,
            "cell": error.cell,
            "problem": error.problem,
            "allowed": error.allowed,
            "sentence": str(error),
        }

    return json.dumps(
        {
            "workbooks": [
                {
                    "file": one.file,
                    "kind": one.kind or None,
                    "to_mend": [shown(problem) for problem in one.to_mend],
                    "to_look_at": [shown(doubt) for doubt in one.to_look_at],
                }
                for one in checked
            ]
        },
        ensure_ascii=False,
        indent=2,
    )
