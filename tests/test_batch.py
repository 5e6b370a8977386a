"""Batch: what is found, where results go, and that a bad workbook harms neither itself nor the others."""

from __future__ import annotations

import functools
import hashlib
import io
import json
import re
import zipfile
from importlib.resources import files
from pathlib import Path

import openpyxl
import pypdf
import pytest
from typer.testing import CliRunner, Result

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks import batch, producing, report_command
from dampcell.workbooks.batch import JobOutcome, find, hand_out_here, plan, run_all
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.producing import Job, Product, produce
from dampcell.workbooks.results import Difference
from dampcell.workbooks.stamps import HOME

DEMOS = sorted(
    (item for item in files("dampcell.templates").joinpath("demo").iterdir() if item.name.endswith(".xlsx")),
    key=lambda item: item.name,
)
DEMO = DEMOS[-1].read_bytes()


@functools.cache
def made_from(demo: str) -> Product:
    made = remembered(Job(next(item for item in DEMOS if item.name == demo).read_bytes(), demo))
    assert isinstance(made, Product)
    return made


def fresh() -> bytes:
    """The small demo job with no stale value, whatever was computed since it was saved."""
    return made_from(DEMOS[-1].name).copy


@pytest.fixture(autouse=True)
def _made_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Equal workbooks are computed once for all tests; that this changes nothing is a test of its own."""
    monkeypatch.setattr(producing, "produce", remembered)
    # Worker processes have tests of their own.
    monkeypatch.setattr(report_command, "Pool", lambda *_: hand_out_here)


remembered = functools.cache(produce)


def call(command: str, *arguments: str | Path) -> Result:
    return CliRunner().invoke(build_app(command), [command, *map(str, arguments)])


def only(path: Path) -> JobOutcome:
    (outcome,) = run_all(plan(find([path])), hand_out_here)
    return outcome


def text_of(pdf: bytes | Path) -> str:
    read = pypdf.PdfReader(io.BytesIO(pdf) if isinstance(pdf, bytes) else pdf)
    return " ".join(" ".join(sheet.extract_text().split()) for sheet in read.pages)


def everything_below(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and HOME not in path.parts
    }


def names(paths: list[batch.Found]) -> list[str]:
    return [entry.source.name for entry in paths]


# What is found


def test_a_folder_is_searched_to_any_depth_in_order(tmp_path: Path) -> None:
    for name in ("b.xlsx", "a.xlsm", "2026/März/c d.XLSX", "notes.txt", "old.xls"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    assert names(find([tmp_path])) == ["a.xlsm", "b.xlsx", "c d.XLSX"]


def test_lock_files_hidden_files_and_earlier_results_are_left_out(tmp_path: Path) -> None:
    for name in (
        "~$job.xlsx",
        ".~lock.job.xlsx#",
        ".hidden.xlsx",
        ".cache/job.xlsx",
        "job refreshed.xlsx",
        "reports/job.xlsx",
    ):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    assert find([tmp_path]) == []


def test_the_folder_of_the_results_is_not_searched(tmp_path: Path) -> None:
    (tmp_path / "done").mkdir()
    (tmp_path / "done" / "job.xlsx").touch()
    assert find([tmp_path], skip=tmp_path / "done") == []


def test_linked_folders_are_not_followed(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").touch()
    (tmp_path / "loop").symlink_to(tmp_path, target_is_directory=True)
    assert names(find([tmp_path])) == ["job.xlsx"]


def test_a_workbook_named_twice_stands_once(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").touch()
    assert names(find([tmp_path / "job.xlsx", tmp_path])) == ["job.xlsx"]


def test_a_path_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(WorkbookError, match=r"gone\.xlsx: there is no such file or folder"):
        find([tmp_path / "gone.xlsx"])


# Where results go


def test_results_go_into_a_folder_beside_the_sources_and_keep_their_place(tmp_path: Path) -> None:
    (tmp_path / "2026").mkdir()
    (tmp_path / "2026" / "job.xlsx").touch()
    (task,) = plan(find([tmp_path]))
    assert task.report == tmp_path / "reports" / "2026" / "job report.pdf"
    assert task.copy == tmp_path / "reports" / "2026" / "job refreshed.xlsx"


def test_a_single_file_has_its_results_beside_it(tmp_path: Path) -> None:
    (tmp_path / "job.xlsm").touch()
    (task,) = plan(find([tmp_path / "job.xlsm"]))
    assert task.copy == tmp_path / "reports" / "job refreshed.xlsm"


def test_no_two_workbooks_share_a_result(tmp_path: Path) -> None:
    for name in ("one/Job.xlsx", "two/job.xlsx", "two/job.xlsm"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    tasks = plan(find([tmp_path / "one", tmp_path / "two"]), out=tmp_path / "out")
    results = [str(path).casefold() for task in tasks for path in (task.report, task.copy)]
    assert len(set(results)) == 6


# One good workbook


def test_a_report_and_a_refreshed_copy_are_made_and_the_source_is_untouched(tmp_path: Path) -> None:
    source = tmp_path / "job.xlsx"
    source.write_bytes(DEMO)
    outcome = only(source)
    assert outcome.failure == ""
    assert source.read_bytes() == DEMO
    assert outcome.task.report.read_bytes().startswith(b"%PDF")
    assert openpyxl.load_workbook(outcome.task.copy).sheetnames == openpyxl.load_workbook(source).sheetnames
    assert sorted(path.name for path in outcome.task.report.parent.iterdir()) == [
        HOME,
        "job refreshed.xlsx",
        "job report.pdf",
    ]


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo.name)
def test_same_input_gives_the_same_bytes(demo: Path) -> None:
    first, second = made_from(demo.name), produce(Job(demo.read_bytes(), demo.name))
    assert isinstance(second, Product)
    assert first.report == second.report
    assert first.copy == second.copy


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo.name)
def test_the_demo_jobs_are_computed_whole_and_nothing_in_them_is_stale(demo: Path) -> None:
    made = made_from(demo.name)
    assert made.problems == ()
    assert made.stale == (), "run python -m dampcell.workbooks.forms"


# Stale values


def with_saved_value(data: bytes, sheet: str, cell: str, value: str) -> bytes:
    """Change one saved value in the sheet's XML, as a program that did not recalculate leaves it."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    part = f"xl/worksheets/sheet{book.sheetnames.index(sheet) + 1}.xml"
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(target, "w") as changed:
        for name in source.namelist():
            content = source.read(name)
            if name == part:
                pattern = rb'(<c r="' + cell.encode() + rb'"[^>]*>.*?<v>)[^<]*(</v>)'
                content, count = re.subn(pattern, rb"\g<1>" + value.encode() + rb"\g<2>", content, count=1)
                assert count == 1
            changed.writestr(name, content)
    return target.getvalue()


def test_a_stale_cell_is_listed_with_both_values() -> None:
    book = openpyxl.load_workbook(io.BytesIO(fresh()), data_only=True)
    place = book.defined_names["stiffness_as_found"].attr_text or ""
    sheet, cell = place.replace("$", "").replace("'", "").split("!")
    saved = book[sheet][cell].value
    made = produce(Job(with_saved_value(fresh(), sheet, cell, "987.5"), "job.xlsx"))
    assert isinstance(made, Product)
    assert made.stale == (Difference(sheet, cell, "987.5", f"{saved:.10g}"),)
    told = text_of(made.report)
    assert "Saved values that differ" in told
    assert f"{sheet} {cell} 987.5 {saved:.10g}" in told
    unchanged = remembered(Job(fresh(), "job.xlsx"))
    assert isinstance(unchanged, Product)
    assert "Saved values that differ" not in text_of(unchanged.report)


# Bad workbooks


def truncated() -> bytes:
    return DEMO[: len(DEMO) // 2]


def protected() -> bytes:
    return (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
        + b"\0" * 504
        + "EncryptedPackage".encode("utf-16-le")
        + b"\0" * 480
    )


def without_sheets() -> bytes:
    target = io.BytesIO()
    openpyxl.Workbook().save(target)
    return target.getvalue()


BAD = {
    "empty": (b"", "is empty"),
    "no workbook": (b"Dear rider, your fork is ready.", "is no workbook"),
    "truncated": (truncated(), "is damaged or cut short"),
    "protected": (protected(), "is protected by a password"),
    "lacks the sheets": (without_sheets(), "is no stack record"),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_workbook_gets_one_sentence_and_no_result(tmp_path: Path, kind: str) -> None:
    data, reason = BAD[kind]
    source = tmp_path / "bad one.xlsx"
    source.write_bytes(data)
    outcome = only(source)
    assert outcome.failure.startswith("bad one.xlsx")
    assert reason in outcome.failure
    assert "\n" not in outcome.failure
    assert everything_below(tmp_path) == {"bad one.xlsx": hashlib.sha256(data).hexdigest()}


@pytest.mark.parametrize("lock", ["~$job.xlsx", ".~lock.job.xlsx#"])
def test_a_workbook_that_is_open_elsewhere_is_left_alone(tmp_path: Path, lock: str) -> None:
    (tmp_path / "job.xlsx").write_bytes(DEMO)
    (tmp_path / lock).touch()
    outcome = only(tmp_path / "job.xlsx")
    assert f"job.xlsx: is open in another program (its lock file {lock} lies beside it)" in outcome.failure
    assert not outcome.task.report.exists()


def test_a_folder_that_cannot_be_written_to_is_named(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(DEMO)
    (tmp_path / "reports").write_text("a file where the folder should be")
    outcome = only(tmp_path / "job.xlsx")
    assert outcome.failure.startswith("job.xlsx: the report cannot be written")
    assert str(tmp_path / "reports") in outcome.failure


def test_a_result_that_cannot_be_written_leaves_nothing_half(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "job.xlsx").write_bytes(DEMO)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    outcome = only(tmp_path / "job.xlsx")
    assert "No space left on device" in outcome.failure
    assert everything_below(tmp_path / "reports") == {}
    assert [path.name for path in outcome.task.stamp.parent.iterdir()] == ["lock"]


def test_the_other_workbooks_go_on_and_no_source_changes(tmp_path: Path) -> None:
    for kind, (data, _) in BAD.items():
        (tmp_path / f"{kind}.xlsx").write_bytes(data)
    (tmp_path / "z good.xlsx").write_bytes(DEMO)
    before = everything_below(tmp_path)
    outcomes = list(run_all(plan(find([tmp_path])), hand_out_here))
    assert [outcome.task.source.name for outcome in outcomes if outcome.done] == ["z good.xlsx"]
    after = everything_below(tmp_path)
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {"reports/z good report.pdf", "reports/z good refreshed.xlsx"}


# The commands


def test_report_prints_paths_and_leaves_with_zero(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(DEMO)
    result = call("report", tmp_path)
    assert (result.exit_code, result.stdout) == (0, f"{tmp_path / 'reports' / 'job report.pdf'}\n")
    assert "1 report made." in result.stderr


def test_report_leaves_with_one_and_the_sentence_when_a_workbook_is_bad(tmp_path: Path) -> None:
    (tmp_path / "bad.xlsx").write_bytes(b"nothing")
    (tmp_path / "good.xlsx").write_bytes(DEMO)
    result = call("report", tmp_path, "--out", tmp_path / "out")
    assert result.exit_code == 1
    assert result.stdout == f"{tmp_path / 'out' / 'good report.pdf'}\n"
    assert "bad.xlsx" in result.stderr
    assert "is no workbook" in result.stderr
    assert "1 report made, 1 failed." in result.stderr


def test_report_as_json_tells_all_of_each_workbook(tmp_path: Path) -> None:
    (tmp_path / "bad.xlsx").write_bytes(b"nothing")
    (tmp_path / "good.xlsx").write_bytes(fresh())
    result = call("report", tmp_path, "--json")
    bad, good = json.loads(result.stdout)["jobs"]
    assert "is no workbook" in bad["failure"]
    assert bad["report"] is None
    assert (good["failure"], good["stale"], good["problems"]) == (None, [], [])
    assert Path(good["report"]).exists()
    assert good["job"]


def test_a_dry_run_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(DEMO)
    result = call("report", tmp_path, "--dry-run")
    assert (result.exit_code, result.stdout) == (0, f"{tmp_path / 'reports' / 'job report.pdf'}\n")
    assert not (tmp_path / "reports").exists()
    planned = json.loads(call("report", tmp_path, "--dry-run", "--json").stdout)["planned"]
    assert [Path(one["source"]).name for one in planned] == ["job.xlsx"]


@pytest.mark.parametrize(
    ("name", "sentence"),
    [("gone", "there is no such file or folder"), ("", "there is no workbook here")],
)
def test_a_wrong_call_leaves_with_two(tmp_path: Path, name: str, sentence: str) -> None:
    result = call("report", tmp_path / name)
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert result.stdout == ""


def test_paper_is_by_choice(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(DEMO)
    assert call("report", tmp_path, "--paper", "us-letter").exit_code == 0
    box = pypdf.PdfReader(tmp_path / "reports" / "job report.pdf").pages[0].mediabox
    assert (round(box.width), round(box.height)) == (612, 792)


def test_demo_says_where_the_reports_lie_and_keeps_what_is_there(tmp_path: Path) -> None:
    out = tmp_path / "demo"
    out.mkdir()
    (out / DEMOS[0].name).write_bytes(DEMO)
    result = call("demo", "--out", out)
    assert result.exit_code == 0
    assert f"their reports in {out / 'reports'}" in result.stderr
    assert len(result.stdout.splitlines()) == len(DEMOS)
    assert (out / DEMOS[0].name).read_bytes() == DEMO


def test_demo_into_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "demo").touch()
    result = call("demo", "--out", tmp_path / "demo")
    assert result.exit_code == 2
    assert "the demo cannot be written here" in result.stderr
