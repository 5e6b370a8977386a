"""One small sound job as the parts of its package, and what is done to parts again and again."""

from __future__ import annotations

import functools
import io
import random
import re
import zipfile
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape

import openpyxl
from openpyxl.workbook.defined_name import DefinedName
from tests.light_job import LIGHT_JOB

OWN = "xl/worksheets/sheet10.xml"
"""Part of the sheet of formulas that a user added."""

BOOK, RELATIONS, TYPES = "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml"
TEXTS, STYLES = "xl/sharedStrings.xml", "xl/styles.xml"
_THE_DATE = (2025, 3, 4, 5, 6, 8)
_BLANKED = ("stack_a", "stack_b", "stack_c", "stack_d", "valve")
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"

Parts = dict[str, bytes]


@functools.cache
def sound_parts() -> Mapping[str, bytes]:
    """Parts of a job with all its names and inputs but one cheap stack only, and a sheet of a user's own."""
    full = openpyxl.load_workbook(io.BytesIO(LIGHT_JOB), data_only=True)
    plain = openpyxl.Workbook()
    plain.remove(plain.worksheets[0])
    for name in _BLANKED:
        title, _, cells = str(full.defined_names[name].attr_text).rpartition("!")
        for row in full[title.strip("'")][cells.replace("$", "")]:
            for cell in row:
                cell.value = None
    for sheet in full.worksheets:
        if sheet.title == "Help":
            continue
        copy = plain.create_sheet(sheet.title)
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value is not None:
                    copy[cell.coordinate] = cell.value
    for name, defined in full.defined_names.items():
        plain.defined_names[name] = DefinedName(name, attr_text=defined.attr_text)
    own = plain.create_sheet("Own")
    for row_number in range(1, 9):
        own.cell(row_number, 1, row_number * 0.5)
        own.cell(row_number, 2, f"=SUM(A$1:A{row_number})")
    own["C1"], own["D1"] = "=DAMP.OIL_VISCOSITY(15,3,40)", "=stiffness_as_found*2"
    output = io.BytesIO()
    plain.save(output)
    with zipfile.ZipFile(output) as archive:
        parts = {name: archive.read(name) for name in archive.namelist() if not name.startswith("docProps")}
    return _with_shared_texts(parts)


def _with_shared_texts(parts: Parts) -> Parts:
    """Put the texts of the cells into a table of shared texts, as most programs do."""
    texts: dict[bytes, int] = {}

    def shared(found: re.Match[bytes]) -> bytes:
        return b't="s"><v>%d</v></c>' % texts.setdefault(found[1], len(texts))

    for name in [name for name in parts if name.startswith("xl/worksheets/")]:
        parts[name] = re.sub(rb't="inlineStr"><is>(.*?)</is></c>', shared, parts[name], flags=re.DOTALL)
    parts[TEXTS] = (
        f'<sst xmlns="{MAIN}">'.encode() + b"".join(b"<si>%s</si>" % text for text in texts) + b"</sst>"
    )
    if b"sharedStrings" not in parts[RELATIONS]:
        add_relation(parts, "sharedStrings", "sharedStrings.xml")
        add_type(
            parts, TEXTS, "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
        )
    return parts


def packed(parts: Mapping[str, bytes], more: Sequence[tuple[str, bytes]] = ()) -> bytes:
    """Pack parts into a sound zip archive, always with the same bytes.

    Parameters
    ----------
    parts : mapping
        Content by name.
    more : sequence of name and content
        Further parts, whose names may be there already.
    """
    output = io.BytesIO()
    with zipfile.ZipFile(output, "w") as archive:
        for name, data in (*parts.items(), *more):
            entry = zipfile.ZipInfo(name, _THE_DATE)
            # A warning of the library about a name that stands twice is what is wanted here.
            archive.NameToInfo.pop(name, None)
            archive.writestr(entry, data, zipfile.ZIP_DEFLATED, compresslevel=1)
    return output.getvalue()


def with_formulas(*formulas: str, kind: str = "") -> bytes:
    """Pack the sound job with other formulas on the user's own sheet; ``kind`` are attributes of theirs."""
    cells = "".join(
        f'<row r="{row}"><c r="F{row}"><f{kind}>{escape(formula)}</f><v>1</v></c></row>'
        for row, formula in enumerate(formulas, start=1)
    )
    return packed(with_own_rows(cells.encode()))


def fresh() -> Parts:
    return dict(sound_parts())


def with_own_rows(rows: bytes) -> Parts:
    parts = fresh()
    before, _, rest = parts[OWN].partition(b"<sheetData>")
    parts[OWN] = before + b"<sheetData>" + rows + b"</sheetData>" + rest.partition(b"</sheetData>")[2]
    return parts


def add_relation(parts: Parts, kind: str, target: str, mode: str = "") -> None:
    entry = f'<Relationship Id="more{kind}" Type="{OFFICE}/{kind}" Target="{target}"{mode}/></Relationships>'
    parts[RELATIONS] = parts[RELATIONS].replace(b"</Relationships>", entry.encode())


def add_type(parts: Parts, part: str, content: str) -> None:
    entry = f'<Override PartName="/{part}" ContentType="{content}"/></Types>'
    parts[TYPES] = parts[TYPES].replace(b"</Types>", entry.encode())


def chosen_part(chance: random.Random) -> str:
    """Name of a part, those with names and formulas more often than the others."""
    return chance.choice([*sound_parts(), BOOK, BOOK, OWN, OWN, OWN, TEXTS, RELATIONS])


def with_replaced(parts: Parts, name: str, old: bytes, new: bytes) -> Parts:
    parts[name] = parts[name].replace(old, new)
    return parts


def add_name(parts: Parts, name: str, target: str, more: str = "") -> None:
    entry = f'<definedName name="{escape(name)}"{more}>{escape(target)}</definedName></definedNames>'
    parts[BOOK] = parts[BOOK].replace(b"</definedNames>", entry.encode())


def rename(parts: Parts, name: str, target: str) -> None:
    pattern = rf'(<definedName name="{re.escape(name)}"[^>]*>)[^<]*'.encode()
    parts[BOOK] = re.sub(pattern, lambda found: found[1] + escape(target).encode(), parts[BOOK])
