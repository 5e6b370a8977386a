"""Workbooks are respelled in their formulas only, in a copy."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dampcell.functions.errors import WorkbookError
from dampcell.functions.hosts.calc_addin.shipped.component import respelled
from dampcell.functions.registry import REGISTRY
from dampcell.workbooks.cli import main
from dampcell.workbooks.respelling import PREFIXES, respell

PackageOf = Callable[..., bytes]

CELL = '<row r="1"><c r="A1"><f>{}</f><v>7.5</v></c></row>'


def _respelled(formula: str) -> str:
    return respelled(formula, "DAMP", REGISTRY, "DAMP.")


@pytest.mark.parametrize(
    "written",
    [
        "_xldudf_DAMP_OIL_INDEX(1)",
        "_XLDUDF_damp_oil_index(1)",
        "DAMP_OIL_INDEX(1)",
        "DAMP.OIL_INDEX(1)",
        "_xll.DAMP_OIL_INDEX(1)",
        "_xlfn._xldudf_DAMP_OIL_INDEX(1)",
        "[1]!DAMP_OIL_INDEX(1)",
        "'My book.xlsm'!DAMP_OIL_INDEX(1)",
    ],
)
def test_every_spelling_is_known(written: str) -> None:
    assert _respelled(f"=1+{written}*2") == "=1+DAMP.OIL_INDEX(1)*2"


@pytest.mark.parametrize(
    "formula",
    [
        '="DAMP_OIL_INDEX(1)"',
        '="a ""DAMP_OIL_INDEX(1)"""',
        "='DAMP_OIL_INDEX(1)'!A1",
        "=DAMP_NO_SUCH_FUNCTION(1)",
        "=MYDAMP_OIL_INDEX(1)",
        "=x.DAMP_OIL_INDEX(1)",
        "=DAMP_OIL_INDEX+1",
    ],
)
def test_texts_sheets_and_others_functions_are_left_alone(formula: str) -> None:
    assert _respelled(formula) == formula


@given(
    st.sampled_from(sorted(REGISTRY)), st.sampled_from(sorted(PREFIXES)), st.sampled_from(sorted(PREFIXES))
)
def test_there_and_back_is_the_same(name: str, first: str, second: str) -> None:
    formula = f'=IF(A1>0,{PREFIXES[first]}{name}(A1,"x"),{PREFIXES[first]}{name}(B1))'
    there = respelled(formula, "DAMP", REGISTRY, PREFIXES[second])
    assert there == formula.replace(PREFIXES[first], PREFIXES[second])
    assert respelled(there, "DAMP", REGISTRY, PREFIXES[first]) == formula


def test_formulas_of_cells_names_formats_and_validations_change_and_nothing_else(
    package_of: PackageOf,
) -> None:
    rest = (
        '<row r="2"><c r="A2" t="str"><f t="array" ref="A2:A3">IF(B1&lt;2,DAMP_OIL_INDEX(1,2),"a&amp;b")</f>'
        "<v>DAMP_OIL_INDEX(kept)</v></c></row></sheetData><conditionalFormatting><cfRule><formula>"
        "DAMP_OIL_INDEX(1,2)&gt;1</formula></cfRule></conditionalFormatting><dataValidations><dataValidation>"
        "<formula1>DAMP_OIL_INDEX(1,2)</formula1></dataValidation></dataValidations><sheetData>"
    )
    names = '<definedNames><definedName name="n">DAMP_OIL_INDEX(1,2)</definedName></definedNames>'
    source = package_of(CELL.format("_xldudf_DAMP_OIL_INDEX(1,2)") + rest, workbook=names)
    copy, count = respell(source, "b.xlsx", "calc")
    assert count == 5
    with zipfile.ZipFile(io.BytesIO(source)) as before, zipfile.ZipFile(io.BytesIO(copy)) as after:
        assert before.namelist() == after.namelist()
        for name in before.namelist():
            expected = before.read(name)
            if b"definedName" in expected or b"sheetData" in expected:
                for old in (b"_xldudf_DAMP_OIL_INDEX(1,2)", b"DAMP_OIL_INDEX(1,2)"):
                    expected = expected.replace(old, b"DAMP.OIL_INDEX(1,2)")
            assert after.read(name) == expected


def test_a_workbook_without_our_functions_is_its_own_copy(package_of: PackageOf) -> None:
    source = package_of(CELL.format("SUM(1,2)"))
    assert respell(source, "b.xlsx", "calc") == (source, 0)


def test_a_broken_part_is_named(package_of: PackageOf) -> None:
    source = package_of("", raw=b"<worksheet><f>DAMP_OIL_INDEX(1)</f>")
    with pytest.raises(
        WorkbookError, match=r"b\.xlsx: its part xl/worksheets/sheet1\.xml cannot be read; allowed:"
    ):
        respell(source, "b.xlsx", "calc")


def test_the_copy_lies_beside_and_the_source_stays(
    tmp_path: Path, package_of: PackageOf, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "job.xlsx"
    source.write_bytes(package_of(CELL.format("DAMP.OIL_INDEX(1,2)")))
    before = source.read_bytes()
    main_code = _run("respell", str(source), "--for", "excel")
    copy = tmp_path / "job-for-excel.xlsx"
    assert main_code == 0
    assert capsys.readouterr().out == f"{copy}\n"
    assert source.read_bytes() == before
    with zipfile.ZipFile(copy) as archive:
        assert b"<f>_xldudf_DAMP_OIL_INDEX(1,2)</f><v>7.5</v>" in archive.read("xl/worksheets/sheet1.xml")
    assert _run("respell", str(source), "--for", "excel") == 1
    assert (
        "job-for-excel.xlsx: is there already; allowed: --output with a new name" in capsys.readouterr().err
    )
    assert _run("respell", str(source), "--for", "excel", "--output", str(source)) == 1
    assert source.read_bytes() == before
    assert _run("respell", str(copy), "--for", "excel") == 0
    assert "all formulas are spelled for excel; no copy is needed" in capsys.readouterr().err
    assert _run("respell", str(source), "--for", "excel", "--output", str(tmp_path / "no" / "x.xlsx")) == 1
    assert "x.xlsx: cannot be written (No such file or directory)" in capsys.readouterr().err


def _run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    return int(left.value.code or 0)
