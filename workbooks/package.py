"""A workbook as it lies on the disk: a zip package of parts, read safely and never saved over.

Opening checks what the file is and how large it would unpack before anything is
read. A refreshed copy has the same parts, byte for byte, but for the values of
formula cells.
"""

from __future__ import annotations

import io
import os
import posixpath
import re
import stat
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree

from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import CellError
from dampcell.workbooks.results import CellValue, Recalculated
from dampcell.workbooks.sheets import (
    Area,
    CellSpan,
    SheetScan,
    UnreadableSheet,
    area,
    edits_for,
    scan,
    splice,
)

__all__ = [
    "LIMITS",
    "DefinedName",
    "Limits",
    "Package",
    "Sheet",
    "Table",
    "lock_beside",
    "open_package",
    "read_file",
    "refreshed",
]


@dataclass(frozen=True, slots=True)
class Limits:
    """How large a workbook may be: file, unpacked in all, and one part [byte]; number of parts.

    ``structure`` is for a part that tells how the others belong together [byte], and
    ``texts`` for the number of shared texts that a workbook announces.
    """

    file: int = 32 * 2**20
    unpacked: int = 160 * 2**20
    part: int = 48 * 2**20
    parts: int = 2000
    structure: int = 4 * 2**20
    texts: int = 2_000_000


LIMITS = Limits()
"""Far above any workshop's workbook, far below what harms a small computer."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A worksheet: its name, its part in the package, and the parts of its tables."""

    name: str
    part: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table of a sheet, to which formulas may refer by name and column."""

    name: str
    sheet: str
    area: Area
    columns: tuple[str, ...]
    header_rows: int
    total_rows: int


@dataclass(frozen=True, slots=True)
class DefinedName:
    """A defined name and what it refers to; ``sheet`` is None for the whole workbook."""

    name: str
    refers_to: str
    sheet: str | None


@dataclass(frozen=True, slots=True)
class Package:
    """An opened workbook package; see `open_package`."""

    file: str
    data: bytes = field(repr=False)
    members: tuple[zipfile.ZipInfo, ...] = field(repr=False)
    sheets: tuple[Sheet, ...]
    tables: tuple[Table, ...]
    names: tuple[DefinedName, ...]
    date1904: bool
    strings_part: str
    _scans: dict[str, SheetScan] = field(default_factory=dict, repr=False, compare=False)
    _strings: list[str] = field(default_factory=list, repr=False, compare=False)

    @property
    def public_names(self) -> dict[str, str]:
        """Defined names of the whole workbook, and what they refer to."""
        return {defined.name: defined.refers_to for defined in self.names if defined.sheet is None}

    def part(self, name: str) -> bytes:
        """Read one part.

        Raises
        ------
        WorkbookError
            If it is not there or damaged.
        """
        with zipfile.ZipFile(io.BytesIO(self.data)) as archive:
            return _read(archive, name, self.file)

    def scan(self, sheet: Sheet) -> SheetScan:
        """Find formula cells, saved errors and extent of a sheet, once; see `dampcell.workbooks.sheets.scan`.

        Raises
        ------
        WorkbookError
            If the sheet cannot be read.
        """
        if sheet.part not in self._scans:
            try:
                self._scans[sheet.part] = scan(self.part(sheet.part))
            except UnreadableSheet as error:
                raise WorkbookError(
                    f"the sheet cannot be read ({error})",
                    file=self.file,
                    sheet=sheet.name,
                    allowed=_SAVE_AGAIN,
                ) from None
        return self._scans[sheet.part]

    def saved(self, cell: CellSpan) -> CellValue:
        """Return the value that was saved in a cell; None if there was none.

        Raises
        ------
        WorkbookError
            If the table of shared texts is damaged.
        """
        text = cell.saved
        if text is None:
            return None
        if cell.kind == "e":
            return CellError(text)
        if cell.kind == "b":
            return text.strip() in ("1", "true")
        if cell.kind in ("str", "inlineStr"):
            return text
        if cell.kind == "s":
            texts = self._shared_texts()
            known = text.isascii() and text.isdigit() and int(text) < len(texts)
            return texts[int(text)] if known else None
        try:
            return float(text)
        except ValueError:
            return None

    def rewritten(self, parts: Mapping[str, bytes], *, compressed: bool = True) -> bytes:
        """Build the package again with some parts replaced, all else in the same order and of the same date.

        Parameters
        ----------
        parts : mapping
            New content by name of the part.
        compressed : bool
            False stores all parts as they are, for a reader in the same process.

        Returns
        -------
        bytes
        """
        output = io.BytesIO()
        with (
            zipfile.ZipFile(io.BytesIO(self.data)) as source,
            zipfile.ZipFile(output, "w", strict_timestamps=False) as target,
        ):
            for member in self.members:
                content = parts.get(member.filename)
                if content is None:
                    content = _read(source, member.filename, self.file)
                target.writestr(_like(member, compressed), content)
            target.comment = source.comment
        return output.getvalue()

    def _shared_texts(self) -> Sequence[str]:
        if not self._strings and self.strings_part:
            root = _parse(self.part(self.strings_part), self.file, LIMITS.part)
            self._strings.extend("".join(_texts(entry)) for entry in root if _local(entry) == "si")
        return self._strings


def read_file(path: Path, *, while_open: bool = False) -> bytes:
    """Read the bytes of a workbook that no other program holds open.

    Parameters
    ----------
    path : Path
        The workbook.
    while_open : bool
        Whether it may be read as it was last saved while another program holds it open.

    Returns
    -------
    bytes

    Raises
    ------
    WorkbookError
        If it is not there, cannot be read, is too large, or a lock file beside
        it says that another program holds it open.
    """
    lock = None if while_open else lock_beside(path)
    if lock is not None:
        raise WorkbookError(
            f"is open in another program (its lock file {lock.name} lies beside it)",
            file=path.name,
            allowed="a workbook that is saved and closed; if no program has it open, delete that lock file",
        )
    try:
        about = path.stat()
        # Reading from a pipe would wait for ever for somebody to write into it.
        if not stat.S_ISREG(about.st_mode) and not stat.S_ISDIR(about.st_mode):
            raise WorkbookError("is no ordinary file", file=path.name, allowed="a workbook (.xlsx or .xlsm)")
        if about.st_size > LIMITS.file:
            raise _too_large(path.name)
        return path.read_bytes()
    except FileNotFoundError:
        raise WorkbookError(
            "there is no such file", file=path.name, allowed="a workbook (.xlsx or .xlsm)"
        ) from None
    except OSError as error:
        raise WorkbookError(
            f"cannot be read: {error.strerror or type(error).__name__}",
            file=path.name,
            allowed="a file that you may read and that no other program holds open",
        ) from None


def lock_beside(path: Path) -> Path | None:
    """Return the lock file that a spreadsheet program keeps beside an open workbook, if there is one."""
    beside = (path.with_name(f"~${path.name}"), path.with_name(f".~lock.{path.name}#"))
    # Not Path.exists, which gives up on a name that is too long with its additions.
    return next((lock for lock in beside if os.path.exists(lock)), None)


def open_package(data: bytes, file: str) -> Package:
    """Open a workbook from its bytes.

    Parameters
    ----------
    data : bytes
        The whole file.
    file : text
        Its name, for messages.

    Returns
    -------
    Package

    Raises
    ------
    WorkbookError
        If it is no .xlsx or .xlsm workbook, protected by a password, damaged,
        or larger than `LIMITS` allows.
    """
    _check_kind(data, file)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = tuple(archive.infolist())
            _check_members(members, file)
            return _structure(archive, data, members, file)
    except (zipfile.BadZipFile, NotImplementedError, ValueError, EOFError, OSError, OverflowError):
        raise _damaged(file) from None


def refreshed(package: Package, recalculated: Recalculated) -> bytes:
    """Build a copy of a workbook in which only the values of formula cells are new.

    Parameters
    ----------
    package : Package
        The workbook.
    recalculated : Recalculated
        Results of the same workbook.

    Returns
    -------
    bytes
        A package whose other parts, and whose other bytes within the sheets,
        are those of the source; the source itself if no value changed.

    Raises
    ------
    WorkbookError
        If the workbook cannot be read.
    """
    replaced: dict[str, bytes] = {}
    for sheet in package.sheets:
        scanned = package.scan(sheet)
        found = [
            (cell, result)
            for cell in scanned.cells
            if (result := recalculated.cells.get((sheet.name, cell.address))) is not None
        ]
        edits = edits_for(scanned.xml, [cell for cell, _ in found], [result.value for _, result in found])
        if edits:
            replaced[sheet.part] = splice(scanned.xml, edits)
    return package.rewritten(replaced) if replaced else package.data


_SAVE_AGAIN = "a workbook that opens in a spreadsheet program; open it there and save it again as .xlsx"
_OLE, _ZIP = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"PK\x03\x04"
_OFFICE_DOCUMENT = "/relationships/officeDocument"
_HEAD = 4096
_TEXTS = re.compile(rb"<(?:[\w.-]+:)?sst\b[^>]*>")
_COUNT = re.compile(rb"""\b(?:unique)?[cC]ount\s*=\s*["']\s*\+?0*([0-9]+)""")


def _damaged(file: str) -> WorkbookError:
    return WorkbookError(
        "is damaged or cut short",
        file=file,
        allowed=f"a whole file (copy it again from its source), or {_SAVE_AGAIN}",
    )


def _too_large(file: str) -> WorkbookError:
    return WorkbookError(
        "is too large, or unpacks to far more than a workbook would",
        file=file,
        allowed=f"up to {LIMITS.file // 2**20} MB, and {LIMITS.unpacked // 2**20} MB unpacked",
    )


def _no_workbook(file: str, what: str) -> WorkbookError:
    return WorkbookError(what, file=file, allowed=".xlsx or .xlsm; save it as .xlsx in a spreadsheet program")


def _check_kind(data: bytes, file: str) -> None:
    if not data:
        raise _no_workbook(file, "is empty")
    if len(data) > LIMITS.file:
        raise _too_large(file)
    if data.startswith(_OLE):
        # Names of streams in a compound file are UTF-16: a protected workbook lies in one of this name.
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise WorkbookError(
                "is protected by a password", file=file, allowed="a copy saved without a password for opening"
            )
        raise _no_workbook(file, "is in the old .xls format")
    if not data.startswith(_ZIP):
        raise _no_workbook(file, "is no workbook")


def _check_members(members: Sequence[zipfile.ZipInfo], file: str) -> None:
    names = {member.filename for member in members}
    if len(names) != len(members):
        raise _damaged(file)
    if any(member.flag_bits & 0x1 for member in members):
        raise WorkbookError(
            "is protected by a password", file=file, allowed="a copy saved without a password for opening"
        )
    sizes = [member.file_size for member in members]
    if len(members) > LIMITS.parts or sum(sizes) > LIMITS.unpacked or max(sizes, default=0) > LIMITS.part:
        raise _too_large(file)
    if any(member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) for member in members):
        raise _damaged(file)
    if "mimetype" in names:
        raise _no_workbook(file, "is an OpenDocument file")
    if "[Content_Types].xml" not in names or "_rels/.rels" not in names:
        raise _no_workbook(file, "is a zip archive, but no workbook")


def _structure(
    archive: zipfile.ZipFile, data: bytes, members: tuple[zipfile.ZipInfo, ...], file: str
) -> Package:
    names = {member.filename for member in members}
    main = next((r.target for r in _relations(archive, "", file) if r.kind.endswith(_OFFICE_DOCUMENT)), "")
    if main not in names or posixpath.basename(main) == "workbook.bin":
        what = "is a binary workbook" if main.endswith(".bin") else "is a zip archive, but no workbook"
        raise _no_workbook(file, what)
    root = _parse(_read(archive, main, file), file)
    if _local(root) != "workbook":
        raise _no_workbook(file, "is a document, but no workbook")
    targets = {relation.identifier: relation for relation in _relations(archive, main, file)}
    sheets: list[Sheet] = []
    titles: list[str] = []
    for entry in _below(root, "sheets", "sheet"):
        relation = targets.get(next((v for k, v in entry.attrib.items() if k.endswith("}id")), ""))
        titles.append(entry.get("name", ""))
        # Chart sheets hold no cells.
        if relation is not None and relation.kind.endswith("/worksheet"):
            if relation.target not in names:
                raise _damaged(file)
            sheets.append(Sheet(titles[-1], relation.target))
    if not sheets:
        raise WorkbookError("holds no worksheet", file=file, allowed=_SAVE_AGAIN)
    texts = next((r.target for r in targets.values() if r.kind.endswith("/sharedStrings")), "")
    _check_texts(archive, texts, file)
    properties = next((entry for entry in root if _local(entry) == "workbookPr"), None)
    date1904 = properties is not None and properties.get("date1904", "0") in ("1", "true")
    return Package(
        file=file,
        data=data,
        members=members,
        sheets=tuple(sheets),
        tables=tuple(table for sheet in sheets for table in _tables(archive, sheet, names, file)),
        names=tuple(_names(root, titles)),
        date1904=date1904,
        strings_part=texts,
    )


def _check_texts(archive: zipfile.ZipFile, part: str, file: str) -> None:
    """Refuse a table of shared texts that announces too many: readers make room for all of them."""
    if part not in archive.NameToInfo:
        return
    table = _TEXTS.search(_read(archive, part, file, _HEAD))
    if table is None:
        raise _damaged(file)
    for announced in _COUNT.findall(table[0]):
        if len(announced) > 9 or int(announced) > LIMITS.texts:
            raise _too_large(file)


def _names(root: ElementTree.Element, titles: Sequence[str]) -> Iterator[DefinedName]:
    for entry in _below(root, "definedNames", "definedName"):
        scope = entry.get("localSheetId", "")
        local = (
            titles[int(scope)] if scope.isascii() and scope.isdigit() and int(scope) < len(titles) else None
        )
        yield DefinedName(entry.get("name", ""), (entry.text or "").strip(), local)


def _tables(archive: zipfile.ZipFile, sheet: Sheet, names: set[str], file: str) -> Iterator[Table]:
    for relation in _relations(archive, sheet.part, file):
        if not relation.kind.endswith("/table") or relation.target not in names:
            continue
        root = _parse(_read(archive, relation.target, file), file)
        place = area(root.get("ref", ""))
        if place is not None:
            yield Table(
                name=root.get("displayName") or root.get("name") or "",
                sheet=sheet.name,
                area=place,
                columns=tuple(c.get("name", "") for c in _below(root, "tableColumns", "tableColumn")),
                header_rows=0 if root.get("headerRowCount") == "0" else 1,
                total_rows=1 if root.get("totalsRowCount", "0") != "0" else 0,
            )


@dataclass(frozen=True, slots=True)
class _Relation:
    identifier: str
    kind: str
    target: str


def _relations(archive: zipfile.ZipFile, part: str, file: str) -> list[_Relation]:
    folder, name = posixpath.split(part)
    relations = posixpath.join(folder, "_rels", f"{name}.rels")
    if relations not in archive.NameToInfo:
        return []
    return [
        _Relation(
            entry.get("Id", ""),
            entry.get("Type", ""),
            posixpath.normpath(posixpath.join("/", folder, entry.get("Target", ""))).lstrip("/"),
        )
        for entry in _parse(_read(archive, relations, file), file)
        if entry.get("TargetMode") != "External"
    ]


def _read(archive: zipfile.ZipFile, name: str, file: str, most: int | None = None) -> bytes:
    try:
        with archive.open(name) as part:
            # One byte more than announced, so that no more is unpacked of a part that holds more.
            return part.read(archive.getinfo(name).file_size + 1 if most is None else most)
    except (
        KeyError,
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        OSError,
        ValueError,
    ):
        raise _damaged(file) from None


def _parse(xml: bytes, file: str, most: int | None = None) -> ElementTree.Element:
    if len(xml) > (LIMITS.structure if most is None else most):
        raise _too_large(file)
    # A document type is the door to entities that blow up; no spreadsheet program writes one.
    if b"<!DOCTYPE" in xml:
        raise _damaged(file)
    try:
        return ElementTree.fromstring(xml)
    except (ElementTree.ParseError, ValueError, LookupError):
        raise _damaged(file) from None


def _local(entry: ElementTree.Element) -> str:
    return entry.tag.rpartition("}")[2]


def _below(root: ElementTree.Element, group: str, name: str) -> Iterator[ElementTree.Element]:
    for entry in root:
        if _local(entry) == group:
            yield from (child for child in entry if _local(child) == name)


def _texts(entry: ElementTree.Element) -> Iterator[str]:
    for child in entry:
        if _local(child) == "t":
            yield child.text or ""
        elif _local(child) == "r":
            yield from _texts(child)


def _like(member: zipfile.ZipInfo, compressed: bool) -> zipfile.ZipInfo:
    copy = zipfile.ZipInfo(member.filename, member.date_time)
    copy.compress_type = member.compress_type if compressed else zipfile.ZIP_STORED
    copy.comment, copy.extra = member.comment, member.extra
    copy.create_system, copy.create_version = member.create_system, member.create_version
    copy.external_attr, copy.internal_attr = member.external_attr, member.internal_attr
    return copy
