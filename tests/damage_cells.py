"""Damage within sound packages: links, macros, ranges, formulas, numbers, texts and names."""

from __future__ import annotations

import random
import re
from xml.sax.saxutils import escape

from tests.sound_job import (
    BOOK,
    MAIN,
    OFFICE,
    OWN,
    PACKAGE,
    RELATIONS,
    STYLES,
    TEXTS,
    TYPES,
    add_name,
    add_relation,
    add_type,
    fresh,
    packed,
    rename,
    sound_parts,
    with_formulas,
    with_own_rows,
    with_replaced,
)


def external_link(nth: int, chance: random.Random) -> bytes:
    target = chance.choice(
        ("http://127.0.0.1:9/x.xlsx", "file:///etc/passwd", "\\\\127.0.0.1\\share\\x.xlsx", "other.xlsx", "")
    )
    formula = chance.choice(
        (
            "[1]Other!A1",
            "SUM([1]Other!$A$1:$XFD$1048576)",
            "'C:\\x\\[a b.xlsx]S'!A1",
            "[1]!name",
            "[99]Other!A1",
            'WEBSERVICE("http://127.0.0.1:9/")',
            'HYPERLINK("file:///etc/passwd")',
            "cmd|'/c calc'!A0",
            'INDIRECT("[x.xlsx]S!A1")',
            "'[1]Other'!A1+'http://127.0.0.1:9/[x.xlsx]S'!A1",
        )
    )
    parts = with_own_rows(f'<row r="1"><c r="A1"><f>{escape(formula)}</f><v>5</v></c></row>'.encode())
    mode = "" if nth % 5 == 0 else ' TargetMode="External"'
    parts["xl/externalLinks/externalLink1.xml"] = (
        f'<externalLink xmlns="{MAIN}"><externalBook xmlns:r="{OFFICE}" r:id="rId1">'
        '<sheetNames><sheetName val="Other"/></sheetNames>'
        "</externalBook></externalLink>"
    ).encode()
    parts["xl/externalLinks/_rels/externalLink1.xml.rels"] = (
        f'<Relationships xmlns="{PACKAGE}"><Relationship Id="rId1" Type="{OFFICE}/externalLinkPath" '
        f'Target="{target}"{mode}/></Relationships>'
    ).encode()
    add_relation(parts, "externalLink", "externalLinks/externalLink1.xml")
    if nth % 2:
        add_relation(parts, "attachedTemplate", target, mode)
        rename(parts, chance.choice(("job_number", "oil_name", "stack_as_found", "loads")), "[1]Other!$A$1")
    parts[BOOK] = parts[BOOK].replace(
        b"<definedNames>",
        f'<externalReferences><externalReference xmlns:r="{OFFICE}" r:id="moreexternalLink"/>'
        "</externalReferences><definedNames>".encode(),
    )
    return packed(parts)


def macros(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    parts["xl/vbaProject.bin"] = (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + chance.randbytes(chance.randrange(20_000)) if nth % 3 else b""
    )
    add_relation(parts, "vbaProject", "vbaProject.bin")
    add_type(parts, "xl/vbaProject.bin", "application/vnd.ms-office.vbaProject")
    if nth % 2:
        parts[TYPES] = parts[TYPES].replace(
            b"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml",
            b"application/vnd.ms-excel.sheet.macroEnabled.main+xml",
        )
    if nth % 4 == 3:
        parts["xl/macrosheets/sheet1.xml"] = b"<worksheet><sheetData/></worksheet>"
        add_relation(parts, "xlMacrosheet", "macrosheets/sheet1.xml")
        add_name(parts, "_xlnm.Auto_Open", "Macro1!$A$1")
    if nth % 5 == 4:
        return packed(
            with_replaced(parts, OWN, b"<f>SUM(A$1:A1)</f>", b"<f>EXEC(&quot;calc&quot;)+Macro1.run()</f>")
        )
    return packed(parts)


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


def huge_range(nth: int, chance: random.Random) -> bytes:
    huge = _HUGE[nth % len(_HUGE)]
    variant = nth // len(_HUGE) % 9
    parts = fresh()
    absolute = re.sub(r"([A-Z]+)(\d+)", r"$\1$\2", huge)
    if variant == 0:
        formula = chance.choice(
            ("SUM(Job!{})", "Job!{}", "Job!{}*2", "SUMPRODUCT((Job!{}<>0)*1)", "COUNTBLANK(Job!{})")
        )
        return with_formulas(formula.format(huge), "F1+1")
    if variant == 1:
        rename(
            parts,
            chance.choice(("stack_as_found", "cartridge", "price_lines", "bleed_log")),
            f"Job!{absolute}",
        )
    elif variant == 2:
        rename(
            parts,
            chance.choice(("job_number", "loads", "velocities", "checklist")),
            f"'Oil and fill'!{absolute}",
        )
    elif variant == 3:
        merged = f'</sheetData><mergeCells count="4294967295"><mergeCell ref="{huge}"/></mergeCells>'
        with_replaced(parts, OWN, b"</sheetData>", merged.encode())
    elif variant == 4:
        parts[OWN] = re.sub(rb'<dimension ref="[^"]*"', f'<dimension ref="{huge}"'.encode(), parts[OWN])
    elif variant == 5:
        return with_formulas("Job!A1:B2*2", kind=f' t="array" ref="{huge}"')
    elif variant == 6:
        return with_formulas("A1*2", kind=f' t="shared" si="0" ref="{huge}"')
    elif variant == 7:
        cell = huge.rpartition(":")[2]
        victim = chance.choice((OWN, "xl/worksheets/sheet1.xml", "xl/worksheets/sheet3.xml"))
        with_replaced(
            parts, victim, b"</sheetData>", f'<row><c r="{cell}"><v>1</v></c></row></sheetData>'.encode()
        )
    else:
        function = chance.choice(
            ("STACK_LIFT", "OIL_VISCOSITY", "SERVICE_COUNT", "FILL_VOLUME", "OILS_BLEND")
        )
        return with_formulas(f"DAMP.{function}(Job!{huge},Job!{huge},40)")
    return packed(parts)


def circular(nth: int, chance: random.Random) -> bytes:
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
        parts = with_own_rows(b'<row r="1"><c r="F1"><f>around</f><v>1</v></c></row>')
        targets = ("around", "Own!$F$1", "round_2", "SUM(around,DAMP.CONVERT(around,1,1))")
        add_name(parts, "around", targets[nth // 4 % len(targets)])
        add_name(parts, "round_2", "around")
        return packed(parts)
    return with_formulas(*(form.replace("{}", str(row % length + 1)) for row in range(1, length + 1)))


def million_rows(nth: int, chance: random.Random) -> bytes:
    count = 1_000_000
    if nth < 1:
        rows = b"".join(b'<row r="%d"><c r="A%d"><v>1</v></c></row>' % (n, n) for n in range(1, count + 1))
    elif nth < 3:
        rows = b"<row><c><v>1</v></c></row>" * count
    elif nth < 4:
        rows = b'<row r="1"><c r="A1"><f>1+1</f></c></row>' + b"<row><c><f>B1</f></c></row>" * 20_000
    elif nth < 5:
        rows = b'<row r="1"/>' * count + b'<row r="1048576"><c r="A1048576"><v>1</v></c></row>'
    else:
        # With few cells but far apart: what is laid out in memory is the rectangle around them.
        far = [(chance.randrange(1, 1_048_577), chance.choice(("A", "D", "ZZ", "XFD"))) for _ in range(20)]
        rows = b"".join(f'<row r="{r}"><c r="{c}{r}"><v>1</v></c></row>'.encode() for r, c in sorted(far))
    parts = with_own_rows(rows)
    if nth % 2:
        parts["xl/worksheets/sheet1.xml"], parts[OWN] = parts[OWN], parts["xl/worksheets/sheet1.xml"]
    return packed(parts)


def deep(nth: int, _: random.Random) -> bytes:
    parts = fresh()
    depth = (100, 10_000, 100_000)[nth % 3]
    nest = b"<a>" * depth + b"</a>" * depth
    victim, place = (
        (OWN, b"</sheetData>"),
        (BOOK, b"<sheets>"),
        (RELATIONS, b"</Relationships>"),
        (TEXTS, b"</sst>"),
        (STYLES, b"</styleSheet>"),
        (OWN, b"</row>"),
    )[nth // 3 % 6]
    if victim == TEXTS:
        nest = b"<si>" + b"<r>" * depth + b"<t>a</t>" + b"</r>" * depth + b"</si>"
    return packed(with_replaced(parts, victim, place, nest + place))


def entities(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    victim = (OWN, BOOK, TEXTS, STYLES, RELATIONS, TYPES)[nth % 6]
    layers = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 10))
    doctype = chance.choice(
        (
            f'<!DOCTYPE a [<!ENTITY e0 "lol">{layers}]>',
            '<!DOCTYPE a SYSTEM "http://127.0.0.1:9/a.dtd">',
            '<!DOCTYPE a [<!ENTITY e9 SYSTEM "file:///etc/passwd">]>',
            "<!DOCTYPE a>",
            '<!DOCTYPE a [<!ENTITY % p SYSTEM "http://127.0.0.1:9/"> %p;]>',
        )
    ).encode()
    xml = re.sub(rb"^<\?xml[^>]*\?>\s*", b"", parts[victim])
    parts[victim] = doctype + re.sub(rb"(<v>|<t>)", rb"\1&e9;", xml, count=3)
    if nth % 3 == 2:
        parts[victim] = parts[victim].decode().encode("utf-16")
    return packed(parts)


def encodings(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    victim = chance.choice((OWN, BOOK, TEXTS, STYLES, "xl/worksheets/sheet1.xml", TYPES, RELATIONS))
    text = re.sub(r"^<\?xml[^>]*\?>\s*", "", parts[victim].decode())
    name = ("utf-16", "utf-32", "utf-16-be", "latin-1", "utf-7", "cp037", "utf-8-sig", "shift-jis")[nth % 8]
    said = chance.choice((name, "utf-8", "x-nonsense", "", "UTF-16", "ISO-8859-1"))
    encoded = f'<?xml version="1.0" encoding="{said}"?>{text}'.encode(name, errors="ignore")
    if nth % 3 == 0:
        encoded = encoded.replace(b"<t>", b"<t>\xc3\x28\xed\xa0\x80\xff")
    parts[victim] = encoded
    return packed(parts)


_NUMBERS = (
    b"1e400",
    b"-1e400",
    b"NaN",
    b"INF",
    b"-INF",
    b"Infinity",
    b"nan",
    b"1e-400",
    b"0x10",
    b"1,5",
    b"1_0",
    b"",
    b" ",
    b"+-3",
    b"9" * 4000,
    b"1e99999999999",
    b"1.7976931348623157e308",
    b"4.9e-324",
    b"\xd9\xa1\xd9\xa2",
    b"#N/A",
    b"TRUE",
    b"2958466",
    b"-1",
    b"99999999999999999999",
    b"1e16",
    b"&#x10FFFF;",
    b"12abc",
    b"1e308",
    b"-0.0",
)


def numbers(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    number = _NUMBERS[nth % len(_NUMBERS)]
    sheets = [name for name in parts if name.startswith("xl/worksheets/sheet")]
    share = 1.0 if nth >= len(_NUMBERS) else 0.2

    def absurd(found: re.Match[bytes]) -> bytes:
        return found[1] + b"<v>" + number + b"</v>" if chance.random() < share else found[0]

    for name in sheets:
        parts[name] = re.sub(rb'(<c r="[A-Z]+[0-9]+"[^>]*t="n"[^>]*>)<v>[^<]*</v>', absurd, parts[name])
    return packed(parts)


def texts_and_styles(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
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
        parts[TEXTS] = re.sub(
            rb"<sst ", b'<sst count="' + index + b'" uniqueCount="' + index + b'" ', parts[TEXTS]
        )
    elif variant == 3:
        parts[sheet] = re.sub(
            rb't="[ns]"', b't="' + chance.choice((b"b", b"e", b"str", b"d", b"q", b"s")) + b'"', parts[sheet]
        )
    elif variant == 4:
        parts[STYLES] = re.sub(rb'="\d+"', b'="' + index + b'"', parts[STYLES])
    elif variant == 5:
        parts[TEXTS] = parts[TEXTS].replace(b"<t>", b"<t>" + b"a" * 2_000_000, 3)
    else:
        spill = (
            b'<row r="1"><c r="A1" t="s" s="-1"><f t="shared" si="'
            + index
            + b'"/><v>'
            + index
            + b"</v></c></row>"
        )
        return packed(with_own_rows(spill))
    return packed(parts)


_TARGETS = (
    "#REF!",
    "Job!#REF!",
    "",
    "Nowhere!$A$1",
    "'Oil and fill'!$A$0",
    "Job!$A$1,Job!$B$2",
    "Job!$C$9:$A$1",
    "=",
    "1",
    "A1",
    "Job!A",
    "'Job!$A$1",
    "Job'!$A$1",
    "OFFSET(Job!$A$1,1E9,0)",
    '"text"',
    "Job!$A$1:Own!$B$2",
    "Job:Own!$A$1",
    "DAMP.NO_SUCH(1)",
    "!$A$1",
    "Job!$XFE$1",
    "Job!$A$1048577",
    "{1,2;3}",
    "Job!$A$1 ",
    "\u202eJob!$A$1",
    "JOB!$a$1",
)


def names(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    known = re.findall(rb'<definedName name="([^"]+)"', parts[BOOK])
    if nth % 5 == 4:
        variant = nth // 5 % 4
        if variant == 0:
            parts[BOOK] = re.sub(rb"<definedNames>.*</definedNames>", b"", parts[BOOK], flags=re.DOTALL)
        elif variant == 1:
            parts[BOOK] = re.sub(
                rb'<definedName name="', b'<definedName localSheetId="-1" name="', parts[BOOK]
            )
        elif variant == 2:
            for number in range(20_000):
                known.append(b"n%d" % number)
            entries = b"".join(
                b'<definedName name="%s">Job!$A$1</definedName>' % name for name in known[-20_000:]
            )
            with_replaced(parts, BOOK, b"</definedNames>", entries + b"</definedNames>")
        else:
            parts[BOOK] = re.sub(rb'<sheet name="[^"]*"', b'<sheet name="Job"', parts[BOOK])
        return packed(parts)
    for name in chance.sample(known, chance.choice((1, 1, 3, 40))):
        rename(parts, name.decode(), _TARGETS[nth % len(_TARGETS)])
    return packed(parts)


_ENDLESS = (
    "SUM(SEQUENCE(1000000,1000))",
    "SEQUENCE(100000,10)",
    'LEN(REPT("a",1E9))',
    "FACT(1E9)",
    "COMBIN(1E9,5E8)",
    "(" * 4000 + "1" + ")" * 4000,
    "-" * 8000 + "1",
    "+".join(["1"] * 4000),
    "IF(1," * 1300 + "1" + ")" * 1300,
    "SUM(" + ",".join(["A1"] * 2600) + ")",
    '"' + "a" * 7990,
    "{" * 4000,
    "IF(1," * 64 + "1" + ")" * 64,
    'LEN(SUBSTITUTE(REPT("a",30000),"a",REPT("a",30000)))',
    "DAMP.OIL_VISCOSITY(SEQUENCE(60000)+10,3,40)",
    "WORKDAY(1,1E12)",
    "IRR(SEQUENCE(100000))",
    "RANDBETWEEN(1,9)+NOW()+TODAY()+RAND()",
    "SUM(RANDARRAY(100000,1000))",
    "LET(f,LAMBDA(g,n,g(g,n+1)),f(f,1))",
    "REDUCE(0,SEQUENCE(10000000),LAMBDA(a,b,a+b))",
    "1/0",
    "#REF!",
    "'" * 4001 + "!A1",
    "GCD(SEQUENCE(100000))",
    "SUM({" + ",".join(["1"] * 3900) + "})",
    "ROUND(1,1E300)+EDATE(1,1E18)+DATE(1E300,1,1)",
)


def endless(nth: int, chance: random.Random) -> bytes:
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


def no_workbook(nth: int, chance: random.Random) -> bytes:
    ole = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
    return (
        b"",
        b"\0",
        b"PK",
        b"PK\x03\x04",
        b"PK\x05\x06" + b"\0" * 18,
        ole + b"\0" * 600,
        ole + "EncryptedPackage".encode("utf-16-le"),
        b"%PDF-1.7\n",
        b"\x89PNG\r\n\x1a\n" + b"\0" * 50,
        b"job;date\r\n1;2\r\n",
        b"<html><table>",
        b"\xef\xbb\xbf<?xml version='1.0'?>",
        packed({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet", "content.xml": b"<a/>"}),
        packed({}),
        packed({"a": b"b"}),
        packed({TYPES: b"<a/>", "_rels/.rels": b"<a/>"}),
        packed({"word/document.xml": b"<a/>", TYPES: b"", "_rels/.rels": b""}),
        chance.randbytes(5_000),
        b"PK\x03\x04" + chance.randbytes(5_000),
        packed(sound_parts()) * 2,
    )[nth]
