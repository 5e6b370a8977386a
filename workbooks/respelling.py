"""Respell our functions in a saved workbook, for the spreadsheet that shall read it.

Each spreadsheet writes the same function its own way and does not know the
others' spellings. Only formulas change; every other byte of the parts stays.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final
from xml.parsers import expat
from xml.sax.saxutils import escape

import dampcell.functions.cells  # noqa: F401 - fills the registry
from dampcell.functions.errors import WorkbookError
from dampcell.functions.hosts.calc_addin.extension import STATUS
from dampcell.functions.hosts.calc_addin.shipped.component import respelled
from dampcell.functions.registry import NAMESPACE, REGISTRY
from dampcell.workbooks.package import open_package
from dampcell.workbooks.sheets import splice

__all__ = ["PREFIXES", "respell"]

PREFIXES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "calc": f"{NAMESPACE}.",
        "excel": f"_xldudf_{NAMESPACE}_",
        "excel-desktop": f"{NAMESPACE}_",
    }
)
"""What stands before a function's name in a file, by spreadsheet."""

# Formulas of cells, names, tables, conditional formats, validations; the same in the newer extensions.
_FORMULAS = frozenset(
    {
        "f",
        "formula",
        "formula1",
        "formula2",
        "definedName",
        "calculatedColumnFormula",
        "totalsRowFormula",
    }
)
_OURS = re.compile(rb"%b[._]" % NAMESPACE.encode(), re.IGNORECASE)
_TAG_END = re.compile(rb"""(?:[^<>"']|"[^"]*"|'[^']*')*>""")


def respell(data: bytes, file: str, spreadsheet: str) -> tuple[bytes, int]:
    """Build a copy of a workbook in which our functions are spelled for one spreadsheet.

    Parameters
    ----------
    data : bytes
        The workbook.
    file : text
        Its name, for messages.
    spreadsheet : text
        A key of `PREFIXES`.

    Returns
    -------
    bytes, int
        The copy, and how many formulas are spelled anew; with 0 it is the source itself.

    Raises
    ------
    WorkbookError
        If the workbook cannot be read.
    """
    package = open_package(data, file)
    names = {*REGISTRY, STATUS}
    replaced: dict[str, bytes] = {}
    count = 0
    for member in package.members:
        if not (member.filename.startswith("xl/") and member.filename.endswith(".xml")):
            continue
        xml = package.part(member.filename)
        if _OURS.search(xml) is None:
            continue
        reader = _Reader(xml, lambda formula: respelled(formula, NAMESPACE, names, PREFIXES[spreadsheet]))
        try:
            edits = reader.edits()
        except (expat.ExpatError, ValueError):
            raise WorkbookError(
                f"its part {member.filename} cannot be read",
                file=file,
                allowed="a workbook that opens in a spreadsheet program; save it there again as .xlsx",
            ) from None
        if edits:
            replaced[member.filename] = splice(xml, edits)
            count += len(edits)
    return (package.rewritten(replaced), count) if replaced else (data, 0)


@dataclass(slots=True)
class _Reader:
    """Finds formulas in a part, and the bytes that they take."""

    xml: bytes
    respell: Callable[[str], str]
    found: list[tuple[int, int, bytes]] = field(default_factory=list)
    text: list[str] = field(default_factory=list)
    start: int = 0
    parser: expat.XMLParserType = field(init=False)

    def edits(self) -> list[tuple[int, int, bytes]]:
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._begin
        self.parser.EndElementHandler = self._finish
        self.parser.StartDoctypeDeclHandler = self._refuse
        self.parser.XmlDeclHandler = self._declared
        self.parser.Parse(self.xml, True)
        return self.found

    def _refuse(self, *_: object) -> None:
        raise ValueError("a document type")

    def _declared(self, _version: str, encoding: str | None, _standalone: int) -> None:
        if (encoding or "utf-8").lower() not in ("utf-8", "us-ascii"):
            raise ValueError("another encoding")

    def _begin(self, name: str, _attributes: object) -> None:
        self.text = []
        local = name.rpartition(":")[2] in _FORMULAS
        self.parser.CharacterDataHandler = self.text.append if local else None
        if local:
            tag = _TAG_END.match(self.xml, self.parser.CurrentByteIndex + 1)
            self.start = tag.end() if tag else 0

    def _finish(self, _name: str) -> None:
        self.parser.CharacterDataHandler = None
        formula = "".join(self.text)
        self.text = []
        new = self.respell(formula) if formula else formula
        if new != formula and self.start:
            self.found.append((self.start, self.parser.CurrentByteIndex, escape(new).encode()))
