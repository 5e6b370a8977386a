"""Incremental runs: what is made again, and what is left as it is."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from tests.light_job import LIGHT_JOB
from typer.testing import CliRunner, Result

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks import batch, report_command
from dampcell.workbooks.batch import JobOutcome, find, hand_out_here, plan, run_all
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.files import claimed
from dampcell.workbooks.forms.templates import template_bytes
from dampcell.workbooks.package import open_package
from dampcell.workbooks.producing import Job, Product, Refusal
from dampcell.workbooks.results import Difference
from dampcell.workbooks.stamps import HOME, Stamp, Versions, digest, read_stamp, versions

NOW = Versions("1", "functions", "layout")


class Workshop:
    """Makes reports of anything at once, and remembers of what."""

    def __init__(self) -> None:
        self.seen: list[Job] = []

    def __call__(self, jobs: Iterable[Job]) -> Iterator[tuple[int, Product | Refusal]]:
        for place, job in enumerate(jobs):
            self.seen.append(job)
            if job.data == b"bad":
                yield place, Refusal(f"{job.file}: is bad.")
            elif job.data == b"busy":
                yield place, Refusal(f"{job.file}: takes too long.", lasting=False)
            elif job.data == b"shelf":
                yield place, Refusal("", other_kind="oil_shelf")
            else:
                stale = (Difference("Stacks", "C7", "1", "2"),)
                yield place, Product(b"%PDF " + job.data, b"copy " + job.data, "2025-1", ("odd.",), stale)

    @property
    def files(self) -> list[str]:
        return [job.file for job in self.seen]


def run(folder: Path, workshop: Workshop, *, now: Versions = NOW, again: bool = False) -> list[JobOutcome]:
    workshop.seen.clear()
    return list(run_all(plan(find([folder])), workshop, again=again, now=now))


@pytest.fixture
def workshop() -> Workshop:
    return Workshop()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("a", "b", "c"):
        (tmp_path / f"{name}.xlsx").write_bytes(name.encode())
    return tmp_path


def test_a_second_run_makes_nothing_and_tells_the_same(folder: Path, workshop: Workshop) -> None:
    first = run(folder, workshop)
    assert workshop.files == ["a.xlsx", "b.xlsx", "c.xlsx"]
    second = run(folder, workshop)
    assert workshop.files == []
    assert [outcome.made for outcome in second] == [False, False, False]
    assert [dataclasses.replace(outcome, made=True) for outcome in second] == first


def test_only_the_workbook_that_changed_is_made_again(folder: Path, workshop: Workshop) -> None:
    run(folder, workshop)
    (folder / "b.xlsx").write_bytes(b"new")
    outcomes = run(folder, workshop)
    assert workshop.files == ["b.xlsx"]
    assert {outcome.task.source.name: outcome.made for outcome in outcomes}["b.xlsx"]
    assert (folder / "reports" / "b report.pdf").read_bytes() == b"%PDF new"


def test_a_workbook_saved_again_with_the_same_content_is_up_to_date(folder: Path, workshop: Workshop) -> None:
    run(folder, workshop)
    os.utime(folder / "a.xlsx", (1e9, 1e9))
    run(folder, workshop)
    assert workshop.files == []


@pytest.mark.parametrize("part", ["number", "functions", "layout"])
def test_another_version_makes_all_again(folder: Path, workshop: Workshop, part: str) -> None:
    run(folder, workshop)
    run(folder, workshop, now=dataclasses.replace(NOW, **{part: "new"}))
    assert len(workshop.files) == 3


def test_another_paper_makes_all_again(folder: Path, workshop: Workshop) -> None:
    run(folder, workshop)
    workshop.seen.clear()
    list(run_all(plan(find([folder]), paper="us-letter"), workshop, now=NOW))
    assert [job.paper for job in workshop.seen] == ["us-letter"] * 3


@pytest.mark.parametrize("result", ["b report.pdf", "b refreshed.xlsx", f"{HOME}/b.json"])
def test_a_result_that_is_missing_is_made_again(folder: Path, workshop: Workshop, result: str) -> None:
    run(folder, workshop)
    (folder / "reports" / result).unlink()
    run(folder, workshop)
    assert workshop.files == ["b.xlsx"]
    assert (folder / "reports" / result).exists()


def test_a_result_that_was_written_over_is_made_again(folder: Path, workshop: Workshop) -> None:
    run(folder, workshop)
    (folder / "reports" / "b refreshed.xlsx").write_bytes(b"something of the user's")
    run(folder, workshop)
    assert workshop.files == ["b.xlsx"]


def test_all_is_made_again_when_asked(folder: Path, workshop: Workshop) -> None:
    run(folder, workshop)
    run(folder, workshop, again=True)
    assert len(workshop.files) == 3


@pytest.mark.parametrize(
    "stamp",
    [b"", b"{", b"[]", b'{"format": 99}', b'{"format": 1}', b'{"format": 1, "made_with": 3}', b"\xff"],
)
def test_a_stamp_that_cannot_be_read_is_none(folder: Path, workshop: Workshop, stamp: bytes) -> None:
    run(folder, workshop)
    path = folder / "reports" / HOME / "b.json"
    path.write_bytes(stamp)
    assert read_stamp(path) is None
    run(folder, workshop)
    assert workshop.files == ["b.xlsx"]


def test_a_stamp_is_read_as_it_was_written(tmp_path: Path) -> None:
    stamp = Stamp(
        "ab",
        NOW,
        "us-letter",
        3,
        4,
        "cd",
        "2025-1",
        "why",
        False,
        "oil_shelf",
        ("µ",),
        (Difference("S", "A1", "1", "2"),),
        (Difference("S", "A2", "3", "4"),),
    )
    (tmp_path / "s.json").write_bytes(stamp.as_bytes())
    assert read_stamp(tmp_path / "s.json") == stamp


def test_a_bad_workbook_is_told_again_but_not_tried_again(folder: Path, workshop: Workshop) -> None:
    (folder / "b.xlsx").write_bytes(b"bad")
    run(folder, workshop)
    outcome = run(folder, workshop)[1]
    assert workshop.files == []
    assert (outcome.failure, outcome.made, outcome.done) == ("b.xlsx: is bad.", False, False)


def test_what_failed_for_want_of_time_is_tried_again(folder: Path, workshop: Workshop) -> None:
    (folder / "b.xlsx").write_bytes(b"busy")
    run(folder, workshop)
    run(folder, workshop)
    assert workshop.files == ["b.xlsx"]


def test_a_workbook_that_was_open_is_tried_again(folder: Path, workshop: Workshop) -> None:
    (folder / "~$b.xlsx").touch()
    done = {outcome.task.source.name: outcome.done for outcome in run(folder, workshop)}
    assert done == {"a.xlsx": True, "b.xlsx": False, "c.xlsx": True}
    (folder / "~$b.xlsx").unlink()
    assert all(outcome.done for outcome in run(folder, workshop))
    assert workshop.files == ["b.xlsx"]


def test_a_workbook_of_another_kind_is_neither_report_nor_failure(folder: Path, workshop: Workshop) -> None:
    (folder / "b.xlsx").write_bytes(b"shelf")
    for made in (True, False):
        outcome = next(one for one in run(folder, workshop) if one.task.source.name == "b.xlsx")
        assert (outcome.other_kind, outcome.failure, outcome.done) == ("oil_shelf", "", False)
        assert outcome.made is made


def test_the_earlier_report_of_a_workbook_that_broke_stays(folder: Path, workshop: Workshop) -> None:
    run(folder, workshop)
    (folder / "b.xlsx").write_bytes(b"bad")
    run(folder, workshop)
    assert (folder / "reports" / "b report.pdf").read_bytes() == b"%PDF b"


def test_after_the_functions_changed_the_earlier_copy_goes_along(folder: Path, workshop: Workshop) -> None:
    run(folder, workshop)
    (folder / "b.xlsx").write_bytes(b"new")
    (folder / "reports" / "c refreshed.xlsx").write_bytes(b"not c")
    run(folder, workshop, now=dataclasses.replace(NOW, functions="new"))
    # Only where workbook and copy are those of the earlier run is it known what the functions changed.
    assert [job.previous for job in workshop.seen] == [b"copy a", None, None]
    run(folder, workshop, now=dataclasses.replace(NOW, functions="new", layout="new"))
    assert [job.previous for job in workshop.seen] == [None, None, None]


def test_leftovers_of_a_run_that_was_cut_short_are_swept(folder: Path, workshop: Workshop) -> None:
    run(folder, workshop)
    leftovers = [folder / "reports" / at / ".dampcell-1234.tmp" for at in ("", HOME)]
    for leftover in leftovers:
        leftover.write_bytes(b"half")
    run(folder, workshop)
    assert not any(leftover.exists() for leftover in leftovers)


def test_two_runs_in_one_folder_are_refused(
    folder: Path, workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dampcell.workbooks.files._PATIENCE", 0.0)
    with (
        claimed(folder / "reports" / HOME),
        pytest.raises(WorkbookError, match="another run is making reports in this folder"),
    ):
        run(folder, workshop)
    assert len(run(folder, workshop)) == 3


def test_a_stamp_that_cannot_be_written_is_told_with_the_reason_of_the_workbook(
    folder: Path, workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "b.xlsx").write_bytes(b"bad")

    def full(path: Path, _: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(batch, "write_bytes", full)
    outcome = next(one for one in run(folder, workshop) if one.task.source.name == "b.xlsx")
    assert outcome.failure.startswith("b.xlsx: is bad.")
    assert "No space left on device" in outcome.failure


def test_the_versions_are_those_of_the_files_of_the_package() -> None:
    now = versions()
    assert now.number
    assert len(now.functions) == len(now.layout) == 64
    assert now.functions != now.layout


# With real jobs


def test_results_that_the_functions_changed_are_named_with_both_values(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(LIGHT_JOB)
    (first,) = run_all(plan(find([tmp_path])), hand_out_here)
    assert first.changed == ()
    _pretend_other_functions(first)
    (second,) = run_all(plan(find([tmp_path])), hand_out_here)
    (one,) = second.changed
    assert (one.before, float(one.now) > 0) == ("987.5", True)
    told = CliRunner().invoke(build_app("report"), ["report", str(tmp_path), "--processes", "0"])
    assert "1 report made" not in told.stderr
    assert told.exit_code == 0


def _pretend_other_functions(outcome: JobOutcome) -> None:
    """Leave copy and stamp as functions that give 987.5 in one cell would have left them."""
    copy, path = outcome.task.copy, outcome.task.stamp
    package = open_package(copy.read_bytes(), copy.name)
    sheet, cell = next(
        (sheet, cell)
        for sheet in package.sheets
        for cell in package.scan(sheet).cells
        if cell.kind == "n" and cell.value_span
    )
    xml = package.part(sheet.part)
    assert cell.value_span is not None
    start, end = cell.value_span
    changed = package.rewritten({sheet.part: xml[:start] + b"<v>987.5</v>" + xml[end:]})
    copy.write_bytes(changed)
    stamp = read_stamp(path)
    assert stamp is not None
    other = dataclasses.replace(
        stamp,
        made_with=dataclasses.replace(stamp.made_with, functions="other"),
        copy_size=len(changed),
        copy_digest=digest(changed),
    )
    path.write_bytes(other.as_bytes())


# The command


@pytest.fixture
def command(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> Workshop:
    monkeypatch.setattr(report_command, "Pool", lambda *_: workshop)
    return workshop


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(build_app("report"), ["report", *map(str, arguments)])


def test_the_command_tells_what_is_up_to_date(folder: Path, command: Workshop) -> None:
    assert "3 reports made" in call(folder).stderr
    again = call(folder)
    assert (again.exit_code, again.stdout) == (0, "")
    assert "0 reports made, 3 up to date, 3 with saved values that differ" in again.stderr
    assert "3 reports made" in call(folder, "--again").stderr


def test_a_dry_run_names_only_what_is_to_be_made(folder: Path, command: Workshop) -> None:
    call(folder)
    (folder / "b.xlsx").write_bytes(b"new")
    told = call(folder, "--dry-run")
    assert told.stdout == f"{folder / 'reports' / 'b report.pdf'}\n"
    assert "1 report would be made, 2 are up to date" in told.stderr


def test_only_failed_takes_what_the_last_run_could_not_use(folder: Path, command: Workshop) -> None:
    (folder / "b.xlsx").write_bytes(b"bad")
    assert call(folder).exit_code == 1
    command.seen.clear()
    (folder / "a.xlsx").write_bytes(b"new")
    (folder / "b.xlsx").write_bytes(b"mended")
    assert call(folder, "--only-failed").exit_code == 0
    assert command.files == ["b.xlsx"]


def test_since_takes_what_was_saved_on_that_day_or_later(folder: Path, command: Workshop) -> None:
    for name in ("a", "c"):
        os.utime(folder / f"{name}.xlsx", (1e9, 1e9))
    assert call(folder, "--since", "2020-01-01").exit_code == 0
    assert command.files == ["b.xlsx"]
    assert call(folder, "--since", "yesterday").exit_code == 2


def test_a_shelf_in_the_folder_does_no_harm(folder: Path, command: Workshop) -> None:
    (folder / "shelf.xlsx").write_bytes(b"shelf")
    told = call(folder)
    assert told.exit_code == 0
    assert "3 reports made, 1 of another kind left out" in told.stderr


@pytest.mark.parametrize("kind", ["oil_shelf", "service_ledger", "comparison"])
def test_the_templates_of_other_kinds_are_told_from_jobs(tmp_path: Path, kind: str) -> None:
    (tmp_path / "x.xlsx").write_bytes(template_bytes(kind, {}))
    (outcome,) = run_all(plan(find([tmp_path])), hand_out_here)
    assert (outcome.other_kind, outcome.failure) == (kind, "")
