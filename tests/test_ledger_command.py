"""The command ``ledger``: a folder in, the ledger out; bad workbooks named, sources untouched."""

from __future__ import annotations

import hashlib
import json
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from dampcell.functions.errors import WorkbookError
from dampcell.functions.ledger import Entry, gather
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.forms.demo_year import demo_ledger, demo_shelf
from dampcell.workbooks.forms.templates import template_bytes
from dampcell.workbooks.ledger_command import FILE_NAME, write_ledger

DEMO = files("dampcell.templates").joinpath("demo")
JOBS = sorted(item.name for item in DEMO.iterdir() if item.name.endswith(".xlsx"))


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(build_app("ledger"), ["ledger", *map(str, arguments)])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "jobs ä").mkdir()
    for name in JOBS:
        (tmp_path / "jobs ä" / name).write_bytes(DEMO.joinpath(name).read_bytes())
    return tmp_path


def hashes(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_a_folder_becomes_a_ledger_and_again_the_same_one(folder: Path) -> None:
    before = hashes(folder)
    done = run(folder, "--date", "2025-12-31")
    assert done.exit_code == 0, done.output
    assert str(folder / FILE_NAME) in done.stdout.splitlines()
    assert f"{len(JOBS)} jobs in the ledger." in done.stderr
    first = hashes(folder)
    assert {name: first[name] for name in before} == before
    assert set(first) - set(before) == {FILE_NAME, "Service ledger.csv"}
    assert run(folder, "--date", "2026-06-30").exit_code == 0
    assert hashes(folder) == first


def test_bad_and_doubled_workbooks_are_named_and_the_rest_is_done(folder: Path) -> None:
    (folder / "copy.xlsx").write_bytes(DEMO.joinpath(JOBS[0]).read_bytes())
    (folder / "broken.xlsx").write_bytes(b"PK\x03\x04 cut short")
    (folder / "shelf.xlsx").write_bytes(demo_shelf())
    (folder / "undated.xlsx").write_bytes(template_bytes("stack_record", {"job_number": "7"}))
    before = hashes(folder)
    done = run(folder, "--parquet")
    assert done.exit_code == 1
    assert f"copy.xlsx: job {JOBS[0][:8]} is counted once" in done.stderr or "is counted once" in done.stderr
    assert "broken.xlsx: is damaged or cut short" in done.stderr
    assert "undated.xlsx: the job has no date, so it is in the ledger, but in no month." in done.stderr
    assert f"{len(JOBS) + 1} jobs in the ledger, 1 saved twice, 1 workbooks of another kind left out" in (
        done.stderr
    )
    after = hashes(folder)
    assert {name: after[name] for name in before} == before
    assert "Service ledger.parquet" in after
    told = json.loads(run(folder, "--json", "--dry-run").stdout)
    assert told["written"] == []
    assert [Path(name).name for name in told["failures"]] == ["broken.xlsx"]
    assert list(told["other_kinds"].values()) == ["service_ledger", "oil_shelf"] or set(
        told["other_kinds"].values()
    ) == {"oil_shelf"}
    assert len(told["duplicates"]) == 1
    assert hashes(folder) == after


def test_a_target_that_is_no_ledger_is_refused_before_the_work(folder: Path) -> None:
    target = folder / "mine.xlsx"
    target.write_bytes(demo_shelf())
    done = run(folder, "--out", target)
    assert done.exit_code == 2
    assert "is there already and is no service ledger" in done.stderr
    assert target.read_bytes() == demo_shelf()


def test_a_ledger_that_is_open_in_another_program_is_not_touched(folder: Path) -> None:
    target = folder / FILE_NAME
    target.write_bytes(demo_ledger())
    (folder / f"~${FILE_NAME}").write_bytes(b"")
    done = run(folder)
    assert done.exit_code == 2
    assert "is open in another program" in done.stderr
    assert target.read_bytes() == demo_ledger()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("nowhere",), "there is no such file or folder"),
        ((".", "--out", "ledger.txt"), "is no name for a workbook"),
    ],
)
def test_a_wrong_call_is_told(
    arguments: tuple[str, ...], sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(*arguments)
    assert done.exit_code == 2
    assert sentence in done.stderr


def test_a_folder_without_jobs_is_told(tmp_path: Path) -> None:
    done = run(tmp_path)
    assert done.exit_code == 2
    assert "there is no job workbook here" in done.stderr


def test_a_folder_that_may_not_be_written_to_is_told(tmp_path: Path) -> None:
    known = gather([Entry(1, "A-1", workbook="a.xlsx")])
    with pytest.raises(WorkbookError, match="cannot be written"):
        write_ledger(demo_ledger(), tmp_path / "gone" / FILE_NAME, known)
