"""The command line: verbs on formulas, functions and workbook files.

Each group of commands is a module with a function ``register``; only the one
that is asked for is imported, so that a formula does not wait for the libraries
of the reports. Errors are translated here, once.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence
from typing import Annotated, NoReturn

import typer

from dampcell import __version__
from dampcell.functions.errors import DampcellError, InputError

__all__ = ["COMMANDS", "build_app", "main"]

COMMANDS = {
    "cell": "dampcell.workbooks.cell_command",
    "functions": "dampcell.workbooks.cell_command",
    "report": "dampcell.workbooks.report_command",
    "demo": "dampcell.workbooks.report_command",
    "watch": "dampcell.workbooks.watch_command",
    "serve": "dampcell.workbooks.serve_command",
    "ledger": "dampcell.workbooks.ledger_command",
    "new": "dampcell.workbooks.new_command",
    "check": "dampcell.workbooks.check_command",
    "connect": "dampcell.workbooks.connect_command",
    "respell": "dampcell.workbooks.respell_command",
}
"""Commands, and the module that registers each."""

_INTERRUPTED = 130


def build_app(command: str | None = None) -> typer.Typer:
    """Build the command line.

    Parameters
    ----------
    command : text, optional
        First word of the call; if it is a command, only that one is imported.

    Returns
    -------
    typer.Typer
    """
    app = typer.Typer(
        name="dampcell",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_options)
    modules = [COMMANDS[command]] if command in COMMANDS else list(dict.fromkeys(COMMANDS.values()))
    if command == "--version":
        modules = [COMMANDS["cell"]]
    for module in modules:
        importlib.import_module(module).register(app)
    return app


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line, and leave with its exit code.

    0 all good, 1 some formulas or files failed, 2 bad usage, 130 interrupted.

    Parameters
    ----------
    arguments : sequence of text, optional
        If left out, those of the process.
    """
    given = list(sys.argv[1:] if arguments is None else arguments)
    # Results may hold signs that the code page of an old console lacks.
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        build_app(given[0] if given else None)(args=given, prog_name="dampcell")
    except DampcellError as error:
        typer.echo(str(error), err=True)
        sys.exit(2 if isinstance(error, InputError) else 1)
    except KeyboardInterrupt:
        _interrupted()
    except SystemExit as leaving:
        # The command line library turns an interrupt into this exit code, without a word.
        if leaving.code == _INTERRUPTED:
            _interrupted()
        raise


def _interrupted() -> NoReturn:
    typer.echo("interrupted.", err=True)
    sys.exit(_INTERRUPTED)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"dampcell {__version__}")
        raise typer.Exit


def _options(
    version: Annotated[
        bool,
        typer.Option("--version", help="Show the version and leave.", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    """What a shim stack, an oil and a fill do to a damper: formulas, functions, and reports of workbooks."""


if __name__ == "__main__":
    main()
