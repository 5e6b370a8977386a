"""Damaged job workbooks by the thousand, made from one small sound one and a fixed seed.

Most damage is done inside the parts, which are then packed soundly: so it reaches what reads
the XML, and is not stopped by a checksum. Some is done to the zip container itself.
"""

from __future__ import annotations

import functools
import io
import random
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import openpyxl
from openpyxl.workbook.defined_name import DefinedName
from tests.light_job import LIGHT_JOB

__all__ = ["KINDS", "Damaged", "damaged_workbooks", "packed", "sound_parts", "with_formulas"]

SEED = 20_250_304
OWN = "xl/worksheets/sheet10.xml"
"""Part of the sheet of formulas that a user added."""

_BOOK, _RELATIONS, _TYPES = "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml"
_TEXTS, _STYLES = "xl/sharedStrings.xml", "xl/styles.xml"
_THE_DATE = (2025, 3, 4, 5, 6, 8)
_BLANKED = ("stack_a", "stack_b", "stack_c", "stack_d", "valve")
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"

Parts = dict[str, bytes]


@dataclass(frozen=True, slots=True)
class Damaged:
    """A workbook to be refused or understood: its file name, what was done to it, and its bytes."""

    name: str
    kind: str
    data: bytes


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
    parts[_TEXTS] = (
        f'<sst xmlns="{_MAIN}">'.encode() + b"".join(b"<si>%s</si>" % text for text in texts) + b"</sst>"
    )
    if b"sharedStrings" not in parts[_RELATIONS]:
        _add_relation(parts, "sharedStrings", "sharedStrings.xml")
        _add_type(
            parts, _TEXTS, "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
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
    with zipfile.ZipFile(output, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in (*parts.items(), *more):
            entry = zipfile.ZipInfo(name, _THE_DATE)
            # A warning of the library about a name that stands twice is what is wanted here.
            archive.NameToInfo.pop(name, None)
            archive.writestr(entry, data, zipfile.ZIP_DEFLATED)
    return output.getvalue()


def with_formulas(*formulas: str, kind: str = "") -> bytes:
    """Pack the sound job with other formulas on the user's own sheet; ``kind`` are attributes of theirs."""
    cells = "".join(
        f'<row r="{row}"><c r="F{row}"><f{kind}>{escape(formula)}</f><v>1</v></c></row>'
        for row, formula in enumerate(formulas, start=1)
    )
    return packed(_with_own_rows(cells.encode()))


def damaged_workbooks() -> Iterator[Damaged]:
    """Make all damaged workbooks, the same ones every time."""
    number = 0
    for kind, (count, make) in KINDS.items():
        for nth in range(count):
            number += 1
            # Each has a seed of its own, so that one more of a kind changes none of the others.
            data = make(nth, random.Random(f"{SEED} {kind} {nth}"))
            yield Damaged(
                f"{number:04} {kind}{'.xlsm' if 'macro' in kind and nth % 2 else '.xlsx'}", kind, data
            )


# Helpers


def _fresh() -> Parts:
    return dict(sound_parts())


def _with_own_rows(rows: bytes) -> Parts:
    parts = _fresh()
    before, _, rest = parts[OWN].partition(b"<sheetData>")
    parts[OWN] = before + b"<sheetData>" + rows + b"</sheetData>" + rest.partition(b"</sheetData>")[2]
    return parts


def _add_relation(parts: Parts, kind: str, target: str, mode: str = "") -> None:
    entry = f'<Relationship Id="more{kind}" Type="{_OFFICE}/{kind}" Target="{target}"{mode}/></Relationships>'
    parts[_RELATIONS] = parts[_RELATIONS].replace(b"</Relationships>", entry.encode())


def _add_type(parts: Parts, part: str, content: str) -> None:
    entry = f'<Override PartName="/{part}" ContentType="{content}"/></Types>'
    parts[_TYPES] = parts[_TYPES].replace(b"</Types>", entry.encode())


def _xml_parts(chance: random.Random) -> str:
    """Name of a part, those with names and formulas more often than the others."""
    return chance.choice([*sound_parts(), _BOOK, _BOOK, OWN, OWN, OWN, _TEXTS, _RELATIONS])


def _mangled(data: bytes, chance: random.Random, pieces: Sequence[bytes]) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(changed) + 1)
        change = chance.randrange(4)
        if change == 0 and at < len(changed):
            changed[at] ^= 1 << chance.randrange(8)
        elif change == 1:
            changed[at:at] = chance.choice(pieces)
        elif change == 2:
            del changed[at : at + chance.randint(1, 40)]
        else:
            start = chance.randrange(len(changed))
            changed[at:at] = changed[start : start + chance.randint(1, 200)]
    return bytes(changed)


# Kinds of damage: each takes its number within the kind and a source of chance


def _container_bytes(_: int, chance: random.Random) -> bytes:
    data = packed(sound_parts())
    if chance.random() < 0.5:
        return _mangled(data, chance, [b"PK\x01\x02", b"PK\x05\x06", b"\0" * 30, b"\xff" * 4])
    # The directory at the end decides what is read, and is hit too seldom otherwise.
    directory = data.index(b"PK\x01\x02")
    return data[:directory] + _mangled(data[directory:], chance, [b"\xff" * 4, b"\0", b"PK\x05\x06"])


def _cut_short(nth: int, chance: random.Random) -> bytes:
    data = packed(sound_parts())
    ends = (0, 1, 3, 4, 21, 22, 30, len(data) - 1, len(data) - 21, len(data) - 22, len(data) - 23)
    return data[: ends[nth] if nth < len(ends) else chance.randrange(len(data))]


def _part_bytes(_: int, chance: random.Random) -> bytes:
    parts = _fresh()
    for _ in range(chance.choice((1, 1, 1, 2, 5))):
        victim = _xml_parts(chance)
        pieces = [
            b"<",
            b">",
            b'"',
            b"9",
            b"]]>",
            b"&",
            b"&amp;",
            b"\0",
            b"\xff",
            b"-",
            b"E9",
            b"/>",
            b"#REF!",
        ]
        parts[victim] = _mangled(parts[victim], chance, pieces)
    return packed(parts)


def _broken_xml(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    victim = _xml_parts(chance)
    xml = parts[victim]
    tags = list(re.finditer(rb"<[^>]+>", xml))
    one, other = (chance.choice(tags).span() for _ in range(2))
    first, second = min(one, other), max(one, other)
    broken = (
        xml[: one[0]] + xml[one[1] :],  # a tag less
        xml[: one[1]] + xml[one[0] :],  # a tag twice
        xml[: first[0]] + xml[second[0] :],  # all between two tags gone
        xml[: second[1]] + xml[first[0] :],  # all between two tags twice
        xml[: first[1]] + xml[second[1] :],
        xml[: one[1]],  # ends early
        xml + xml,
        b"",
        b" " * 100,
        re.sub(rb'\b[\w:]+="[^"]*"', b"", xml, count=chance.randrange(1, 60)),
        re.sub(rb'\br="[A-Z]+', b'r="', xml),
        xml.replace(b"spreadsheetml", b"wordprocessingml"),
        xml.replace(b"<v>", b"<v><v>"),
        xml.replace(b"</row>", b"", 1),
        xml.replace(b'xmlns="', b'xmlns:q="'),
    )
    parts[victim] = broken[nth % len(broken)]
    return packed(parts)


def _part_missing(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    names = list(parts)
    for name in [names[nth]] if nth < len(names) else chance.sample(names, chance.randint(2, 6)):
        del parts[name]
    return packed(parts)


def _part_twice(nth: int, chance: random.Random) -> bytes:
    names = list(sound_parts())
    name = names[nth % len(names)]
    again = chance.choice(
        (name, name, name.upper(), f"/{name}", name.replace("/", "\\"), f"./{name}", f"x/../{name}")
    )
    return packed(sound_parts(), [(again, chance.choice((sound_parts()[name], b"", b"<a/>")))])


def _wrong_relations(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    where = _RELATIONS if nth % 4 else "_rels/.rels"
    targets = re.findall(rb'Target="([^"]*)"', parts[where])
    old = chance.choice(targets)
    new = chance.choice(
        (
            b"workbook.xml", b"../../../../etc/passwd", b"/etc/passwd", b"file:///etc/passwd", b"", b".", b"..",
            b"worksheets/", b"worksheets/sheet1.xml", b"styles.xml", b"http://127.0.0.1:9/sheet.xml", b"C:\\x.xml",
            b"_rels/workbook.xml.rels", b"\xc3\xa4.xml", b"a" * 5000, b"worksheets/sheet1.xml#A1", b"//x//y", b"%00",
        )
    )  # fmt: skip
    parts[where] = parts[where].replace(b'Target="' + old + b'"', b'Target="' + new + b'"', 1)
    if nth % 3 == 0:
        parts[where] = re.sub(rb'Id="[^"]*"', b'Id="rId1"', parts[where])
    if nth % 5 == 0:
        parts[where] = parts[where].replace(b"/worksheet", b"/chartsheet", chance.randrange(1, 12))
    if nth % 7 == 0:
        parts[where] = parts[where].replace(
            b"Target=", b'TargetMode="External" Target=', chance.randrange(1, 9)
        )
    return packed(parts)


def _zip_bomb(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    blank, rows, entry = b" " * 47_000_000, b"<row/>" * 2_000_000, b"<si><t>a</t></si>" * 300_000
    variant = nth % 12
    if variant == 0:
        parts["xl/media/image1.png"] = b"\0" * 60_000_000
    elif variant == 1:
        return packed(parts, [(f"xl/media/image{n}.png", b"\0" * 4_000_000) for n in range(50)])
    elif variant == 2:
        return packed(parts, [(f"xl/media/image{n}.png", b"") for n in range(2_500)])
    elif variant == 3:
        inner = packed({f"{n}.zip": packed({"a": b"\0" * 2_000_000}) for n in range(9)})
        parts["xl/embeddings/inner.zip"] = packed({"inner.zip": inner})
    elif variant == 4:
        parts[OWN] = parts[OWN].replace(b"<sheetData>", blank + b"<sheetData>")
    elif variant == 5:
        parts[OWN] = parts[OWN].replace(b"<sheetData>", b"<sheetData>" + rows)
    elif variant == 6:
        parts[_TEXTS] = parts[_TEXTS].replace(b"</sst>", entry + b"</sst>")
    elif variant == 7:
        parts[_BOOK] = parts[_BOOK].replace(b"<sheets>", b"<a/>" * 2_000_000 + b"<sheets>")
    elif variant == 8:
        parts[_RELATIONS] = parts[_RELATIONS].replace(
            b"</Relationships>", b"<a/>" * 2_000_000 + b"</Relationships>"
        )
    elif variant == 9:
        parts[_STYLES] = parts[_STYLES].replace(b"</styleSheet>", b"<xf/>" * 500_000 + b"</styleSheet>")
    else:
        # The directory says that a part is small, and it is not.
        victim = (OWN, _TEXTS, _STYLES, _BOOK)[nth % 4]
        parts[victim] += b" " * 100_000_000
        return _told_smaller(packed(parts), victim, chance.choice((1, 100, 5_000)))
    return packed(parts)


def _told_smaller(data: bytes, part: str, size: int) -> bytes:
    """Let both headers of a part say another size than it unpacks to."""
    changed = bytearray(data)
    for signature, before, at in ((b"PK\x03\x04", 30, 22), (b"PK\x01\x02", 46, 24)):
        start = data.index(signature)
        while data[start + before : start + before + len(part)] != part.encode():
            start = data.index(signature, start + 4)
        struct.pack_into("<I", changed, start + at, size)
        if size == 1:
            struct.pack_into("<I", changed, start + at - 8, zlib.crc32(b"<"))
    return bytes(changed)


def _external_link(nth: int, chance: random.Random) -> bytes:
    target = chance.choice(
        ("http://127.0.0.1:9/x.xlsx", "file:///etc/passwd", "\\\\127.0.0.1\\share\\x.xlsx", "other.xlsx", "")
    )
    formula = chance.choice(
        (
            "[1]Other!A1", "SUM([1]Other!$A$1:$XFD$1048576)", "'C:\\x\\[a b.xlsx]S'!A1", "[1]!name", "[99]Other!A1",
            'WEBSERVICE("http://127.0.0.1:9/")', 'HYPERLINK("file:///etc/passwd")', "cmd|'/c calc'!A0",
            'INDIRECT("[x.xlsx]S!A1")', "'[1]Other'!A1+'http://127.0.0.1:9/[x.xlsx]S'!A1",
        )
    )  # fmt: skip
    parts = _with_own_rows(f'<row r="1"><c r="A1"><f>{escape(formula)}</f><v>5</v></c></row>'.encode())
    mode = "" if nth % 5 == 0 else ' TargetMode="External"'
    parts["xl/externalLinks/externalLink1.xml"] = (
        f'<externalLink xmlns="{_MAIN}"><externalBook xmlns:r="{_OFFICE}" r:id="rId1"><sheetNames><sheetName val="Other"/>'
        "</sheetNames></externalBook></externalLink>"
    ).encode()
    parts["xl/externalLinks/_rels/externalLink1.xml.rels"] = (
        f'<Relationships xmlns="{_PACKAGE}"><Relationship Id="rId1" Type="{_OFFICE}/externalLinkPath" Target="{target}"{mode}/>'
        "</Relationships>"
    ).encode()
    _add_relation(parts, "externalLink", "externalLinks/externalLink1.xml")
    if nth % 2:
        _add_relation(parts, "attachedTemplate", target, mode)
        _rename(parts, chance.choice(("job_number", "oil_name", "stack_as_found", "loads")), "[1]Other!$A$1")
    parts[_BOOK] = parts[_BOOK].replace(
        b"<definedNames>",
        f'<externalReferences><externalReference xmlns:r="{_OFFICE}" r:id="moreexternalLink"/></externalReferences>'
        "<definedNames>".encode(),
    )
    return packed(parts)


def _macros(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    parts["xl/vbaProject.bin"] = (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + chance.randbytes(chance.randrange(20_000)) if nth % 3 else b""
    )
    _add_relation(parts, "vbaProject", "vbaProject.bin")
    _add_type(parts, "xl/vbaProject.bin", "application/vnd.ms-office.vbaProject")
    if nth % 2:
        parts[_TYPES] = parts[_TYPES].replace(
            b"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml",
            b"application/vnd.ms-excel.sheet.macroEnabled.main+xml",
        )
    if nth % 4 == 3:
        parts["xl/macrosheets/sheet1.xml"] = b"<worksheet><sheetData/></worksheet>"
        _add_relation(parts, "xlMacrosheet", "macrosheets/sheet1.xml")
        _add_name(parts, "_xlnm.Auto_Open", "Macro1!$A$1")
    if nth % 5 == 4:
        return packed(_with(parts, OWN, b"<f>SUM(A$1:A1)</f>", b"<f>EXEC(&quot;calc&quot;)+Macro1.run()</f>"))
    return packed(parts)


def _with(parts: Parts, name: str, old: bytes, new: bytes) -> Parts:
    parts[name] = parts[name].replace(old, new)
    return parts


def _add_name(parts: Parts, name: str, target: str, more: str = "") -> None:
    entry = f'<definedName name="{escape(name)}"{more}>{escape(target)}</definedName></definedNames>'
    parts[_BOOK] = parts[_BOOK].replace(b"</definedNames>", entry.encode())


def _rename(parts: Parts, name: str, target: str) -> None:
    pattern = rf'(<definedName name="{re.escape(name)}"[^>]*>)[^<]*'.encode()
    parts[_BOOK] = re.sub(pattern, lambda found: found[1] + escape(target).encode(), parts[_BOOK])


_HUGE = (
    "A1:XFD1048576",
    "A:XFD",
    "1:1048576",
    "B1:B1048576",
    "A1:XFD2",
    "XFD1048576",
    "A1:ZZZ9999999",
    "A1:A4294967297",
)


def _huge_range(nth: int, chance: random.Random) -> bytes:
    huge = _HUGE[nth % len(_HUGE)]
    variant = nth // len(_HUGE) % 9
    parts = _fresh()
    absolute = re.sub(r"([A-Z]+)(\d+)", r"$\1$\2", huge)
    if variant == 0:
        formula = chance.choice(
            ("SUM(Job!{})", "Job!{}", "Job!{}*2", "SUMPRODUCT((Job!{}<>0)*1)", "COUNTBLANK(Job!{})")
        )
        return with_formulas(formula.format(huge), "F1+1")
    if variant == 1:
        _rename(
            parts,
            chance.choice(("stack_as_found", "cartridge", "price_lines", "bleed_log")),
            f"Job!{absolute}",
        )
    elif variant == 2:
        _rename(
            parts,
            chance.choice(("job_number", "loads", "velocities", "checklist")),
            f"'Oil and fill'!{absolute}",
        )
    elif variant == 3:
        merged = f'</sheetData><mergeCells count="4294967295"><mergeCell ref="{huge}"/></mergeCells>'
        _with(parts, OWN, b"</sheetData>", merged.encode())
    elif variant == 4:
        parts[OWN] = re.sub(rb'<dimension ref="[^"]*"', f'<dimension ref="{huge}"'.encode(), parts[OWN])
    elif variant == 5:
        return with_formulas("Job!A1:B2*2", kind=f' t="array" ref="{huge}"')
    elif variant == 6:
        return with_formulas("A1*2", kind=f' t="shared" si="0" ref="{huge}"')
    elif variant == 7:
        cell = huge.rpartition(":")[2]
        victim = chance.choice((OWN, "xl/worksheets/sheet1.xml", "xl/worksheets/sheet3.xml"))
        _with(parts, victim, b"</sheetData>", f'<row><c r="{cell}"><v>1</v></c></row></sheetData>'.encode())
    else:
        function = chance.choice(
            ("STACK_LIFT", "OIL_VISCOSITY", "SERVICE_COUNT", "FILL_VOLUME", "OILS_BLEND")
        )
        return with_formulas(f"DAMP.{function}(Job!{huge},Job!{huge},40)")
    return packed(parts)


def _circular(nth: int, chance: random.Random) -> bytes:
    length = chance.choice((1, 2, 3, 50, 500))
    forms = (
        "F{}+1",
        "SUM(F{}:F{})",
        "IF(TRUE,F{},1)",
        "DAMP.OIL_VISCOSITY(15,3,F{})",
        'INDIRECT("F{}")',
        "OFFSET(F{},0,0)",
    )
    form = forms[nth % len(forms)]
    if nth % 4 == 3:
        parts = _with_own_rows(b'<row r="1"><c r="F1"><f>around</f><v>1</v></c></row>')
        targets = ("around", "Own!$F$1", "round_2", "SUM(around,DAMP.CONVERT(around,1,1))")
        _add_name(parts, "around", targets[nth // 4 % len(targets)])
        _add_name(parts, "round_2", "around")
        return packed(parts)
    return with_formulas(*(form.replace("{}", str(row % length + 1)) for row in range(1, length + 1)))


def _million_rows(nth: int, chance: random.Random) -> bytes:
    count = 1_000_000
    if nth < 1:
        rows = b"".join(b'<row r="%d"><c r="A%d"><v>1</v></c></row>' % (n, n) for n in range(1, count + 1))
    elif nth < 3:
        rows = b"<row><c><v>1</v></c></row>" * count
    elif nth < 4:
        rows = b'<row r="1"><c r="A1"><f>1+1</f></c></row>' + b"<row><c><f>B1</f></c></row>" * 50_000
    elif nth < 5:
        rows = b'<row r="1"/>' * count + b'<row r="1048576"><c r="A1048576"><v>1</v></c></row>'
    else:
        # With few cells but far apart: what is laid out in memory is the rectangle around them.
        far = [(chance.randrange(1, 1_048_577), chance.choice(("A", "D", "ZZ", "XFD"))) for _ in range(20)]
        rows = b"".join(f'<row r="{r}"><c r="{c}{r}"><v>1</v></c></row>'.encode() for r, c in sorted(far))
    parts = _with_own_rows(rows)
    if nth % 2:
        parts["xl/worksheets/sheet1.xml"], parts[OWN] = parts[OWN], parts["xl/worksheets/sheet1.xml"]
    return packed(parts)


def _deep(nth: int, _: random.Random) -> bytes:
    parts = _fresh()
    depth = (100, 10_000, 100_000)[nth % 3]
    nest = b"<a>" * depth + b"</a>" * depth
    victim, place = (
        (OWN, b"</sheetData>"), (_BOOK, b"<sheets>"), (_RELATIONS, b"</Relationships>"),
        (_TEXTS, b"</sst>"), (_STYLES, b"</styleSheet>"), (OWN, b"</row>"),
    )[nth // 3 % 6]  # fmt: skip
    if victim == _TEXTS:
        nest = b"<si>" + b"<r>" * depth + b"<t>a</t>" + b"</r>" * depth + b"</si>"
    return packed(_with(parts, victim, place, nest + place))


def _entities(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    victim = (OWN, _BOOK, _TEXTS, _STYLES, _RELATIONS, _TYPES)[nth % 6]
    layers = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 10))
    doctype = chance.choice(
        (
            f'<!DOCTYPE a [<!ENTITY e0 "lol">{layers}]>', '<!DOCTYPE a SYSTEM "http://127.0.0.1:9/a.dtd">',
            '<!DOCTYPE a [<!ENTITY e9 SYSTEM "file:///etc/passwd">]>', "<!DOCTYPE a>",
            '<!DOCTYPE a [<!ENTITY % p SYSTEM "http://127.0.0.1:9/"> %p;]>',
        )
    ).encode()  # fmt: skip
    xml = re.sub(rb"^<\?xml[^>]*\?>\s*", b"", parts[victim])
    parts[victim] = doctype + re.sub(rb"(<v>|<t>)", rb"\1&e9;", xml, count=3)
    if nth % 3 == 2:
        parts[victim] = parts[victim].decode().encode("utf-16")
    return packed(parts)


def _encodings(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    victim = chance.choice((OWN, _BOOK, _TEXTS, _STYLES, "xl/worksheets/sheet1.xml", _TYPES, _RELATIONS))
    text = re.sub(r"^<\?xml[^>]*\?>\s*", "", parts[victim].decode())
    name = ("utf-16", "utf-32", "utf-16-be", "latin-1", "utf-7", "cp037", "utf-8-sig", "shift-jis")[nth % 8]
    said = chance.choice((name, "utf-8", "x-nonsense", "", "UTF-16", "ISO-8859-1"))
    encoded = f'<?xml version="1.0" encoding="{said}"?>{text}'.encode(name, errors="ignore")
    if nth % 3 == 0:
        encoded = encoded.replace(b"<t>", b"<t>\xc3\x28\xed\xa0\x80\xff")
    parts[victim] = encoded
    return packed(parts)


_NUMBERS = (
    b"1e400", b"-1e400", b"NaN", b"INF", b"-INF", b"Infinity", b"nan", b"1e-400", b"0x10", b"1,5", b"1_0", b"",
    b" ", b"+-3", b"9" * 4000, b"1e99999999999", b"1.7976931348623157e308", b"4.9e-324", b"\xd9\xa1\xd9\xa2", b"#N/A",
    b"TRUE", b"2958466", b"-1", b"99999999999999999999", b"1e16", b"&#x10FFFF;", b"12abc", b"1e308", b"-0.0",
)  # fmt: skip


def _numbers(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    number = _NUMBERS[nth % len(_NUMBERS)]
    sheets = [name for name in parts if name.startswith("xl/worksheets/sheet")]
    share = 1.0 if nth >= len(_NUMBERS) else 0.2

    def absurd(found: re.Match[bytes]) -> bytes:
        return found[1] + b"<v>" + number + b"</v>" if chance.random() < share else found[0]

    for name in sheets:
        parts[name] = re.sub(rb'(<c r="[A-Z]+[0-9]+"[^>]*t="n"[^>]*>)<v>[^<]*</v>', absurd, parts[name])
    return packed(parts)


def _texts_and_styles(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    index = chance.choice(
        (b"-1", b"99999999", b"4294967296", b"18446744073709551616", b"1.5", b"", b"x", b"\xd9\xa1", b"+1")
    )
    sheet = chance.choice((OWN, "xl/worksheets/sheet1.xml", "xl/worksheets/sheet3.xml"))
    variant = nth % 7
    if variant == 0:
        parts[sheet] = re.sub(
            rb't="s"><v>\d+', b't="s"><v>' + index, parts[sheet], count=chance.randint(1, 90)
        )
    elif variant == 1:
        parts[sheet] = re.sub(rb'<c r="', b'<c s="' + index + b'" r="', parts[sheet])
    elif variant == 2:
        parts[_TEXTS] = re.sub(
            rb"<sst ", b'<sst count="' + index + b'" uniqueCount="' + index + b'" ', parts[_TEXTS]
        )
    elif variant == 3:
        parts[sheet] = re.sub(
            rb't="[ns]"', b't="' + chance.choice((b"b", b"e", b"str", b"d", b"q", b"s")) + b'"', parts[sheet]
        )
    elif variant == 4:
        parts[_STYLES] = re.sub(rb'="\d+"', b'="' + index + b'"', parts[_STYLES])
    elif variant == 5:
        parts[_TEXTS] = parts[_TEXTS].replace(b"<t>", b"<t>" + b"a" * 2_000_000, 3)
    else:
        spill = (
            b'<row r="1"><c r="A1" t="s" s="-1"><f t="shared" si="'
            + index
            + b'"/><v>'
            + index
            + b"</v></c></row>"
        )
        return packed(_with_own_rows(spill))
    return packed(parts)


_TARGETS = (
    "#REF!", "Job!#REF!", "", "Nowhere!$A$1", "'Oil and fill'!$A$0", "Job!$A$1,Job!$B$2", "Job!$C$9:$A$1", "=", "1", "A1",
    "Job!A", "'Job!$A$1", "Job'!$A$1", "OFFSET(Job!$A$1,1E9,0)", '"text"', "Job!$A$1:Own!$B$2", "Job:Own!$A$1",
    "DAMP.NO_SUCH(1)", "!$A$1", "Job!$XFE$1", "Job!$A$1048577", "{1,2;3}", "Job!$A$1 ", "\u202eJob!$A$1", "JOB!$a$1",
)  # fmt: skip


def _names(nth: int, chance: random.Random) -> bytes:
    parts = _fresh()
    known = re.findall(rb'<definedName name="([^"]+)"', parts[_BOOK])
    if nth % 5 == 4:
        variant = nth // 5 % 4
        if variant == 0:
            parts[_BOOK] = re.sub(rb"<definedNames>.*</definedNames>", b"", parts[_BOOK], flags=re.DOTALL)
        elif variant == 1:
            parts[_BOOK] = re.sub(
                rb'<definedName name="', b'<definedName localSheetId="-1" name="', parts[_BOOK]
            )
        elif variant == 2:
            for number in range(20_000):
                known.append(b"n%d" % number)
            entries = b"".join(
                b'<definedName name="%s">Job!$A$1</definedName>' % name for name in known[-20_000:]
            )
            _with(parts, _BOOK, b"</definedNames>", entries + b"</definedNames>")
        else:
            parts[_BOOK] = re.sub(rb'<sheet name="[^"]*"', b'<sheet name="Job"', parts[_BOOK])
        return packed(parts)
    for name in chance.sample(known, chance.choice((1, 1, 3, 40))):
        _rename(parts, name.decode(), _TARGETS[nth % len(_TARGETS)])
    return packed(parts)


_ENDLESS = (
    "SUM(SEQUENCE(1000000,1000))", "SEQUENCE(300000,10)", 'LEN(REPT("a",1E9))', "FACT(1E9)", "COMBIN(1E9,5E8)",
    "(" * 4000 + "1" + ")" * 4000, "-" * 8000 + "1", "+".join(["1"] * 4000), "IF(1," * 1300 + "1" + ")" * 1300,
    "SUM(" + ",".join(["A1"] * 2600) + ")", '"' + "a" * 7990, "{" * 4000, "IF(1," * 64 + "1" + ")" * 64,
    'LEN(SUBSTITUTE(REPT("a",30000),"a",REPT("a",30000)))', "DAMP.OIL_VISCOSITY(SEQUENCE(300000)+10,3,40)",
    "WORKDAY(1,1E12)", "IRR(SEQUENCE(100000))", "RANDBETWEEN(1,9)+NOW()+TODAY()+RAND()", "SUM(RANDARRAY(100000,1000))",
    "LET(f,LAMBDA(g,n,g(g,n+1)),f(f,1))", "REDUCE(0,SEQUENCE(10000000),LAMBDA(a,b,a+b))", "1/0", "#REF!", "'" * 4001 + "!A1",
    "GCD(SEQUENCE(1000000))", "SUM({" + ",".join(["1"] * 3900) + "})", "ROUND(1,1E300)+EDATE(1,1E18)+DATE(1E300,1,1)",
)  # fmt: skip


def _endless(nth: int, chance: random.Random) -> bytes:
    formula = _ENDLESS[nth % len(_ENDLESS)]
    if nth < len(_ENDLESS):
        return with_formulas(formula)
    # From here on put together at random.
    atoms = (
        "A1",
        "1E308",
        "RAND()",
        "ROW(A1:A9)",
        '"a"',
        "Job!A1:C9",
        "{1,2}",
        "TRUE",
        "loads",
        "OFFSET(A1,RAND(),0)",
    )
    for _ in range(chance.randint(2, 12)):
        form = chance.choice(
            (
                "({}{}{})",
                "IF({1}{0}{2},{0},{2})".replace("{1}{0}{2}", "{0}"),
                "SUM({0},{2})",
                "IFERROR({0},{2})",
            )
        )
        formula = form.format(chance.choice(atoms), chance.choice("+-*/^&=<>"), formula)
        if len(formula) > 8000:
            break
    return with_formulas(formula[:8192], "F1&F1")


def _no_workbook(nth: int, chance: random.Random) -> bytes:
    ole = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
    return (
        b"", b"\0", b"PK", b"PK\x03\x04", b"PK\x05\x06" + b"\0" * 18, ole + b"\0" * 600, ole + "EncryptedPackage".encode("utf-16-le"),
        b"%PDF-1.7\n", b"\x89PNG\r\n\x1a\n" + b"\0" * 50, b"job;date\r\n1;2\r\n", b"<html><table>", b"\xef\xbb\xbf<?xml version='1.0'?>",
        packed({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet", "content.xml": b"<a/>"}), packed({}), packed({"a": b"b"}),
        packed({_TYPES: b"<a/>", "_rels/.rels": b"<a/>"}), packed({"word/document.xml": b"<a/>", _TYPES: b"", "_rels/.rels": b""}),
        chance.randbytes(5_000), b"PK\x03\x04" + chance.randbytes(5_000), packed(sound_parts()) * 2,
    )[nth]  # fmt: skip


KINDS: Mapping[str, tuple[int, Callable[[int, random.Random], bytes]]] = {
    "bytes of the container": (80, _container_bytes),
    "cut short": (60, _cut_short),
    "bytes within a part": (167, _part_bytes),
    "broken XML": (90, _broken_xml),
    "part missing": (45, _part_missing),
    "part twice": (25, _part_twice),
    "wrong relations": (50, _wrong_relations),
    "zip bomb": (16, _zip_bomb),
    "external link": (30, _external_link),
    "macros": (30, _macros),
    "huge range": (72, _huge_range),
    "circular cells": (40, _circular),
    "a million rows": (10, _million_rows),
    "deep nesting": (18, _deep),
    "document type, entities": (24, _entities),
    "wrong encoding": (35, _encodings),
    "absurd numbers": (58, _numbers),
    "texts and styles": (42, _texts_and_styles),
    "names to nowhere": (40, _names),
    "endless formulas": (48, _endless),
    "no workbook": (20, _no_workbook),
}
"""How many of each kind, and what makes them; a thousand together."""
