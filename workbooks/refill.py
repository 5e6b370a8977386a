"""New rows for a table of a saved workbook, every other byte of it as it was.

Only the part of the one sheet is changed, in the rows of the table, and the
workbook part if the table grows. A row that a person typed in stays where it is.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from xml.parsers import expat
from xml.sax.saxutils import escape

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks.package import Package, open_package
from dampcell.workbooks.sheets import Area, Edit, address, area, splice

__all__ = ["Cell", "named_area", "refilled"]

Cell = str | float | datetime.date | None
"""What a cell of a row may be given."""

_EPOCH_1900, _EPOCH_1904 = datetime.date(1899, 12, 30), datetime.date(1904, 1, 1)
_REFERENCE = re.compile(r"(?:'((?:[^']|'')+)'|([^'!]+))!(\$?[A-Z]{1,3}\$?\d+(?::\$?[A-Z]{1,3}\$?\d+)?)")
_RANGE = re.compile(r"(\$?[A-Z]{1,3}\$?)([0-9]+)(:\$?[A-Z]{1,3}\$?)([0-9]+)")
_NOT_XML = re.compile("[\x00-\x08\x0b-\x1f\ud800-\udfff\ufffe\uffff]")
_TAG = re.compile(rb"""<[^<>"']*(?:"[^"]*"[^<>"']*|'[^']*'[^<>"']*)*>""")
_LONGEST_TEXT = 32_767


def named_area(package: Package, name: str) -> tuple[str, Area] | None:
    """Find the cells of a defined name.

    Parameters
    ----------
    package : Package
        The workbook.
    name : text
        Workbook-level name, in any case.

    Returns
    -------
    tuple of sheet name and Area, or None
        None if there is no such name, or it points at no single range.
    """
    for defined in package.names:
        if defined.sheet is None and defined.name.casefold() == name.casefold():
            match = _REFERENCE.fullmatch(defined.refers_to.strip())
            corners = area(match[3]) if match else None
            if match is not None and corners is not None:
                return (match[1] or match[2]).replace("''", "'"), corners
    return None


def refilled(
    data: bytes,
    file: str,
    name: str,
    rows: Sequence[Sequence[Cell]],
    *,
    keep: Callable[[int], bool],
    spare: int = 0,
) -> bytes:
    """Put rows into a table, in place of those that are there.

    Parameters
    ----------
    data : bytes
        The workbook.
    file : text
        Its name, for messages.
    name : text
        Defined name of the table's cells, without its heads.
    rows : sequence of rows
        New content, one value for each column of the table.
    keep : callable
        Says of a row of the sheet, counted from 1, whether it stays as it is.
    spare : int
        Blank rows to leave below when the table has to grow.

    Returns
    -------
    bytes
        The workbook with the rows in the free rows of the table, in their order; free rows
        that are left over are blank.

    Raises
    ------
    WorkbookError
        If the name is missing, or the table cannot grow because something stands below it.
    """
    package = open_package(data, file)
    found = named_area(package, name)
    if found is None:
        raise WorkbookError(
            f'the cell name "{name}" is missing or points nowhere',
            file=file,
            allowed='a workbook that "dampcell new service_ledger" made',
        )
    title, (top, left, bottom, right) = found
    sheet = next((one for one in package.sheets if one.name == title), None)
    if sheet is None:
        raise WorkbookError(f'the sheet "{title}" is missing', file=file)
    xml = package.part(sheet.part)
    scanned = _scan(xml, file, title)
    free = [row for row in range(top, bottom + 1) if not keep(row)]
    missing = len(rows) - len(free)
    parts: dict[str, bytes] = {}
    last = bottom
    if missing > 0:
        last = bottom + missing + spare
        _check_below(scanned, (bottom + 1, left, last, right), file, title)
        free += range(bottom + 1, last + 1)
        main = _main_part(package)
        parts[main] = _grown_names(package.part(main), title, bottom, last)
    styles = scanned.styles(bottom, left, right)
    epoch = _EPOCH_1904 if package.date1904 else _EPOCH_1900
    filled: dict[int, Sequence[Cell]] = dict(zip(free, rows, strict=False))
    edits: list[Edit] = []
    for row in free:
        values = filled.get(row, [None] * (right - left + 1))
        edits += scanned.edits(row, left, values, styles, epoch)
    fresh = splice(xml, edits)
    parts[sheet.part] = _grown_rules(fresh, top, bottom, last) if last > bottom else fresh
    return package.rewritten(parts)


@dataclass(slots=True)
class _Row:
    start: int
    tag_end: int
    end: int = 0
    empty: bool = False
    cells: dict[int, tuple[int, int, str, bool]] = field(default_factory=dict)


@dataclass(slots=True)
class _Scan:
    """Where rows and cells of a sheet stand: start, end, style and whether there is content."""

    xml: bytes
    rows: dict[int, _Row]
    prefix: str
    data_end: int

    def styles(self, row: int, left: int, right: int) -> dict[int, str]:
        """Styles of the cells of a row, for rows that are new."""
        cells = self.rows[row].cells if row in self.rows else {}
        return {column: cells[column][2] for column in range(left, right + 1) if column in cells}

    def edits(
        self,
        number: int,
        left: int,
        values: Sequence[Cell],
        styles: Mapping[int, str],
        epoch: datetime.date,
    ) -> list[Edit]:
        """Edits that put values into a row; cells beside the table stay."""
        row = self.rows.get(number)
        known = row.cells if row is not None else {}
        written: list[Edit] = []
        for column, value in enumerate(values, start=left):
            place = known.get(column)
            style = place[2] if place is not None else styles.get(column, "")
            cell = _cell(self.prefix, address(number, column), style, value, epoch)
            if place is not None:
                written.append((place[0], place[1], cell))
                continue
            if row is None:
                written.append((0, 0, cell))
                continue
            after = min((known[other][0] for other in known if other > column), default=self._row_end(row))
            written.append((after, after, cell))
        if row is None:
            return [self._new_row(number, b"".join(cell for _, _, cell in written))]
        if row.empty:
            tag = self.xml[row.start : row.tag_end]
            inside = b"".join(cell for _, _, cell in written)
            return [(row.start, row.tag_end, tag[:-2].rstrip() + b">" + inside + self._closing("row"))]
        return _joined(written)

    def _new_row(self, number: int, inside: bytes) -> Edit:
        opening = f'<{self.prefix}row r="{number}">'.encode()
        made = opening + inside + self._closing("row")
        after = min((row.start for other, row in self.rows.items() if other > number), default=self.data_end)
        return after, after, made

    def _closing(self, name: str) -> bytes:
        return f"</{self.prefix}{name}>".encode()

    def _row_end(self, row: _Row) -> int:
        return row.end - len(self._closing("row"))


def _joined(edits: Sequence[Edit]) -> list[Edit]:
    """Insertions at one place become one, in the order in which they were made."""
    joined: dict[tuple[int, int], bytes] = {}
    for start, end, content in edits:
        joined[start, end] = joined.get((start, end), b"") + content
    return [(start, end, content) for (start, end), content in joined.items()]


def _scan(xml: bytes, file: str, sheet: str) -> _Scan:
    """Find the rows and cells of a sheet."""
    rows: dict[int, _Row] = {}
    open_row: list[_Row] = []
    open_cell: list[tuple[int, int, str]] = []
    content: list[bool] = [False]
    data: dict[str, int] = {}
    prefix = ""
    place = [0, 0]

    def tag_end(start: int) -> int:
        match = _TAG.match(xml, start)
        assert match is not None
        return match.end()

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal prefix
        at = parser.CurrentByteIndex
        before, _, local = name.rpartition(":")
        if local == "sheetData":
            prefix = f"{before}:" if before else ""
        elif local == "row":
            place[:] = [int(attributes.get("r") or place[0] + 1), 0]
            open_row[:] = [_Row(at, tag_end(at))]
            rows[place[0]] = open_row[0]
        elif local == "c" and open_row:
            corners = area(attributes.get("r", ""))
            place[1] = corners[1] if corners else place[1] + 1
            open_cell[:] = [(at, place[1], attributes.get("s", ""))]
            content[0] = False
        elif local in ("v", "f", "t") and open_cell:
            content[0] = True

    def end(name: str) -> None:
        local = name.rpartition(":")[2]
        at = parser.CurrentByteIndex
        if local == "c" and open_cell:
            begun, column, style = open_cell.pop()
            open_row[0].cells[column] = (
                begun,
                _element_end(xml, begun, at, tag_end(begun)),
                style,
                content[0],
            )
        elif local == "row" and open_row:
            row = open_row.pop()
            row.end = _element_end(xml, row.start, at, row.tag_end)
            row.empty = row.end == row.tag_end
        elif local == "sheetData":
            data["end"] = at

    parser = expat.ParserCreate()
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    try:
        parser.Parse(xml, True)
        found = data["end"]
        # A table has its heads at least, so a sheet without any row is not the one that is meant.
        assert rows
    except (expat.ExpatError, KeyError, ValueError, AssertionError):
        raise WorkbookError(
            "the sheet cannot be read",
            file=file,
            sheet=sheet,
            allowed="a workbook that opens in a spreadsheet program; save it there again as .xlsx",
        ) from None
    return _Scan(xml, rows, prefix, found)


def _element_end(xml: bytes, start: int, current: int, tag_end: int) -> int:
    """Byte after an element; one that is written as a single tag ends with it."""
    if xml[tag_end - 2 : tag_end] == b"/>":
        return tag_end
    return xml.index(b">", max(current, start)) + 1


def _cell(prefix: str, place: str, style: str, value: Cell, epoch: datetime.date) -> bytes:
    head = f'<{prefix}c r="{place}"' + (f' s="{style}"' if style else "")
    if value is None or value == "":
        return f"{head}/>".encode()
    if isinstance(value, str):
        # A text is a text even if it begins like a formula.
        text = escape(_NOT_XML.sub("\ufffd", value[:_LONGEST_TEXT]))
        return (
            f'{head} t="inlineStr"><{prefix}is><{prefix}t xml:space="preserve">{text}</{prefix}t>'
            f"</{prefix}is></{prefix}c>"
        ).encode()
    number = (value - epoch).days if isinstance(value, datetime.date) else value
    return f"{head}><{prefix}v>{repr(number).removesuffix('.0')}</{prefix}v></{prefix}c>".encode()


def _check_below(scanned: _Scan, below: Area, file: str, sheet: str) -> None:
    top, left, bottom, right = below
    for number in range(top, bottom + 1):
        row = scanned.rows.get(number)
        for column, (_, _, _, content) in (row.cells if row is not None else {}).items():
            if content and left <= column <= right:
                raise WorkbookError(
                    "the table cannot grow, because something stands below it",
                    file=file,
                    sheet=sheet,
                    cell=address(number, column),
                    allowed="free cells below the table; move what stands there to a sheet of its own",
                )


def _main_part(package: Package) -> str:
    """The part that holds the defined names: the one above the sheets."""
    folder = package.sheets[0].part.split("/")[0]
    return next(
        member.filename
        for member in package.members
        if member.filename.startswith(f"{folder}/workbook") and member.filename.endswith(".xml")
    )


def _grown_names(xml: bytes, sheet: str, bottom: int, last: int) -> bytes:
    """Let the names that end with the table's last row end with the new one: table, columns, print area."""
    quoted = sheet.replace("'", "''")
    starts = (f"{sheet}!", f"'{quoted}'!")

    def grown(match: re.Match[bytes]) -> bytes:
        text = match[2].decode()
        if not text.startswith(tuple(escape(start) for start in starts)):
            return match[0]
        return match[1] + _grown(text, bottom, last).encode() + match[3]

    return re.sub(rb"(<(?:\w+:)?definedName [^>]*>)([^<]*)(</)", grown, xml)


def _grown(text: str, bottom: int, last: int) -> str:
    def moved(match: re.Match[str]) -> str:
        end = int(match[4])
        # The print area ends a row below the table.
        return f"{match[1]}{match[2]}{match[3]}{end + last - bottom if end in (bottom, bottom + 1) else end}"

    return _RANGE.sub(moved, text)


def _grown_rules(xml: bytes, top: int, bottom: int, last: int) -> bytes:
    """Let validations of the table's columns reach the new rows too."""

    def grown(match: re.Match[bytes]) -> bytes:
        text = re.sub(rf"\b([A-Z]{{1,3}}{top}:[A-Z]{{1,3}}){bottom}\b", rf"\g<1>{last}", match[2].decode())
        return match[1] + text.encode() + match[3]

    return re.sub(rb'(<(?:\w+:)?dataValidation [^>]*sqref=")([^"]*)(")', grown, xml)
