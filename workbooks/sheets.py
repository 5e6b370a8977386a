"""One sheet of a workbook as bytes: where its formula cells are, and how to change only their values.

An XML library that writes a sheet back changes bytes it should not know about.
Here expat, the parser of the standard library, only finds places; the bytes
between them are copied as they are.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from xml.parsers import expat
from xml.sax.saxutils import escape

from dampcell.functions.registry import CellError
from dampcell.workbooks.results import CellValue

__all__ = [
    "Area",
    "CellSpan",
    "FormulaSpan",
    "SheetScan",
    "Span",
    "UnreadableSheet",
    "address",
    "area",
    "formula_edit",
    "position",
    "scan",
    "splice",
    "value_edit",
]

Span = tuple[int, int]
"""First byte and the byte after the last."""

Area = tuple[int, int, int, int]
"""First row, first column, last row, last column; counted from 1."""

Edit = tuple[int, int, bytes]

MAXIMUM_ROWS, MAXIMUM_COLUMNS = 1_048_576, 16_384
_MOST_ELEMENTS = 1_500_000
"""Rows, cells and their contents over which a sheet is not read: some seconds of work."""

FILE_ERRORS = frozenset({"#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"})

_START_TAG = re.compile(rb"""<[^<>"']*(?:"[^"]*"[^<>"']*|'[^']*'[^<>"']*)*>""")
_ATTRIBUTE = re.compile(rb"""\s+([\w.:-]+)\s*=\s*(?:"[^"]*"|'[^']*')""")
_ADDRESS = re.compile(r"\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6})")
_NOT_XML = re.compile("[\x00-\x08\x0b-\x1f\ud800-\udfff\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")


class UnreadableSheet(Exception):  # noqa: N818 - never shown: the package turns it into a WorkbookError
    """The sheet is no well-formed XML of a kind that may be trusted."""


@dataclass(frozen=True, slots=True)
class FormulaSpan:
    """The formula element of a cell."""

    text: str
    kind: str
    area: Area | None
    shared_index: str | None
    span: Span


@dataclass(frozen=True, slots=True)
class CellSpan:
    """A cell with a formula, or within the area of an array formula.

    ``value_span`` covers the whole value element, or is None where there is
    none; ``anchor`` is the address of the array formula a cell belongs to.
    """

    row: int
    column: int
    kind: str
    dynamic: bool
    span: Span
    tag_end: int
    formula: FormulaSpan | None
    value_span: Span | None
    saved: str | None
    anchor: tuple[int, int] | None

    @property
    def address(self) -> str:
        """Address such as ``C7``."""
        return address(self.row, self.column)


@dataclass(frozen=True, slots=True)
class SheetScan:
    """What `scan` finds in a sheet.

    Parameters
    ----------
    xml : bytes
        The sheet part itself.
    cells : tuple of CellSpan
        Formula cells and cells of array formulas, in the order of the sheet.
    errors : mapping
        Error codes that are saved in cells, by row and column.
    extent : tuple of int
        Last row and last column that hold anything, 0 in an empty sheet.
    """

    xml: bytes = field(repr=False)
    cells: tuple[CellSpan, ...]
    errors: Mapping[tuple[int, int], str]
    extent: tuple[int, int]


def address(row: int, column: int) -> str:
    """Write row and column, counted from 1, as a cell address.

    Examples
    --------
    >>> address(7, 28)
    'AB7'
    """
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{row}"


@functools.lru_cache(maxsize=1 << 16)
def position(cell: str) -> tuple[int, int] | None:
    """Read a cell address; None if it is none.

    Examples
    --------
    >>> position("$AB$7")
    (7, 28)
    """
    found = _ADDRESS.fullmatch(cell)
    if found is None:
        return None
    column = 0
    for letter in found[1].upper():
        column = column * 26 + ord(letter) - ord("A") + 1
    row = int(found[2])
    return (row, column) if row <= MAXIMUM_ROWS and column <= MAXIMUM_COLUMNS else None


def area(reference: str) -> Area | None:
    """Read a cell or range address; None if it is none.

    Examples
    --------
    >>> area("B2:C5")
    (2, 2, 5, 3)
    """
    first, _, last = reference.partition(":")
    start, end = position(first), position(last or first)
    return None if start is None or end is None or end < start else (*start, *end)


def scan(xml: bytes) -> SheetScan:
    """Find every formula cell of a sheet, and every cell of an array formula, and saved errors.

    Parameters
    ----------
    xml : bytes
        The sheet part, UTF-8.

    Returns
    -------
    SheetScan

    Raises
    ------
    UnreadableSheet
        If the XML is broken, in another encoding, or has a document type; if a row or a cell has a
        place that no sheet has, or there are too many of them.
    """
    reader = _Reader(xml)
    parser = expat.ParserCreate()
    parser.buffer_text = True
    reader.parser = parser
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.StartDoctypeDeclHandler = reader.refuse_doctype
    parser.XmlDeclHandler = reader.declaration
    try:
        parser.Parse(xml, True)
    except expat.ExpatError as error:
        raise UnreadableSheet(f"line {error.lineno}") from None
    except ValueError:
        raise UnreadableSheet("unknown encoding") from None
    return SheetScan(xml, tuple(reader.cells), reader.errors, (reader.last_row, reader.last_column))


@dataclass(slots=True)
class _Reader:
    xml: bytes
    cells: list[CellSpan] = field(default_factory=list)
    parser: expat.XMLParserType = field(init=False)
    arrays: list[Area] = field(default_factory=list)
    row: int = 0
    column: int = 0
    depth: int = 0
    elements: int = 0
    cell_depth: int = 0
    cell: tuple[int, dict[str, str]] = field(default_factory=lambda: (0, {}))
    opened: tuple[int, int, dict[str, str]] = field(default_factory=lambda: (0, 0, {}))
    formula: FormulaSpan | None = None
    value: Span | None = None
    saved: str | None = None
    text: list[str] = field(default_factory=list)
    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    last_row: int = 0
    last_column: int = 0

    def refuse_doctype(self, *_: object) -> None:
        raise UnreadableSheet("has a document type")

    def declaration(self, _version: str, encoding: str | None, _standalone: int) -> None:
        if (encoding or "utf-8").lower() not in ("utf-8", "us-ascii"):
            raise UnreadableSheet(f"encoding {encoding}")

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        self.elements += 1
        if self.elements > _MOST_ELEMENTS:
            raise UnreadableSheet("too many rows and cells; clear or delete those that nobody needs")
        local = name.rpartition(":")[2]
        if local == "c":
            self._start_cell(attributes)
        elif local == "row":
            self.row = self._row_number(attributes.get("r"))
            self.column = 0
        elif self.cell_depth and self.depth == self.cell_depth + 1 and local in ("f", "v", "is"):
            self.opened = (self.parser.CurrentByteIndex, self.depth, attributes)
            self.text = []
            self.parser.CharacterDataHandler = self.text.append

    def _row_number(self, given: str | None) -> int:
        if given is None:
            return self.row + 1
        number = int(given) if given.isascii() and given.isdigit() and len(given) < 8 else 0
        if not 0 < number <= MAXIMUM_ROWS:
            raise UnreadableSheet(f'a row with the number "{_short(given)}"')
        return number

    def _start_cell(self, attributes: dict[str, str]) -> None:
        given = attributes.get("r")
        place = (self.row, self.column + 1) if given is None else position(given)
        # Another reader may make more of such an address, and lay out all cells up to there.
        if place is None:
            raise UnreadableSheet(f'a cell with the address "{_short(given or "")}"')
        self.row, self.column = place
        self.cell_depth = self.depth
        self.cell = (self.parser.CurrentByteIndex, attributes)
        self.formula = self.value = self.saved = None

    def end(self, name: str) -> None:
        local = name.rpartition(":")[2]
        if local == "c" and self.depth == self.cell_depth:
            self._end_cell()
            self.cell_depth = 0
        elif self.cell_depth and self.depth == self.opened[1] and local in ("f", "v", "is"):
            self.parser.CharacterDataHandler = None
            start, _, attributes = self.opened
            text = "".join(self.text)
            span = (start, self._element_end(start, not text))
            if local == "f":
                self.formula = FormulaSpan(
                    text,
                    attributes.get("t", "normal"),
                    area(attributes.get("ref", "")),
                    attributes.get("si"),
                    span,
                )
            else:
                self.value, self.saved = span, text
            self.opened = (0, 0, {})
        self.depth -= 1

    def _end_cell(self) -> None:
        formula = self.formula
        if formula is not None and formula.kind == "array" and formula.area:
            self.arrays.append(formula.area)
        anchor = self._anchor() if self.arrays else None
        start, attributes = self.cell
        if self.value is not None or formula is not None:
            self.last_row = max(self.last_row, self.row)
            self.last_column = max(self.last_column, self.column)
            if self.saved is not None and attributes.get("t") == "e":
                self.errors[self.row, self.column] = self.saved
        if formula is None and anchor is None:
            return
        span = (start, self._element_end(start, formula is None and self.value is None))
        self.cells.append(
            CellSpan(
                row=self.row,
                column=self.column,
                kind=attributes.get("t", "n"),
                dynamic="cm" in attributes,
                span=span,
                tag_end=self._tag_end(start),
                formula=formula,
                value_span=self.value,
                saved=self.saved,
                anchor=anchor,
            )
        )

    def _anchor(self) -> tuple[int, int] | None:
        if self.arrays[0][2] < self.row:
            self.arrays = [array for array in self.arrays if array[2] >= self.row]
        for top, left, bottom, right in self.arrays:
            if top <= self.row <= bottom and left <= self.column <= right:
                return top, left
        return None

    def _tag_end(self, start: int) -> int:
        found = _START_TAG.match(self.xml, start)
        if found is None:
            raise UnreadableSheet("a start tag without its end")
        return found.end()

    def _element_end(self, start: int, empty: bool) -> int:
        """Byte after the element that ends here; one without content may be written as a single tag."""
        if empty:
            tag_end = self._tag_end(start)
            if self.xml[tag_end - 2 : tag_end] == b"/>":
                return tag_end
        return self.xml.index(b">", self.parser.CurrentByteIndex) + 1


def _short(text: str) -> str:
    return text if len(text) <= 20 else f"{text[:20]}…"


def splice(xml: bytes, edits: Iterable[Edit]) -> bytes:
    """Replace spans of bytes; all others stay as they are.

    Parameters
    ----------
    xml : bytes
        The whole part.
    edits : iterable of (start, end, replacement)
        Spans that do not overlap, in any order.

    Returns
    -------
    bytes
    """
    pieces: list[bytes] = []
    done = 0
    for start, end, replacement in sorted(edits, key=lambda edit: edit[:2]):
        pieces += (xml[done:start], replacement)
        done = end
    pieces.append(xml[done:])
    return b"".join(pieces)


def formula_edit(xml: bytes, cell: CellSpan, text: str | None) -> Edit:
    """Give the edit that puts another formula into a cell; None drops the whole cell.

    An array formula becomes an ordinary one, and so does a shared formula.
    """
    if text is None:
        return (*cell.span, b"")
    assert cell.formula is not None
    start, end = cell.formula.span
    prefix = _prefix(xml, cell)
    return start, end, b"<" + prefix + b"f>" + escape(text).encode() + b"</" + prefix + b"f>"


def value_edit(xml: bytes, cell: CellSpan, value: CellValue) -> list[Edit]:
    """Give the edits that put a value into a cell: its value element and, if need be, its type.

    Parameters
    ----------
    xml : bytes
        The whole part.
    cell : CellSpan
        The cell, as `scan` found it.
    value : number, text, bool, CellError or None
        New value; None empties the cell.

    Returns
    -------
    list of edits
        Empty when the cell shows this value already.
    """
    kind, text = _stored(value)
    if _shows(cell, kind, text):
        return []
    prefix = _prefix(xml, cell)
    opening = b' xml:space="preserve"' if kind == "str" and text != text.strip() else b""
    element = b"<" + prefix + b"v" + opening + b">" + _escaped(text) + b"</" + prefix + b"v>"
    start, tag_end = cell.span[0], cell.tag_end
    tag = xml[start:tag_end]
    retyped = _retyped(tag, "n" if text == "" and value is None else kind)
    edits: list[Edit] = []
    if tag.endswith(b"/>"):
        return [(start, tag_end, retyped[:-2].rstrip() + b">" + element + b"</" + prefix + b"c>")]
    if retyped != tag:
        edits.append((start, tag_end, retyped))
    if cell.value_span is not None:
        edits.append((*cell.value_span, element))
    else:
        after = cell.formula.span[1] if cell.formula else tag_end
        edits.append((after, after, element))
    return edits


def _stored(value: CellValue) -> tuple[str, str]:
    if value is None:
        return "n", ""
    if isinstance(value, CellError):
        # Codes of newer programs are not in the file format: they stand there as #VALUE!.
        return "e", value.code if value.code in FILE_ERRORS else "#VALUE!"
    if isinstance(value, bool):
        return "b", "1" if value else "0"
    if isinstance(value, str):
        return "str", value
    number = repr(value + 0.0 if value else 0.0)
    return "n", number.removesuffix(".0")


def _shows(cell: CellSpan, kind: str, text: str) -> bool:
    if cell.kind != kind:
        return False
    if cell.saved is None or cell.saved == text:
        return cell.saved == text or (text == "" and kind == "n")
    if kind != "n":
        return False
    try:
        return float(cell.saved) == float(text)
    except ValueError:
        return False


def _retyped(tag: bytes, kind: str) -> bytes:
    found = next((match for match in _ATTRIBUTE.finditer(tag) if match[1] == b"t"), None)
    if found is None:
        if kind == "n":
            return tag
        end = len(tag) - (2 if tag.endswith(b"/>") else 1)
        return tag[:end].rstrip() + b' t="' + kind.encode() + b'"' + tag[end:]
    old = found[0].split(b"=", 1)[1].strip()[1:-1].decode()
    if old == kind:
        return tag
    new = b"" if kind == "n" else b' t="' + kind.encode() + b'"'
    return tag[: found.start()] + new + tag[found.end() :]


def _prefix(xml: bytes, cell: CellSpan) -> bytes:
    name = xml[cell.span[0] + 1 : cell.tag_end].split(None, 1)[0].rstrip(b"/>")
    return name[: -len(b"c")]


def _escaped(text: str) -> bytes:
    def coded(found: re.Match[str]) -> str:
        number = ord(found[0])
        return "\ufffd" if 0xD800 <= number < 0xE000 else f"_x{number:04X}_"

    return escape(_NOT_XML.sub(coded, text)).encode()


def edits_for(xml: bytes, cells: Sequence[CellSpan], values: Sequence[CellValue]) -> list[Edit]:
    """Collect the edits for many cells."""
    return [edit for cell, value in zip(cells, values, strict=True) for edit in value_edit(xml, cell, value)]
