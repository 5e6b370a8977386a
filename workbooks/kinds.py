"""Which template a workbook was made from, told by its named cells."""

from __future__ import annotations

import functools
from collections.abc import Iterable

from dampcell.workbooks.fields import field_tables, load_fields

__all__ = ["JOB", "kind_of"]

JOB = "stack_record"
"""Kind of the workbook that holds one job."""

_LEAST_SHARE = 0.5


def kind_of(names: Iterable[str]) -> str | None:
    """Tell the kind of template from the defined names of a workbook.

    Parameters
    ----------
    names : iterable of text
        Defined names, in any case.

    Returns
    -------
    text or None
        The kind that most of its inputs are there of; None if that is less than half of them.
    """
    there = {name.casefold() for name in names}
    shares = {kind: len(inputs & there) / len(inputs) for kind, inputs in _inputs().items()}
    best = max(shares, key=lambda kind: shares[kind])
    return best if shares[best] >= _LEAST_SHARE else None


@functools.cache
def _inputs() -> dict[str, frozenset[str]]:
    kinds = dict.fromkeys(row["workbook"] for row in field_tables() if row["workbook"])
    return {
        kind: frozenset(field.name.casefold() for field in load_fields(kind) if field.kind == "input")
        for kind in kinds
    }
