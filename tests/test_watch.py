"""Watching a folder: a saved workbook becomes a report; locks, halves and results of ours do not."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import watchfiles
from tests.light_job import LIGHT_JOB

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks import watch_command
from dampcell.workbooks.cli import main
from dampcell.workbooks.files import write_bytes

_MOST_SECONDS = 180


@pytest.fixture
def watching(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    run = subprocess.Popen(
        [sys.executable, "-m", "dampcell.workbooks.cli", "watch", str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    # A vain wait for its words ends with it.
    limit = threading.Timer(_MOST_SECONDS, run.kill)
    limit.start()
    try:
        yield run
    finally:
        limit.cancel()
        run.kill()
        run.communicate()


def told(run: subprocess.Popen[str], words: str) -> list[str]:
    """Read what is told until these words come."""
    assert run.stderr is not None
    lines: list[str] = []
    while words not in (lines[-1] if lines else ""):
        line = run.stderr.readline()
        assert line, lines
        lines.append(line)
    return lines


def test_saved_workbooks_become_reports_until_the_command_is_interrupted(
    watching: subprocess.Popen[str], tmp_path: Path
) -> None:
    assert watching.stdout is not None
    told(watching, "Watching")
    # Half a workbook, a lock file and a note come first, and nothing is said of them.
    (tmp_path / "half.xlsx").write_bytes(LIGHT_JOB[:20_000])
    (tmp_path / "~$job.xlsx").write_bytes(b"lock")
    (tmp_path / "note.txt").write_text("call the rider")
    # While it is still open, as its lock file says, a workbook is saved.
    write_bytes(tmp_path / "job.xlsx", LIGHT_JOB)
    assert watching.stdout.readline() == f"{tmp_path / 'reports' / 'job report.pdf'}\n"
    lines = told(watching, "1 report made")
    assert not any("half" in line for line in lines)
    # The rest of the half one comes.
    (tmp_path / "half.xlsx").write_bytes(LIGHT_JOB)
    assert watching.stdout.readline() == f"{tmp_path / 'reports' / 'half report.pdf'}\n"
    told(watching, "1 report made")
    watching.send_signal(signal.SIGINT)
    out, last = watching.communicate(timeout=60)
    assert (watching.returncode, out, last.splitlines()[-1]) == (0, "", "No longer watching.")


def changes(*lists: set[tuple[watchfiles.Change, str]]) -> object:
    def watch(*_: object, **__: object) -> Iterator[set[tuple[watchfiles.Change, str]]]:
        yield from lists

    return watch


def run(folder: Path) -> int | str | None:
    with pytest.raises(SystemExit) as left:
        main(["watch", str(folder)])
    return left.value.code


def test_what_is_not_up_to_date_is_made_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.xlsx").write_bytes(LIGHT_JOB)
    monkeypatch.setattr("watchfiles.watch", changes())
    assert run(tmp_path) == 0
    read = capsys.readouterr()
    assert read.out == f"{tmp_path / 'reports' / 'job report.pdf'}\n"
    assert read.err.splitlines()[-1] == "No longer watching."


def test_a_folder_that_is_not_there_is_a_wrong_call(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(tmp_path / "gone") == 2
    assert "there is no such folder" in capsys.readouterr().err


def test_a_run_of_another_command_in_the_folder_does_not_end_the_watch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.xlsx").write_bytes(LIGHT_JOB)

    def busy(*_: object) -> int:
        raise WorkbookError("another run is making reports in this folder")

    monkeypatch.setattr(watch_command, "bring_up_to_date", busy)
    monkeypatch.setattr("watchfiles.watch", changes())
    assert run(tmp_path) == 0
    assert "another run is making reports" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "counts"),
    [
        ("job.xlsx", True),
        ("deep/below/job.XLSM", True),
        ("~$job.xlsx", False),
        (".~lock.job.xlsx#", False),
        ("job.ods", False),
        ("job refreshed.xlsx", False),
        ("reports/job report.xlsx", False),
        ("deep/.hidden/job.xlsx", False),
        ("out/job.xlsx", False),
    ],
)
def test_only_what_may_be_a_job_counts_as_saved(tmp_path: Path, name: str, counts: bool) -> None:
    may = watch_command._may_be_job
    path, out = tmp_path / name, tmp_path / "out"
    assert may(watchfiles.Change.modified, path, tmp_path, out) is counts
    assert may(watchfiles.Change.added, path, tmp_path, out) is counts
    assert not may(watchfiles.Change.deleted, path, tmp_path, out)
