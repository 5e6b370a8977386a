"""The commands ``cell`` and ``functions``: formulas without a spreadsheet, and help for each function."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator
from typing import Annotated

import typer

from dampcell.functions.registry import (
    NAMESPACE,
    REGISTRY,
    Argument,
    CellError,
    CellFunction,
    Outcome,
    lookup,
)

# Importing the engine also fills the registry.
from dampcell.workbooks.engine import evaluate_formula

__all__ = ["cell", "functions", "functions_as_markdown", "register", "shown"]


def register(app: typer.Typer) -> None:
    """Add the commands of this module to the command line."""
    app.command()(cell)
    app.command()(functions)


def cell(
    formulas: Annotated[
        list[str] | None,
        typer.Argument(metavar="[FORMULA]...", help="Formulas; without any, one a line from standard input."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line.")] = False,
) -> None:
    """Evaluate formulas without a spreadsheet: one value or error sentence a line.

    The equals sign may be left out. Ordinary spreadsheet functions and array constants work, as in
    DAMP.STACK_STIFFNESS({"shim",30,0.2,2;"clamp",12,0.3,1}, 100, 28). Notes on a value go to standard
    error. Exit code 0 when all formulas gave a value, 1 when some gave an error, 2 for a wrong call.
    """
    failed = given = 0
    for formula in formulas if formulas else _lines():
        given += 1
        outcome = evaluate_formula(formula)
        failed += outcome.first_error() is not None
        typer.echo(_as_json(formula, outcome) if as_json else shown(outcome.value))
        if not as_json:
            _say_more(outcome)
    if not given:
        raise typer.BadParameter("give a formula, or one a line on standard input", param_hint="FORMULA")
    raise typer.Exit(1 if failed else 0)


def functions(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="A function, in any spelling.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    markdown: Annotated[bool, typer.Option("--markdown", help="Print a Markdown table.")] = False,
) -> None:
    """List the cell functions, or show the help of one."""
    wanted = [lookup(name)] if name else list(REGISTRY.values())
    if as_json:
        described = [_described(function) for function in wanted]
        typer.echo(json.dumps(described[0] if name else described, ensure_ascii=False, indent=1))
    elif markdown:
        typer.echo(functions_as_markdown(wanted), nl=False)
    elif name:
        typer.echo(_help(wanted[0]), nl=False)
    else:
        _print_table(wanted)


def shown(value: object) -> str:
    """Write a result on one line: a table as an array constant, an error as its code and sentence.

    Parameters
    ----------
    value : scalar or list of rows
        Value of an `Outcome`.

    Returns
    -------
    text

    Examples
    --------
    >>> shown([[1.0, "a"], [True, None]])
    '{1,"a";TRUE,""}'
    """
    if isinstance(value, CellError):
        return f"{value.code} {value.message}".strip()
    if isinstance(value, list):
        return "{" + ";".join(",".join(map(_constant, row)) for row in value) + "}"
    return " ".join(value.split("\n")) if isinstance(value, str) else _constant(value)


def functions_as_markdown(listed: Iterable[CellFunction]) -> str:
    """Write functions as Markdown, one table for each family.

    Parameters
    ----------
    listed : iterable of CellFunction
        The functions.

    Returns
    -------
    text
    """
    lines: list[str] = []
    for family, members in _families(listed).items():
        lines += [f"### {family}", "", "| Function | Result | Gives |", "| --- | --- | --- |"]
        for function in members:
            cells = (f"`{function.signature}`", _result(function), function.summary)
            lines.append("| " + " | ".join(text.replace("|", "\\|") for text in cells) + " |")
        lines.append("")
    return "\n".join(lines)


def _lines() -> Iterator[str]:
    # A terminal is read too: who types formulas there ends with the end-of-file key.
    for line in sys.stdin:
        if line.strip():
            yield line.strip()


def _say_more(outcome: Outcome) -> None:
    if isinstance(outcome.value, list):
        errors = [value for row in outcome.value for value in row if isinstance(value, CellError)]
        for sentence in dict.fromkeys(f"{error.code} {error.message}" for error in errors):
            typer.echo(sentence, err=True)
    for note in outcome.notes:
        typer.echo(f"note: {note}", err=True)


def _constant(value: object) -> str:
    if value is None:
        return '""'
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, CellError):
        return value.code
    if isinstance(value, str):
        return '"' + " ".join(value.replace('"', '""').split("\n")) + '"'
    # repr gives the shortest text that reads back as the same number.
    return repr(value).removesuffix(".0")


def _as_json(formula: str, outcome: Outcome) -> str:
    error = outcome.value if isinstance(outcome.value, CellError) else None
    told: dict[str, object] = {"formula": formula}
    if error is None:
        told["value"] = _plain(outcome.value)
    else:
        told["error"] = _plain(error)
    told["notes"] = list(outcome.notes)
    return json.dumps(told, ensure_ascii=False)


def _plain(value: object) -> object:
    if isinstance(value, list):
        return [[_plain(cell) for cell in row] for row in value]
    if isinstance(value, CellError):
        return {"code": value.code, "sentence": value.message, "argument": value.parameter}
    return value


def _families(listed: Iterable[CellFunction]) -> dict[str, list[CellFunction]]:
    families: dict[str, list[CellFunction]] = {}
    for function in listed:
        families.setdefault(function.family, []).append(function)
    return families


def _result(function: CellFunction) -> str:
    if function.result_columns:
        return "table: " + ", ".join(_with_unit(head, unit) for head, unit in function.result_columns)
    return _with_unit(function.result.replace("_", " "), function.result_unit)


def _with_unit(name: str, unit: str) -> str:
    return f"{name} [{unit}]" if unit and unit != "-" else name


def _default(argument: Argument) -> str:
    if argument.required:
        return ""
    if argument.default is None or argument.default == "":
        return "may be left out"
    return f"default {shown(argument.default)}"


def _accepted(argument: Argument) -> str:
    if argument.kind == "choice":
        return " | ".join(argument.choices)
    # The unit of a number stands at the end of its help already.
    return argument.layout.describe() if argument.layout is not None else ""


def _described(function: CellFunction) -> dict[str, object]:
    return {
        "name": f"{NAMESPACE}.{function.name}",
        "family": function.family,
        "summary": function.summary,
        "description": function.description,
        "signature": function.signature,
        "arguments": [
            {
                "name": argument.name,
                "kind": argument.kind,
                "unit": argument.unit,
                "help": argument.help,
                "required": argument.required,
                "default": argument.default if isinstance(argument.default, str | float | int) else None,
                "choices": list(argument.choices),
            }
            for argument in function.arguments
        ],
        "result": _result(function),
        "source": function.source,
        "example": function.example,
    }


def _help(function: CellFunction) -> str:
    lines = [f"{function.signature}  ->  {_result(function)}", "", f"{function.summary}.", ""]
    if function.description:
        lines += [function.description, ""]
    for argument in function.arguments:
        extra = ", ".join(text for text in (_accepted(argument), _default(argument)) if text)
        lines.append(f"  {argument.name}: {argument.help}" + (f"  ({extra})" if extra else ""))
    lines += ["", f"Source: {function.source}" if function.source else "Source: none given", ""]
    outcome = evaluate_formula(function.example)
    lines += [f"Example: {function.example}", f"gives    {shown(outcome.value)}"]
    lines += [f"note: {note}" for note in outcome.notes]
    return "\n".join(lines) + "\n"


def _print_table(listed: Iterable[CellFunction]) -> None:
    # Only here: the other outputs do without a table library.
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    for head in ("family", "function", "result", "gives"):
        table.add_column(head, overflow="fold", no_wrap=head == "function")
    for family, members in _families(listed).items():
        for index, function in enumerate(members):
            table.add_row(
                "" if index else family, f"{NAMESPACE}.{function.name}", _result(function), function.summary
            )
    Console(markup=False, highlight=False).print(table)
