"""The real xlwings as on Windows, with pywin32 replaced by empty modules, and calls through it."""

from __future__ import annotations

import contextlib
import ctypes
import datetime
import importlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest.mock import MagicMock

import pytest

from dampcell.functions.hosts.excel_desktop.module import MODULE, module_text
from dampcell.functions.registry import REGISTRY, CellError

MISSING = -2147352572
"""What COM hands over for an argument that was left out."""

ERRORS = {"#VALUE!": -2146826273, "#N/A": -2146826246, "#NUM!": -2146826252, "#DIV/0!": -2146826281}
"""COM's numbers of Excel's errors, as xlwings lists them."""


class Variant:
    """In place of win32com.client.VARIANT: a type and a value."""

    def __init__(self, varianttype: int, value: int) -> None:
        self.varianttype = varianttype
        self.value = value


class ComError(Exception):
    """In place of pywintypes.com_error."""


@contextlib.contextmanager
def xlwings_udfs(folder: Path) -> Iterator[Any]:
    """Give the real xlwings.udfs, with our module in the folder where it finds it."""
    (folder / f"{MODULE}.py").write_text(module_text(REGISTRY.values()), encoding="utf-8")
    before = set(sys.modules)
    with pytest.MonkeyPatch.context() as patch:
        names = (
            *("pythoncom", "pywintypes", "win32api", "win32con", "win32gui", "win32process", "win32timezone"),
            *(
                "win32com",
                "win32com.client",
                "win32com.client.dynamic",
                "win32com.server",
                "win32com.server.util",
            ),
        )
        for name in names:
            patch.setitem(sys.modules, name, MagicMock(name=name))
        client: Any = sys.modules["win32com.client"]
        client.VARIANT = Variant
        for kind in ("CDispatch", "CoClassBaseClass", "DispatchBaseClass"):
            setattr(client, kind, type(kind, (), {}))
        sys.modules["pythoncom"].VT_ERROR = 10  # type: ignore[attr-defined]
        windows: Any = sys.modules["pywintypes"]
        windows.com_error = ComError
        windows.TimeType = type("TimeType", (datetime.datetime,), {})
        sys.modules["pythoncom"].__file__ = "pythoncom.dll"
        for name in ("PyDLL", "oledll", "windll", "WINFUNCTYPE"):
            patch.setattr(ctypes, name, MagicMock(), raising=False)
        xlwings: Any = importlib.import_module("xlwings")
        # On Linux xlwings' decorators do nothing, for there is no Excel: these are the ones of Windows.
        real = importlib.import_module("xlwings.udfs")
        for name, made in (("func", real.xlfunc), ("arg", real.xlarg), ("ret", real.xlret)):
            patch.setattr(xlwings, name, made)
        windows_part: Any = importlib.import_module("xlwings._xlwindows")
        patch.setattr(xlwings, "_xlwindows", windows_part, raising=False)
        xlwings.engines.add(xlwings.main.Engine(impl=windows_part.engine))
        # Only asynchronous functions, of which there are none, use what the COM server has there.
        patch.setitem(sys.modules, "xlwings.com_server", MagicMock(name="com_server"))
        patch.syspath_prepend(str(folder))
        yield real
    for name in set(sys.modules) - before:
        if name.startswith("xlwings") or name in (MODULE, "dampcell.functions.hosts.excel_desktop.bridge"):
            del sys.modules[name]


def call(udfs: Any, name: str, *arguments: object) -> object:
    """Call a function as xlwings does for a cell; a range is a tuple of tuples."""
    return udfs.call_udf(MODULE, f"DAMP_{name}", arguments, None, MagicMock())


def ranged(value: object) -> object:
    """Hand a value over as COM does: a number for an error, None for a blank, tuples for a range."""
    if isinstance(value, list):
        rows = [row if isinstance(row, list) else [row] for row in value]
        width = max(map(len, rows))
        return tuple((*map(_single, row), *[None] * (width - len(row))) for row in rows)
    return MISSING if value is None else _single(value)


def _single(cell: object) -> object:
    return ERRORS[cell.code] if isinstance(cell, CellError) else cell
