"""Pure calculation for shim stacks, damper oil and fills, and the registry that makes it cell functions."""

from __future__ import annotations

import dampcell.functions.cells  # noqa: F401 - importing the families fills the registry
from dampcell.functions.errors import (
    DampcellError,
    InputError,
    NoSolutionError,
    ValidityError,
    WorkbookError,
)
from dampcell.functions.registry import REGISTRY, evaluate, lookup

__all__ = [
    "REGISTRY",
    "DampcellError",
    "InputError",
    "NoSolutionError",
    "ValidityError",
    "WorkbookError",
    "evaluate",
    "lookup",
]
