"""The JSON shape of calls, values and errors, the same for every client.

Going in, a cell is a number, text, true or false, null for blank, or an error
object ``{"error": {...}}`` of another cell; a range is a list of rows. Coming
out it is the same, and an error says code, sentence and argument.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from dampcell import __version__
from dampcell.functions.errors import DampcellError, InputError
from dampcell.functions.hosts.http.settings import Limits
from dampcell.functions.registry import CellError, CellFunction, Outcome, as_cell_error, lookup

__all__ = ["ERROR_CODES", "Call", "Refusal", "read_body", "read_calls", "result_json", "version_refusal"]

ERROR_CODES = ("#VALUE!", "#N/A", "#NUM!", "#DIV/0!", "#REF!", "#NAME?", "#NULL!", "#SPILL!", "#CALC!")
"""Error values of spreadsheets; what another program calls its own is handed on as ``#VALUE!``."""

_VERSION = re.compile(r"(\d{1,6})\.(\d{1,6})(?:\D.{0,40})?")


@dataclass(frozen=True, slots=True)
class Refusal:
    """A request that is not answered: HTTP status, a short code for programs, a sentence for people."""

    status: int
    code: str
    message: str
    argument: str | None = None

    def body(self) -> bytes:
        """Write it as the body of a response."""
        told = {"code": self.code, "message": self.message, "argument": self.argument}
        return json.dumps({"error": told}, ensure_ascii=False).encode()


@dataclass(frozen=True, slots=True)
class Call:
    """One call that can be made: the function, and raw cell values in order."""

    function: CellFunction
    arguments: list[object]


def read_body(body: bytes) -> Mapping[str, object] | Refusal:
    """Read the body of a request as one JSON object.

    Parameters
    ----------
    body : bytes
        UTF-8 JSON.

    Returns
    -------
    dict or Refusal
    """
    try:
        read = json.loads(body, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        return Refusal(400, "json", "the body of the request is not JSON; allowed: one JSON object in UTF-8.")
    if not isinstance(read, dict):
        return Refusal(400, "json", "the body of the request is JSON, but not an object in braces.")
    return read


def version_refusal(version: object) -> Refusal | None:
    """Check that a client is of the same major and minor version as this server.

    Parameters
    ----------
    version : object
        What the client sent as its version.

    Returns
    -------
    Refusal or None
    """
    theirs = _VERSION.fullmatch(version) if isinstance(version, str) else None
    if theirs is None:
        return Refusal(
            400,
            "version",
            "the request does not say which version of Dampcell it is from; "
            f'allowed: "version": "{__version__}".',
            "version",
        )
    ours = _VERSION.fullmatch(__version__)
    if ours is not None and theirs.groups() == ours.groups():
        return None
    return Refusal(
        409,
        "version",
        f"the spreadsheet add-in or page is of Dampcell {version}, the calculation server of Dampcell "
        f"{__version__}; allowed: the same version of both, so update the older one and start it again.",
        "version",
    )


def read_calls(body: bytes, limits: Limits) -> list[Call | CellError] | Refusal:
    """Read the body of a POST of calls.

    Parameters
    ----------
    body : bytes
        ``{"version": …, "calls": [{"function": …, "arguments": […]}]}``.
    limits : Limits
        How many calls, and cells in each, are allowed.

    Returns
    -------
    list or Refusal
        In order, each call, or the error value of one that cannot be made.
    """
    read = read_body(body)
    if isinstance(read, Refusal):
        return read
    refused = version_refusal(read.get("version"))
    if refused is not None:
        return refused
    calls = read.get("calls")
    if not isinstance(calls, list):
        return Refusal(400, "calls", '"calls" is missing; allowed: a list of calls.', "calls")
    if len(calls) > limits.calls:
        return Refusal(
            413,
            "calls",
            f"there are {len(calls):,} calls in one request; allowed: up to {limits.calls:,}, "
            "so send the rest in further requests.",
            "calls",
        )
    return [_call(call, limits) for call in calls]


def result_json(outcome: Outcome) -> bytes:
    """Write what one call gave.

    Parameters
    ----------
    outcome : Outcome
        Value or error, and notes.

    Returns
    -------
    bytes
        A JSON object with ``value`` or ``error``, and ``notes``.
    """
    told: dict[str, object] = {}
    if isinstance(outcome.value, CellError):
        told.update(_error(outcome.value))
    else:
        told["value"] = outcome.value
    told["notes"] = outcome.notes
    return _ENCODER.encode(told).encode("utf-8", "backslashreplace")


def _error(error: object) -> dict[str, object]:
    if not isinstance(error, CellError):
        raise TypeError(f"a {type(error).__name__} is no cell value")
    return {"error": {"code": error.code, "message": error.message, "argument": error.parameter}}


# Made once: json.dumps would make one for every cell.
_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=_error)


def _call(call: object, limits: Limits) -> Call | CellError:
    try:
        if not isinstance(call, dict) or not isinstance(call.get("function"), str):
            raise InputError("is missing", parameter="function", allowed="the name of a cell function")
        function = lookup(call["function"])
        given = call.get("arguments", [])
        if not isinstance(given, list):
            raise InputError("are not a list", parameter="arguments", allowed="[first, second, …]")
        cells = sum(_size(value) for value in given)
        if cells > limits.cells:
            raise InputError(
                "the ranges are too large",
                parameter=function.name,
                found=f"{cells:,} cells",
                allowed=f"up to {limits.cells:,} cells in one formula; name only the rows that are filled",
            )
        return Call(function, [_argument(value, _name(function, i)) for i, value in enumerate(given)])
    except DampcellError as error:
        return as_cell_error(error)


def _name(function: CellFunction, index: int) -> str:
    if not function.arguments:
        return f"argument {index + 1}"
    return function.arguments[min(index, len(function.arguments) - 1)].name


def _size(value: object) -> int:
    if not isinstance(value, list):
        return 1
    return sum(len(row) if isinstance(row, list) else 1 for row in value)


def _argument(value: object, name: str) -> object:
    if not isinstance(value, list):
        return _cell(value, name)
    if not all(isinstance(row, list) for row in value):
        raise InputError("is a list, but not of rows", parameter=name, allowed="[[1, 2], [3, 4]] for a range")
    return [[_cell(cell, name) for cell in row] for row in value]


def _cell(value: object, name: str) -> object:
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, int | float):
        # A cell of a spreadsheet holds no whole numbers of another kind, so neither does the wire.
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if math.isfinite(number):
            return number
        raise InputError("a number is too large", parameter=name, allowed="up to 1.7E+308")
    if isinstance(value, dict) and isinstance(value.get("error"), dict):
        return _handed_on(value["error"])
    raise InputError(
        "holds something that is no cell value",
        parameter=name,
        allowed="number, text, true, false, null, or a range as a list of rows",
    )


def _handed_on(error: Mapping[str, object]) -> CellError:
    code = error.get("code")
    argument = error.get("argument")
    return CellError(
        code if isinstance(code, str) and code in ERROR_CODES else "#VALUE!",
        str(error.get("message") or ""),
        argument if isinstance(argument, str) else None,
    )


def _no_constant(text: str) -> float:
    raise ValueError(f"{text} is not JSON")
