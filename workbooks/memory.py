"""A memory of answers: what a cell function was asked before in this process is not computed again.

The jobs of a workshop hold the same stacks, valves and oils again and again, and the
report asks what a cell has asked already. The functions are pure, so what was asked
before cannot change an answer.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, field

from dampcell.functions.registry import Outcome, evaluate

__all__ = ["forget", "remembered"]

_MOST = 8192
"""Answers that are kept; the largest, a curve of one stack, takes some 20 kB."""


def remembered(name: str, arguments: Sequence[object], text: str | None = None) -> Outcome:
    """Evaluate a call of a cell function, once; see `dampcell.functions.registry.evaluate`.

    Parameters
    ----------
    name : text
        Name of the function.
    arguments : sequence
        Raw values, as cells would hold them.
    text : text, optional
        ``repr(arguments)``, from a caller who has it already.

    Returns
    -------
    Outcome
        Shared by all who ask: not to be changed.
    """
    return _answer(_Call(name + (repr(arguments) if text is None else text), name, arguments))


def forget() -> None:
    """Forget all answers, because the functions are others now."""
    _answer.cache_clear()


@dataclass(frozen=True, slots=True)
class _Call:
    """A call; its text stands for it in comparisons, because arguments may be lists."""

    text: str
    name: str = field(compare=False)
    arguments: Sequence[object] = field(compare=False)


@functools.lru_cache(maxsize=_MOST)
def _answer(call: _Call) -> Outcome:
    return evaluate(call.name, call.arguments)
