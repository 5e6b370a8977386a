"""Keeps the generated parts of README.md in step with the registry and the command line.

A part stands between two comment lines, ``<!-- NAME -->`` and ``<!-- end of NAME -->``;
``python -m dampcell.workbooks.documents README.md`` writes them anew, and a test
fails when they are stale.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import typer
from typer.testing import CliRunner

from dampcell.functions.registry import REGISTRY
from dampcell.workbooks.cell_command import functions_as_markdown
from dampcell.workbooks.cli import COMMANDS, build_app
from dampcell.workbooks.files import write_bytes

__all__ = ["refreshed_document"]


def refreshed_document(text: str) -> str:
    """Write the generated parts of a document anew.

    Parameters
    ----------
    text : text
        The document.

    Returns
    -------
    text
        The document with every known part replaced; the rest as it was.
    """
    for name, write in _PARTS.items():
        pattern = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end of {name} -->)", re.DOTALL)
        fresh = write().strip()
        # The new text is no pattern: backslashes in it are to stay.
        kept = pattern.split(text)
        if len(kept) > 1:
            before, opening, closing, after = kept
            text = f"{before}{opening}\n{fresh}\n\n{closing}{after}"
    return text


def _functions() -> str:
    return functions_as_markdown(REGISTRY.values())


def _commands() -> str:
    # The width of the terminal must not get into the document.
    runner = CliRunner(env={"COLUMNS": "100", "TERMINAL_WIDTH": "100", "NO_COLOR": "1"})
    parts = []
    for command in COMMANDS:
        app = build_app(command)
        for words in _with_subcommands(app, command):
            shown = runner.invoke(app, [*words, "--help"], prog_name="dampcell").output
            lines = "\n".join(line.rstrip() for line in shown.strip().splitlines())
            parts.append(f"#### `dampcell {' '.join(words)}`\n\n```text\n{lines}\n```")
    return "\n\n".join(parts)


def _with_subcommands(app: typer.Typer, command: str) -> list[list[str]]:
    """List a command, and after it those that belong to it."""
    within = getattr(typer.main.get_command(app), "commands", {})
    return [[command], *([command, name] for name in getattr(within[command], "commands", {}))]


_PARTS: Mapping[str, Callable[[], str]] = {"functions": _functions, "commands": _commands}


if __name__ == "__main__":
    for name in sys.argv[1:]:
        path = Path(name)
        new = refreshed_document(path.read_text(encoding="utf-8"))
        write_bytes(path, new.encode("utf-8"))
        print(os.fspath(path))
