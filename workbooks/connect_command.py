"""The commands ``connect …``: each kind of spreadsheet is connected by a module of its own."""

from __future__ import annotations

import importlib

import typer

__all__ = ["HOSTS", "register"]

HOSTS = (
    "dampcell.workbooks.connect_calc",
    "dampcell.workbooks.connect_excel",
    "dampcell.workbooks.connect_excel_desktop",
)
"""Modules whose function ``register`` adds a command to the group."""


def register(app: typer.Typer) -> None:
    """Add the group of commands to the command line."""
    group = typer.Typer(no_args_is_help=True, rich_markup_mode=None)
    for module in HOSTS:
        importlib.import_module(module).register(group)
    app.add_typer(group, name="connect", help="Connect a spreadsheet with the cell functions.")
