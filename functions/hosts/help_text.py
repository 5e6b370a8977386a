"""Help of functions and arguments in few words, for hosts that show no more than so many characters."""

from __future__ import annotations

from collections.abc import Iterable

from dampcell.functions.calls import Argument, CellFunction, literal
from dampcell.functions.units import shown_unit

__all__ = ["argument_help", "fitted", "function_help", "with_unit"]


def function_help(function: CellFunction, most: int) -> str:
    """Say what a function does, what it gives, and where that comes from.

    Parameters
    ----------
    function : CellFunction
        Any function.
    most : int
        Most characters.

    Returns
    -------
    text
        Whole sentences, as many as fit.
    """
    if function.result_columns:
        heads = ", ".join(with_unit(head, unit) for head, unit in function.result_columns)
        gives = f"Gives a table: {heads}."
    else:
        gives = f"Gives {with_unit(function.result.replace('_', ' '), function.result_unit)}."
    source = "" if function.source.startswith("None") else function.source
    return fitted([f"{function.summary}.", gives, f"Source: {source}" if source else ""], most)


def argument_help(argument: Argument, most: int) -> str:
    """Say what an argument is, what it may be, and what it is when it is left out.

    Parameters
    ----------
    argument : Argument
        Any argument.
    most : int
        Most characters.

    Returns
    -------
    text
        Whole sentences, as many as fit; the most needed come first.
    """
    parts = []
    if argument.choices:
        parts.append(f"One of: {', '.join(argument.choices)}.")
    if argument.variadic:
        parts.append("As many as there are.")
    elif not argument.required and argument.default not in (None, "", ()):
        parts.append(f"Default {literal(argument.default)}.")
    elif not argument.required:
        parts.append("May be left out.")
    if argument.layout is not None:
        parts.append(f"Table with {argument.layout.describe()}.")
    return fitted([argument.help or argument.name.replace("_", " "), *parts], most)


def with_unit(name: str, unit: str) -> str:
    """Write a name with its unit in brackets, if it has one."""
    shown = shown_unit(unit) if unit else ""
    return f"{name} [{shown}]" if shown else name


def fitted(parts: Iterable[str], most: int) -> str:
    """Join as many parts as fit; a first part that is too long ends at a word.

    Parameters
    ----------
    parts : iterable of text
        Sentences, the most needed first; empty ones are left out.
    most : int
        Most characters.

    Returns
    -------
    text

    Examples
    --------
    >>> fitted(["Thickness of the shim.", "Default 0.2."], 30)
    'Thickness of the shim.'
    >>> fitted(["Thickness of the shim."], 18)
    'Thickness of the…'
    """
    text = ""
    for part in filter(None, parts):
        if not text and len(part) > most:
            return part[: most - 1].rsplit(" ", 1)[0].rstrip(" ,;:.") + "…"
        if len(text) + 1 + len(part) <= most:
            text = f"{text} {part}" if text else part
    return text
