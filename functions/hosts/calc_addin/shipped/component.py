"""The add-in as LibreOffice sees it: a service with a method for every cell function, and a menu.

It runs in the Python of LibreOffice: standard library only, nothing newer than
Python 3.8. Which functions there are stands in ``functions.json`` beside it, so
nothing here names one.
"""

from __future__ import annotations

import importlib
import json
import os
import re
import struct
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Collection
    from types import ModuleType
    from typing import Any

__all__ = ["as_cells", "error_value", "getComponentFactory", "respelled"]

# Numbers of the error values inside LibreOffice.
_ERRORS = {
    "#NULL!": 521,
    "#DIV/0!": 532,
    "#VALUE!": 519,
    "#REF!": 524,
    "#NAME?": 525,
    "#NUM!": 503,
    "#N/A": 32767,
}
_FORMULA_CELLS = 16


def error_value(code: str) -> float:
    """Give the number that is the error value of a cell, also within an array.

    Parameters
    ----------
    code : text
        Such as ``#N/A``.

    Returns
    -------
    float
        Not a number, with the error in its lower bits.
    """
    bits = 0x7FF8000000000000 | _ERRORS.get(code, _ERRORS["#VALUE!"])
    return float(struct.unpack("<d", struct.pack("<Q", bits))[0])


def as_cells(value: object, rows: int = 0) -> tuple[tuple[object, ...], ...]:
    """Turn a value of the server into rows of cells.

    Parameters
    ----------
    value : object
        Scalar, or list of rows of scalars and error objects.
    rows : int
        Number of rows to fill up to with blanks; 0 leaves it as it is.

    Returns
    -------
    tuple of tuples
        A single cell acts as a scalar everywhere.
    """
    given = value if isinstance(value, list) and value else [[value]]
    cells = tuple(tuple(map(_cell, row)) for row in given)
    if len(cells) < rows:
        cells += (("",) * len(cells[0]),) * (rows - len(cells))
    return cells


def respelled(formula: str, namespace: str, names: Collection[str], prefix: str) -> str:
    """Write our functions in a formula as one spreadsheet spells them.

    Parameters
    ----------
    formula : text
        With or without its equals sign.
    namespace : text
        What all our functions begin with.
    names : collection of text
        Names of the functions, in capitals; others are left alone.
    prefix : text
        What is written before the name.

    Returns
    -------
    text
        The same formula if there is nothing to do.

    Examples
    --------
    >>> respelled('=1+_xldudf_damp_oil_index(A1,"DAMP_OIL_INDEX(")', "DAMP", {"OIL_INDEX"}, "DAMP.")
    '=1+DAMP.OIL_INDEX(A1,"DAMP_OIL_INDEX(")'
    """
    workbook = r"(?:'(?:[^']|'')*'|\[\d+\]|[\w.]+)!"
    pattern = re.compile(
        rf"(?<![\w.'!])(?:{workbook})?(?:_xll\.|_xludf\.|_xlfn\.|_xldudf_)*{namespace}[._](\w+)(?=\s*\()"
        # Texts and names of sheets are passed over whole.
        r"|\"(?:[^\"]|\"\")*\"|'(?:[^']|'')*'",
        re.IGNORECASE,
    )

    def replace(found: re.Match[str]) -> str:
        name = (found[1] or "").upper()
        return f"{prefix}{name}" if name in names else found[0]

    return pattern.sub(replace, formula)


def getComponentFactory(implementation: str, manager: Any, _key: Any) -> Any:  # noqa: N802 - LibreOffice asks for it
    """Hand LibreOffice the maker of a service.

    Parameters
    ----------
    implementation : text
        Name of the service, from the list.
    manager, _key : object
        As LibreOffice's loader gives them; not needed.

    Returns
    -------
    object
        A factory of the service.
    """
    office = _Office()
    namespace, commands = office.told["services"]
    made = office.add_in(namespace) if implementation == namespace else office.commands(commands)
    helper = importlib.import_module("unohelper").ImplementationHelper()
    helper.addImplementation(made, implementation, (implementation, office.told["services"][implementation]))
    return helper.getComponentFactory(implementation, None, manager)


def _cell(value: object) -> object:
    if isinstance(value, (bool, str)):
        return value
    if isinstance(value, (int, float)):
        return float(value)
    if isinstance(value, dict):
        error = value.get("error")
        return error_value(str(error.get("code")) if isinstance(error, dict) else "#VALUE!")
    return ""


class _Office:
    """What the services share: the list of functions, and the one that asks the server."""

    calculator: Any = None
    ahead: Any = None

    def __init__(self) -> None:
        with open(os.path.join(os.path.dirname(__file__), "functions.json"), encoding="utf-8") as file:
            self.told = json.load(file)
        self.client: ModuleType = importlib.import_module("dampcell_calc_client")
        if _Office.calculator is None:
            _Office.calculator = self.client.Calculator(
                self.told["version"], self.told["port"], self.client.config_folders()
            )
            looking = importlib.import_module("dampcell_calc_ahead")
            _Office.ahead = looking.Ahead(next(iter(self.told["services"])), self._fetch)

    def _fetch(self, calls: list[tuple[str, list[Any]]]) -> int:
        """Prepare calls found in the workbook as if Calc had made them."""
        ready = []
        for function, arguments in calls:
            described = self.told["functions"].get(function)
            if described is not None and described["remember"]:
                ready.append((function, self.client.trimmed(arguments, described["arguments"])[0]))
        return int(_Office.calculator.fetch(ready))

    def add_in(self, name: str) -> type:
        """Build the class of the add-in, with a method for each function of the list."""
        uno, unohelper = importlib.import_module("uno"), importlib.import_module("unohelper")
        interface = uno.getClass(self.told["interface"])
        named = uno.getClass("com.sun.star.lang.XServiceName")
        info = uno.getClass("com.sun.star.lang.XServiceInfo")
        services = (name, self.told["services"][name])
        methods: dict[str, Callable[..., object]] = {
            "__init__": lambda _self, *_: None,
            "getServiceName": lambda _self: name,
            "getImplementationName": lambda _self: name,
            "supportsService": lambda _self, service: service in services,
            "getSupportedServiceNames": lambda _self: services,
        }
        for function, described in self.told["functions"].items():
            methods[function] = self._method(function, described)
        return type("AddIn", (unohelper.Base, interface, named, info), methods)

    def commands(self, name: str) -> type:
        """Build the class of the menu's commands."""
        uno, unohelper = importlib.import_module("uno"), importlib.import_module("unohelper")
        executor, job = (uno.getClass(f"com.sun.star.task.{kind}") for kind in ("XJobExecutor", "XJob"))
        office = self

        def begin(self: Any, context: Any, *_: object) -> None:
            self.context = context

        def trigger(self: Any, command: str) -> None:
            """Take a command of the menu, for the document in front."""
            _Commands(office, self.context).choose(command)

        def execute(self: Any, arguments: Any) -> str:
            """Take a command of a macro: pairs named Command and Document; no window opens."""
            given = {argument.Name: argument.Value for argument in arguments}
            return _Commands(office, self.context).run(given["Command"], given.get("Document"))

        methods = {"__init__": begin, "trigger": trigger, "execute": execute}
        return type("Commands", (unohelper.Base, executor, job), methods)

    def _method(self, function: str, described: dict[str, Any]) -> Callable[..., object]:
        calculator, client = _Office.calculator, self.client
        if function == self.told["status"]:
            return lambda _self, _caller: as_cells(calculator.status())
        kinds, rest, remember = described["arguments"], described["rest"], described["remember"]
        ahead = _Office.ahead
        explains = function == self.told["why"]

        def method(_self: object, caller: Any, *arguments: Any) -> object:
            given = [*arguments[:-1], *arguments[-1]] if rest else list(arguments)
            try:
                sent, rows = client.trimmed(given, kinds)
                value = calculator.call(
                    function, sent, remember=remember, missed=lambda: ahead.missed(caller)
                )
                return as_cells(value, rows)
            except client.Refused as refused:
                if explains and refused.code == "#N/A":
                    # The call that is explained took too long, and so did explaining it.
                    return as_cells(refused.message)
                return as_cells({"error": {"code": refused.code}})
            except client.Unreachable as trouble:
                # A sentence in a cell that should hold a number would be summed up as 0.
                return as_cells(str(trouble) if explains else {"error": {"code": "#N/A"}})

        return method


class _Commands:
    """The commands of the menu."""

    def __init__(self, office: _Office, context: Any) -> None:
        self._office = office
        self._context = context

    def choose(self, command: str) -> None:
        """Do what the menu entry says to the document in front, and show what came of it."""
        document = self._service("com.sun.star.frame.Desktop").getCurrentComponent()
        sentence = self.run(command, document)
        if sentence and document is not None:
            uno = importlib.import_module("uno")
            kind = uno.Enum("com.sun.star.awt.MessageBoxType", "INFOBOX")
            window = document.CurrentController.Frame.ContainerWindow
            toolkit = self._service("com.sun.star.awt.Toolkit")
            toolkit.createMessageBox(window, kind, 1, "Dampcell", sentence).execute()

    def run(self, command: str, document: Any) -> str:
        """Do what a command says; give the sentence to show, or an empty text."""
        if command == "status":
            return str(_Office.calculator.status())
        if document is None or not document.supportsService("com.sun.star.sheet.SpreadsheetDocument"):
            return "This works in a spreadsheet only."
        if command == "respell" and document.isReadonly():
            return "The workbook is open for reading only: save it under another name, then try again."
        if command == "respell":
            count = self._respell(document)
            return f"Formulas respelled: {count}." if count else "There was nothing to respell."
        _Office.calculator.forget()
        document.calculateAll()
        return ""

    def _respell(self, document: Any) -> int:
        namespace, names = (
            next(iter(self._office.told["services"])),
            frozenset(self._office.told["functions"]),
        )
        count = 0
        document.lockControllers()
        document.addActionLock()
        try:
            for sheet in document.Sheets:
                for cells in sheet.queryContentCells(_FORMULA_CELLS):
                    count += _respell_cells(sheet, cells, namespace, names)
        finally:
            document.removeActionLock()
            document.unlockControllers()
        return count

    def _service(self, name: str) -> Any:
        return self._context.ServiceManager.createInstanceWithContext(name, self._context)


def _respell_cells(sheet: Any, cells: Any, namespace: str, names: Collection[str]) -> int:
    count = 0
    arrays = set()
    for row, formulas in enumerate(cells.getFormulaArray()):
        for column, formula in enumerate(formulas):
            text = respelled(formula, namespace, names, f"{namespace}.")
            if text == formula:
                continue
            cell = cells.getCellByPosition(column, row)
            if formula.startswith("{"):
                # All cells of an array formula show it, and they can only be changed together.
                cursor = sheet.createCursorByRange(cell)
                cursor.collapseToCurrentArray()
                area = cursor.getRangeAddress()
                place = (area.StartColumn, area.StartRow)
                if place in arrays:
                    continue
                arrays.add(place)
                cursor.setArrayFormula(text[1:-1])
            else:
                cell.setFormula(text)
            count += 1
    return count
