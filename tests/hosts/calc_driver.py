"""Drives LibreOffice for the tests: one JSON request a line in, one JSON answer a line out.

It is run by the Python that LibreOffice is installed for, not by that of the tests.
"""

from __future__ import annotations

import importlib
import json
import sys
import time
import traceback
from typing import Any

ERRORS = {
    521: "#NULL!",
    532: "#DIV/0!",
    519: "#VALUE!",
    524: "#REF!",
    525: "#NAME?",
    503: "#NUM!",
    32767: "#N/A",
}
FILTERS = {"xlsx": "Calc MS Excel 2007 XML", "ods": "calc8", "pdf": "calc_pdf_Export"}
BLANK, NUMBER, TEXT, ERROR = 0, 1, 2, 4
COMMANDS = "org.dampcell.calc.Commands"


class Driver:
    """Requests by name; each method takes what the request says."""

    def __init__(self, pipe: str) -> None:
        # The Python of the tests, which collects this file too, has no such module.
        self.uno = importlib.import_module("uno")
        local = self.uno.getComponentContext()
        resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
        self.context = _patiently(
            lambda: resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        )
        self.desktop = self._service("com.sun.star.frame.Desktop")
        self.document: Any = None

    def open(self, path: str = "") -> None:
        """Open a workbook, or a new one."""
        url = self.uno.systemPathToFileUrl(path) if path else "private:factory/scalc"
        self.document = self.desktop.loadComponentFromURL(
            url, "_blank", 0, (self._pair("beans.PropertyValue", "Hidden", True),)
        )

    def close(self) -> None:
        """Close the workbook without saving."""
        self.document.close(True)
        self.document = None

    def put(self, cells: dict[str, Any]) -> None:
        """Fill cells by address: number, text, or a formula with its equals sign."""
        for address, content in cells.items():
            cell = self._range(address)
            if isinstance(content, str) and content.startswith("="):
                cell.setFormula(content)
            elif isinstance(content, str):
                cell.setString(content)
            else:
                cell.setValue(content)

    def put_rows(self, area: str, rows: list[list[Any]]) -> None:
        """Fill a range with numbers and texts; None leaves a cell blank."""
        self._range(area).setDataArray(tuple(tuple("" if c is None else c for c in row) for row in rows))

    def put_formulas(self, area: str, rows: list[list[str]]) -> None:
        """Fill a range with formulas, without calculating in between."""
        self.document.enableAutomaticCalculation(False)
        self._range(area).setFormulaArray(tuple(map(tuple, rows)))
        self.document.enableAutomaticCalculation(True)

    def put_array(self, area: str, formula: str) -> None:
        """Enter an array formula."""
        self._range(area).setArrayFormula(formula)

    def get(self, area: str) -> list[list[Any]]:
        """Read a range: number, text, None for blank, or the code of an error in a list."""
        cells = self._range(area)
        columns, rows = cells.Columns.Count, cells.Rows.Count
        return [[_content(cells.getCellByPosition(c, r)) for c in range(columns)] for r in range(rows)]

    def formula(self, address: str) -> str:
        """Read the formula of a cell."""
        return str(self._range(address).getFormula())

    def calculate(self) -> float:
        """Recalculate everything, and say how many seconds it took."""
        begun = time.perf_counter()
        self.document.calculateAll()
        return time.perf_counter() - begun

    def save(self, path: str) -> None:
        """Save a copy in the format that its ending says."""
        kind = self._pair("beans.PropertyValue", "FilterName", FILTERS[path.rpartition(".")[2]])
        self.document.storeToURL(self.uno.systemPathToFileUrl(path), (kind,))

    def command(self, name: str) -> str:
        """Run a command of the extension on the workbook."""
        given = (
            self._pair("beans.NamedValue", "Command", name),
            self._pair("beans.NamedValue", "Document", self.document),
        )
        return str(self._service(COMMANDS).execute(given))

    def functions(self, prefix: str) -> dict[str, Any]:
        """Read what the Function Wizard knows of functions whose name begins so."""
        found: dict[str, Any] = {}
        for description in self._service("com.sun.star.sheet.FunctionDescriptions"):
            told = {entry.Name: entry.Value for entry in description}
            if told["Name"].startswith(prefix):
                arguments = [[argument.Name, argument.Description] for argument in told["Arguments"] or ()]
                found[told["Name"]] = {
                    "help": told["Description"],
                    "category": told["Category"],
                    "arguments": arguments,
                }
        return found

    def type(self, cells: dict[str, Any]) -> None:
        """Fill cells as a person would, who cannot reach those that a sheet protects."""
        for address in cells:
            if self._range(address).CellProtection.IsLocked:
                raise ValueError(f"{address} is no input cell")
        self.put(cells)

    def errors(self) -> list[str]:
        """List the cells of all sheets that show an error."""
        found = []
        for sheet in self.document.Sheets:
            for area in sheet.queryFormulaCells(ERROR).RangeAddresses:
                for row in range(area.StartRow, area.EndRow + 1):
                    for column in range(area.StartColumn, area.EndColumn + 1):
                        cell = sheet.getCellByPosition(column, row)
                        found.append(f"{cell.AbsoluteName}: {cell.getFormula()}")
        return found

    def row_height(self, sheet: str, row: int) -> float:
        """Height of a row, counted from 1 [pt]."""
        return float(self.document.Sheets.getByName(sheet).Rows.getByIndex(row - 1).Height) * 72.0 / 2540.0

    def insert_sheet(self, name: str) -> None:
        """Add a sheet behind the others."""
        self.document.Sheets.insertNewByName(name, self.document.Sheets.Count)

    def insert_row(self, sheet: str, row: int) -> None:
        """Insert a row above the given one, counted from 1, on a sheet that is unprotected for it."""
        target = self.document.Sheets.getByName(sheet)
        target.unprotect("")
        target.Rows.insertByIndex(row - 1, 1)

    def move_column(self, area: str, to: str) -> None:
        """Move cells to another place on their sheet, which is unprotected for it."""
        source, target = self._range(area), self._range(to)
        source.Spreadsheet.unprotect("")
        source.Spreadsheet.moveRange(target.CellAddress, source.RangeAddress)

    def rename(self, sheet: str, name: str) -> None:
        """Rename a sheet."""
        self.document.Sheets.getByName(sheet).setName(name)

    def style(self, area: str, properties: dict[str, Any]) -> None:
        """Set properties of cells or columns, for pictures."""
        for name, value in properties.items():
            target = self._range(area)
            setattr(target.Columns if name in ("Width", "OptimalWidth") else target, name, value)

    def quit(self) -> None:
        """End the program."""
        self.desktop.terminate()

    def _range(self, area: str) -> Any:
        sheet, _, local = area.rpartition("!")
        sheets = self.document.Sheets
        return (sheets.getByName(sheet) if sheet else sheets.getByIndex(0)).getCellRangeByName(local)

    def _pair(self, kind: str, name: str, value: object) -> Any:
        pair = self.uno.createUnoStruct(f"com.sun.star.{kind}")
        pair.Name, pair.Value = name, value
        return pair

    def _service(self, name: str) -> Any:
        return self.context.ServiceManager.createInstanceWithContext(name, self.context)


def _patiently(connect: Any) -> Any:
    end = time.monotonic() + 60
    while True:
        try:
            return connect()
        except Exception:
            if time.monotonic() > end:
                raise
            time.sleep(0.1)


def _content(cell: Any) -> Any:
    if cell.getError():
        return [ERRORS.get(cell.getError(), f"Err:{cell.getError()}")]
    kind = cell.FormulaResultType2 if cell.getFormula().startswith(("=", "{=")) else 0
    if kind == TEXT or (not kind and cell.Type.value == "TEXT"):
        return cell.getString()
    if not kind and cell.Type.value == "EMPTY":
        return None
    return cell.getValue()


def main() -> None:
    """Answer requests until there are no more."""
    driver = Driver(sys.argv[1])
    print(json.dumps({"result": "ready"}), flush=True)
    for line in sys.stdin:
        request = json.loads(line)
        try:
            answer = {"result": getattr(driver, request["do"])(**request["with"])}
        except Exception:
            answer = {"failed": traceback.format_exc()}
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
