"""Opening workbook packages, and refreshing nothing but values."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.chart import LineChart, Reference
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

from dampcell.functions.errors import DampcellError, WorkbookError
from dampcell.functions.registry import CellError
from dampcell.workbooks import package
from dampcell.workbooks.engine import recalculate
from dampcell.workbooks.package import Limits, open_package, read_file, refreshed
from dampcell.workbooks.results import CellResult, CellValue, Recalculated

Maker = Callable[..., bytes]

NA, SPILL = CellError("#N/A"), CellError("#SPILL!")
TYPES = "[Content_Types].xml"
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def _sheet(data: bytes, part: str = "xl/worksheets/sheet1.xml") -> str:
    return zipfile.ZipFile(io.BytesIO(data)).read(part).decode()


def _results(**values: CellValue) -> Recalculated:
    return Recalculated(
        "job.xlsx", {("S1", cell): CellResult("S1", cell, "", value, None) for cell, value in values.items()}
    )


def _saved(workbook: openpyxl.Workbook) -> bytes:
    output = io.BytesIO()
    workbook.save(output)
    return output.getvalue()


def _zip(**parts: bytes) -> bytes:
    output = io.BytesIO()
    with zipfile.ZipFile(output, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return output.getvalue()


# Opening


def test_sheets_names_and_date_system_are_read(package_of: Maker) -> None:
    data = package_of(
        "",
        "",
        properties='<workbookPr date1904="1"/>',
        workbook='<definedNames><definedName name="oil">S1!$A$1</definedName>'
        '<definedName name="here" localSheetId="1">S2!$B$2</definedName></definedNames>',
    )
    opened = open_package(data, "job.xlsx")
    assert [sheet.name for sheet in opened.sheets] == ["S1", "S2"]
    assert opened.date1904
    assert [(n.name, n.refers_to, n.sheet) for n in opened.names] == [
        ("oil", "S1!$A$1", None),
        ("here", "S2!$B$2", "S2"),
    ]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", r"job\.xlsx: is empty"),
        (b"name;diameter\nshim;30\n", r"job\.xlsx: is no workbook; allowed: \.xlsx or \.xlsm"),
        (OLE + b"\0" * 600 + "Workbook".encode("utf-16-le"), r"is in the old \.xls format"),
        (OLE + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"), "is protected by a password"),
        (_zip(**{"a.txt": b"x"}), "is a zip archive, but no workbook"),
        (_zip(mimetype=b"application/vnd.oasis.opendocument.spreadsheet"), "is an OpenDocument file"),
        (
            _zip(**{"[Content_Types].xml": b"<a/>", "_rels/.rels": b"<a/>"}),
            "is a zip archive, but no workbook",
        ),
        (_zip(**{"[Content_Types].xml": b"<a/>", "_rels/.rels": b"<a"}), "is damaged or cut short"),
        (
            _zip(**{"[Content_Types].xml": b"<a/>", "_rels/.rels": b'<!DOCTYPE a [<!ENTITY b "c">]><a/>'}),
            "is damaged or cut short",
        ),
    ],
)
def test_a_file_that_is_no_workbook_is_refused_with_its_reason(data: bytes, sentence: str) -> None:
    with pytest.raises(WorkbookError, match=sentence):
        open_package(data, "job.xlsx")


def _office(kind: str) -> bytes:
    return (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="r" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" '
        f'Target="{kind}"/></Relationships>'
    ).encode()


@pytest.mark.parametrize(
    ("target", "content", "sentence"),
    [
        ("xl/workbook.bin", b"\0", "is a binary workbook"),
        ("word/document.xml", b"<document/>", "is a document, but no workbook"),
        ("xl/workbook.xml", b"<workbook><sheets/></workbook>", "holds no worksheet"),
        ("xl/workbook.xml", b"<workbook>", "is damaged or cut short"),
    ],
)
def test_a_package_without_worksheets_is_refused(target: str, content: bytes, sentence: str) -> None:
    data = _zip(**{"[Content_Types].xml": b"<a/>", "_rels/.rels": _office(target), target: content})
    with pytest.raises(WorkbookError, match=sentence):
        open_package(data, "job.xlsx")


def test_a_truncated_workbook_is_refused(package_of: Maker) -> None:
    data = package_of('<row r="1"><c r="A1"><f>1+1</f></c></row>')
    with pytest.raises(WorkbookError, match="is damaged or cut short"):
        open_package(data[: len(data) // 2], "job.xlsx")


def test_a_workbook_without_one_of_its_sheets_is_refused(package_of: Maker) -> None:
    data = package_of("", "")
    output = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(output, "w") as target:
        for name in source.namelist():
            if name != "xl/worksheets/sheet2.xml":
                target.writestr(name, source.read(name))
    with pytest.raises(WorkbookError, match="is damaged or cut short"):
        open_package(output.getvalue(), "job.xlsx")


def test_an_encrypted_zip_is_called_protected(package_of: Maker) -> None:
    data = bytearray(package_of(""))
    entry = data.index(b"PK\x01\x02")
    data[entry + 8] |= 1
    with pytest.raises(WorkbookError, match="is protected by a password"):
        open_package(bytes(data), "job.xlsx")


def test_an_unknown_compression_is_refused(package_of: Maker) -> None:
    data = bytearray(package_of(""))
    data[data.index(b"PK\x01\x02") + 10] = 97
    with pytest.raises(WorkbookError, match="is damaged or cut short"):
        open_package(bytes(data), "job.xlsx")


@pytest.mark.parametrize(
    "limits", [Limits(file=100), Limits(unpacked=1000), Limits(part=100), Limits(parts=3)], ids=str
)
def test_a_workbook_beyond_the_limits_is_refused(
    package_of: Maker, monkeypatch: pytest.MonkeyPatch, limits: Limits
) -> None:
    data = package_of("")
    monkeypatch.setattr(package, "LIMITS", limits)
    with pytest.raises(WorkbookError, match="is too large, or unpacks to far more than a workbook would"):
        open_package(data, "job.xlsx")


def test_a_zip_bomb_is_refused_before_it_is_unpacked(package_of: Maker) -> None:
    data = package_of("", raw=b" " * 60_000_000)
    assert len(data) < 100_000
    with pytest.raises(WorkbookError, match="is too large"):
        open_package(data, "job.xlsx")


@pytest.mark.parametrize(
    "raw",
    [
        b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><worksheet/>',
        "<?xml version='1.0' encoding='UTF-16'?><worksheet/>".encode("utf-16"),
        b'<?xml version="1.0" encoding="latin-1"?><worksheet/>',
        b'<?xml version="1.0" encoding="nonsense"?><worksheet/>',
        b"<worksheet><sheetData>",
        b"",
    ],
)
def test_an_unreadable_sheet_is_named(package_of: Maker, raw: bytes) -> None:
    with pytest.raises(WorkbookError, match=r"job\.xlsx, S1: the sheet cannot be read"):
        recalculate(package_of("", raw=raw), "job.xlsx")


# Files beside


@pytest.mark.parametrize("lock", ["~$job.xlsx", ".~lock.job.xlsx#"])
def test_a_workbook_that_is_open_elsewhere_is_not_read(tmp_path: Path, lock: str) -> None:
    (tmp_path / "job.xlsx").write_bytes(b"x")
    (tmp_path / lock).write_bytes(b"")
    with pytest.raises(
        WorkbookError, match=r"is open in another program .*saved and closed.*delete that lock file"
    ):
        read_file(tmp_path / "job.xlsx")


def test_a_closed_workbook_is_read(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(b"x")
    assert read_file(tmp_path / "job.xlsx") == b"x"


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(WorkbookError, match=r"job\.xlsx: there is no such file"):
        read_file(tmp_path / "job.xlsx")


def test_a_folder_cannot_be_read_as_a_workbook(tmp_path: Path) -> None:
    with pytest.raises(WorkbookError, match="cannot be read: Is a directory"):
        read_file(tmp_path)


def test_a_far_too_large_file_is_not_even_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "job.xlsx").write_bytes(b"x" * 200)
    monkeypatch.setattr(package, "LIMITS", Limits(file=100))
    with pytest.raises(WorkbookError, match="is too large"):
        read_file(tmp_path / "job.xlsx")


# Refreshing


@pytest.mark.parametrize(
    ("before", "value", "after"),
    [
        ('<c r="A1"><f>B1</f><v>1</v></c>', 2.5, '<c r="A1"><f>B1</f><v>2.5</v></c>'),
        ('<c r="A1"><f>B1</f></c>', 3.0, '<c r="A1"><f>B1</f><v>3</v></c>'),
        ('<c r="A1"><f>B1</f><v/></c>', 0.1, '<c r="A1"><f>B1</f><v>0.1</v></c>'),
        ('<c r="A1"><f>B1</f><v></v></c>', -0.0, '<c r="A1"><f>B1</f><v>0</v></c>'),
        ('<c r="A1"><f>B1</f><v>1</v></c>', "a<b", '<c r="A1" t="str"><f>B1</f><v>a&lt;b</v></c>'),
        ('<c r="A1" t="str" s="4"><f>B1</f><v>x</v></c>', 1.0, '<c r="A1" s="4"><f>B1</f><v>1</v></c>'),
        ("<c r='A1' t='str' ><f>B1</f><v>x</v></c>", True, "<c r='A1' t=\"b\" ><f>B1</f><v>1</v></c>"),
        ('<c r="A1" t="b"><f>B1</f><v>1</v></c>', False, '<c r="A1" t="b"><f>B1</f><v>0</v></c>'),
        (
            '<c r="A1" t="n"><f>B1</f><v>1</v></c>',
            CellError("#N/A"),
            '<c r="A1" t="e"><f>B1</f><v>#N/A</v></c>',
        ),
        (
            '<c r="A1"><f>B1</f><v>1</v></c>',
            CellError("#SPILL!"),
            '<c r="A1" t="e"><f>B1</f><v>#VALUE!</v></c>',
        ),
        ('<c r="A1" t="e"><f>B1</f><v>#N/A</v></c>', 7.0, '<c r="A1"><f>B1</f><v>7</v></c>'),
        (
            '<c r="A1" t="inlineStr"><f>B1</f><is><t>x</t></is></c>',
            "y",
            '<c r="A1" t="str"><f>B1</f><v>y</v></c>',
        ),
        (
            '<c r="A1"><f>B1</f><v>1</v></c>',
            " a\rb",
            '<c r="A1" t="str"><f>B1</f><v xml:space="preserve"> a_x000D_b</v></c>',
        ),
        (
            '<c r="A1"><f>"&gt;"</f><v>1</v><extLst><ext>9</ext></extLst></c>',
            2.0,
            '<c r="A1"><f>"&gt;"</f><v>2</v><extLst><ext>9</ext></extLst></c>',
        ),
        ('<c r="A1"><f>B1</f><v>1</v></c>', 1e300, '<c r="A1"><f>B1</f><v>1e+300</v></c>'),
    ],
)
def test_only_value_and_type_of_a_formula_cell_change(
    package_of: Maker, before: str, value: CellValue, after: str
) -> None:
    frame = '<row r="1" spans="1:9">{}<c r="B1" s="2">\r\n<v>5</v></c></row>'
    source = package_of(frame.format(before))
    got = refreshed(open_package(source, "job.xlsx"), _results(A1=value))
    assert _sheet(got) == _sheet(source).replace(before, after)


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ('<c r="A1"><f>B1</f><v>0.10000000000000001</v></c>', 0.1),
        ('<c r="A1"><f>B1</f><v>1E3</v></c>', 1000.0),
        ('<c r="A1" t="str"><f>B1</f><v></v></c>', ""),
        ('<c r="A1" t="e"><f>B1</f><v>#VALUE!</v></c>', CellError("#VALUE!", "a sentence")),
    ],
)
def test_a_workbook_whose_values_hold_is_returned_as_it_is(
    package_of: Maker, cell: str, value: CellValue
) -> None:
    source = package_of(f'<row r="1">{cell}</row>')
    assert refreshed(open_package(source, "job.xlsx"), _results(A1=value)) == source


def test_values_reach_every_cell_of_an_array_formula(package_of: Maker) -> None:
    source = package_of(
        '<row r="1"><c r="A1"><f t="array" ref="A1:B2">X</f><v>1</v></c><c r="B1"/></row>'
        '<row r="2"><c r="A2" s="1" t="s"><v>0</v></c><c r="B2"><v>9</v></c><c r="C2"><v>9</v></c></row>'
    )
    got = refreshed(open_package(source, "job.xlsx"), _results(A1=1.0, B1=2.0, A2="t", B2=None, C2=4.0))
    assert _sheet(got) == _sheet(source).replace('<c r="B1"/>', '<c r="B1"><v>2</v></c>').replace(
        '<c r="A2" s="1" t="s"><v>0</v></c>', '<c r="A2" s="1" t="str"><v>t</v></c>'
    ).replace('<c r="B2"><v>9</v></c>', '<c r="B2"><v></v></c>')


def test_prefixed_sheets_keep_their_prefix(package_of: Maker) -> None:
    raw = (
        b'<x:worksheet xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><x:sheetData>\r\n'
        b'<x:row r="1"><x:c r="A1"><x:f>1+1</x:f></x:c></x:row></x:sheetData></x:worksheet>'
    )
    got = refreshed(open_package(package_of("", raw=raw), "job.xlsx"), _results(A1="a"))
    assert _sheet(got) == raw.decode().replace(
        '<x:c r="A1"><x:f>1+1</x:f></x:c>', '<x:c r="A1" t="str"><x:f>1+1</x:f><x:v>a</x:v></x:c>'
    ).replace("\r\n", "\r\n")


def test_all_other_parts_keep_bytes_order_and_dates() -> None:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    sheet.title = "S1"
    for row in range(1, 6):
        sheet.cell(row, 1, row)
        sheet.cell(row, 2, f"=A{row}^2")
    chart = LineChart()
    chart.add_data(Reference(sheet, min_col=2, min_row=1, max_row=5))
    chart.anchor = "D2"
    sheet.add_chart(chart)
    source = _saved(workbook)
    got = refreshed(open_package(source, "job.xlsx"), recalculate(source, "job.xlsx"))
    before, after = zipfile.ZipFile(io.BytesIO(source)), zipfile.ZipFile(io.BytesIO(got))
    assert before.namelist() == after.namelist()
    for old, new in zip(before.infolist(), after.infolist(), strict=True):
        assert (old.date_time, old.compress_type, old.external_attr) == (
            new.date_time,
            new.compress_type,
            new.external_attr,
        )
        if old.filename != "xl/worksheets/sheet1.xml":
            assert before.read(old) == after.read(new)
    assert [c.value for c in openpyxl.load_workbook(io.BytesIO(got), data_only=True)["S1"]["B"]] == [
        1,
        4,
        9,
        16,
        25,
    ]


def test_the_same_input_gives_the_same_bytes_and_the_copy_is_not_stale(package_of: Maker) -> None:
    source = package_of('<row r="1"><c r="A1"><f>1/3</f></c><c r="B1"><f>A1&amp;"x"</f></c></row>')
    first = refreshed(open_package(source, "job.xlsx"), recalculate(source, "job.xlsx"))
    assert first == refreshed(open_package(source, "job.xlsx"), recalculate(source, "job.xlsx"))
    again = recalculate(first, "job.xlsx")
    assert again.stale() == ()
    assert refreshed(open_package(first, "job.xlsx"), again) == first


_NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
_TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=20).filter(
    lambda text: "_x" not in text and "\ufffe" not in text and "\uffff" not in text
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(values=st.lists(_NUMBERS | _TEXTS | st.booleans(), min_size=1, max_size=6))
def test_what_goes_into_a_cell_comes_out_of_the_refreshed_workbook(
    package_of: Maker, values: list[float | str | bool]
) -> None:
    rows = "".join(
        f'<row r="{i}"><c r="A{i}" t="e"><f>0</f><v>#N/A</v></c></row>' for i in range(1, len(values) + 1)
    )
    got = refreshed(
        open_package(package_of(rows), "job.xlsx"),
        _results(**{f"A{i}": value for i, value in enumerate(values, start=1)}),
    )
    sheet = openpyxl.load_workbook(io.BytesIO(got), data_only=True)["S1"]
    # openpyxl reads an empty text as no value, and a whole number as an int.
    read = [sheet.cell(i, 1).value for i in range(1, len(values) + 1)]
    assert ["" if value is None else value for value in read] == values
    assert [isinstance(a, bool) for a in read] == [isinstance(b, bool) for b in values]


# Damage


def _specimen() -> bytes:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert isinstance(sheet, Worksheet)
    for row in range(1, 8):
        sheet.cell(row, 1, row * 0.5)
        sheet.cell(row, 2, f'=IF(A{row}>1,SUM(A1:A{row}),"small")')
    sheet["D1"] = ArrayFormula("D1:D3", "=A1:A3*2")
    return _saved(workbook)


def _mutated(data: bytes, chance: random.Random) -> bytes:
    """Damage the package as such, or one of its parts within a sound package."""
    raw = bytearray(data)
    if chance.random() < 0.4:
        for _ in range(chance.randint(1, 8)):
            raw[chance.randrange(len(raw))] = chance.randrange(256)
        return bytes(raw[: chance.randrange(1, len(raw))]) if chance.random() < 0.3 else bytes(raw)
    output = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(output, "w") as target:
        victim = chance.choice([name for name in source.namelist() if "theme" not in name])
        for name in source.namelist():
            content = bytearray(source.read(name))
            if name == victim:
                for _ in range(chance.randint(1, 4)):
                    start = chance.randrange(len(content))
                    piece = chance.choice(
                        [b"", b"<", b'"', b"9", b"]]>", b"\xff", bytes(content[start : start + 40])]
                    )
                    content[start : start + chance.randint(0, 12)] = piece
            target.writestr(name, bytes(content))
    return output.getvalue()


def test_damaged_workbooks_give_nothing_but_workbook_errors() -> None:
    specimen = _specimen()
    told: list[DampcellError] = []
    for seed in range(400):
        data = _mutated(specimen, random.Random(seed))
        try:
            refreshed(open_package(data, "job.xlsx"), recalculate(data, "job.xlsx"))
        except DampcellError as error:
            told.append(error)
    assert all(isinstance(error, WorkbookError) and str(error).startswith("job.xlsx") for error in told)
    # Some damage is harmless, some is not: the specimen must be neither proof nor hopeless.
    assert 50 < len(told) < 400
