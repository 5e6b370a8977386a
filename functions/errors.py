"""The errors of the whole project: fields first, one plain sentence made from them.

A cell error code belongs to each class, so that every host shows the same one:
``#VALUE!`` for input to mend, ``#N/A`` outside the range of validity, ``#NUM!``
when the equations have no solution.
"""

from __future__ import annotations

import re
from typing import ClassVar

__all__ = ["DampcellError", "InputError", "NoSolutionError", "ValidityError", "WorkbookError"]


# What would break a sentence in two, or cannot be printed.
_UNPRINTABLE = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_LONGEST = 200


class DampcellError(Exception):
    """Base of every error that Dampcell raises on purpose.

    Parameters
    ----------
    problem : text
        What is wrong, in plain words.
    parameter : text, optional
        Name of the argument, table column or file that is at fault.
    found : object, optional
        The offending value, as it was given.
    allowed : text, optional
        What would be accepted instead, with units.
    """

    code: ClassVar[str] = "#VALUE!"

    def __init__(
        self,
        problem: str,
        *,
        parameter: str | None = None,
        found: object = None,
        allowed: str | None = None,
    ) -> None:
        self.problem = problem
        self.parameter = parameter
        self.found = found
        self.allowed = allowed
        super().__init__(problem)

    def where(self) -> str:
        """Name the place of the fault, or an empty text."""
        return self.parameter or ""

    def __str__(self) -> str:
        place = self.where()
        sentence = f"{place}: {self.problem}" if place else self.problem
        if self.found is not None:
            sentence += f" (found {_shown(self.found)})"
        if self.allowed:
            sentence += f"; allowed: {self.allowed}"
        sentence = _UNPRINTABLE.sub(" ", sentence)
        return sentence if sentence.endswith("?") else sentence + "."


class InputError(DampcellError, ValueError):
    """An argument or a table row has to be mended by the user (``#VALUE!``)."""


class ValidityError(InputError):
    """The input is well formed, but outside the range of the formula (``#N/A``)."""

    code: ClassVar[str] = "#N/A"


class NoSolutionError(DampcellError):
    """The equations have no solution, or none was found to tolerance (``#NUM!``)."""

    code: ClassVar[str] = "#NUM!"


class WorkbookError(DampcellError):
    """A workbook cannot be used as it is.

    Parameters
    ----------
    problem : text
        What is wrong, in plain words.
    file, sheet, cell : text, optional
        Where: file name, sheet name, cell address such as ``C7``.
    found : object, optional
        What stands there now.
    allowed : text, optional
        What would be accepted instead.
    """

    def __init__(
        self,
        problem: str,
        *,
        file: str | None = None,
        sheet: str | None = None,
        cell: str | None = None,
        found: object = None,
        allowed: str | None = None,
    ) -> None:
        super().__init__(problem, found=found, allowed=allowed)
        self.file = file
        self.sheet = sheet
        self.cell = cell

    def where(self) -> str:
        """Name file, sheet and cell as far as they are known."""
        place = "!".join(part for part in (self.sheet, self.cell) if part)
        return ", ".join(part for part in (self.file, place) if part)


def _shown(value: object) -> str:
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= _LONGEST else f'"{value[:_LONGEST]}…"'
    if isinstance(value, float):
        return f"{value:.12g}"
    return str(value)
