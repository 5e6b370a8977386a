"""A memory of answers: what a cell function was asked before in this process is not computed again.

The jobs of a workshop hold the same stacks, valves and oils again and again, and the
report asks what a cell has asked already. The functions are pure, so what was asked
before cannot change an answer.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Sequence

from dampcell.functions.registry import Outcome, evaluate

__all__ = ["forget", "remembered"]

_MOST = 4096
"""Answers that are kept; the largest, a curve of one stack, takes some 10 kB."""


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
    text = name + (repr(arguments) if text is None else text)
    return _answer(_Call(hashlib.sha256(text.encode(errors="surrogatepass")).digest(), name, arguments))


def forget() -> None:
    """Forget all answers, because the functions are others now."""
    _answer.cache_clear()


class _Call:
    """A call that is known by the hash of its text: arguments may be lists, and far larger than answers."""

    __slots__ = ("arguments", "key", "name")

    def __init__(self, key: bytes, name: str, arguments: Sequence[object]) -> None:
        self.key, self.name = key, name
        self.arguments: Sequence[object] | None = arguments

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Call) and self.key == other.key

    def __hash__(self) -> int:
        return hash(self.key)


@functools.lru_cache(maxsize=_MOST)
def _answer(call: _Call) -> Outcome:
    assert call.arguments is not None, "a call is answered once"
    given, call.arguments = call.arguments, None  # the memory keeps the call, and needs no more of it
    return evaluate(call.name, given)
