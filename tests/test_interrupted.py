"""A run that is cut short anywhere: no half file, no harmed source, and the next run makes the rest."""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import psutil
import pytest
from tests.light_job import LIGHT_JOB

from dampcell.workbooks.stamps import HOME

JOBS = 5
KILLS = 4
REPORT = [sys.executable, "-m", "dampcell.workbooks.cli", "report"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for number in range(JOBS):
        (tmp_path / f"job {number}.xlsx").write_bytes(_numbered(number))
    return tmp_path


def _numbered(number: int) -> bytes:
    """The demo job with another comment in its package: another hash, the same content."""
    output = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(LIGHT_JOB)) as old,
        zipfile.ZipFile(output, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            new.writestr(name, old.read(name))
        new.comment = f"job {number}".encode()
    return output.getvalue()


def hashes(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.glob("*.xlsx")}


def check_whole(results: Path) -> int:
    """Check that every file with a good name is whole; give the number of leftovers with a bad one."""
    leftovers = 0
    for path in results.rglob("*"):
        if path.is_dir() or path.name == "lock":
            continue
        data = path.read_bytes()
        if path.name.endswith(".tmp"):
            leftovers += 1
        elif path.suffix == ".pdf":
            assert data.startswith(b"%PDF"), path
            assert data.rstrip().endswith(b"%%EOF"), path
        elif path.suffix == ".json":
            json.loads(data)
        else:
            assert zipfile.ZipFile(path).testzip() is None, path
    return leftovers


def finish(folder: Path) -> None:
    """Run once more, undisturbed, and check that all is there and nothing else."""
    done = subprocess.run([*REPORT, str(folder)], capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stderr
    results = folder / "reports"
    assert check_whole(results) == 0
    assert len(list(results.glob("*.pdf"))) == len(list(results.glob("*.xlsx"))) == JOBS
    assert len(list((results / HOME).glob("*.json"))) == JOBS


def begun(folder: Path, after: int) -> subprocess.Popen[str]:
    """Start a run, and wait until it has written so many reports."""
    run = subprocess.Popen(
        [*REPORT, str(folder), "--again", "--processes", "2"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    assert run.stdout is not None
    for _ in range(after):
        run.stdout.readline()
    return run


def descendants(run: subprocess.Popen[str]) -> list[psutil.Process]:
    return psutil.Process(run.pid).children(recursive=True)


def test_killed_anywhere_it_harms_nothing_and_the_next_run_completes(folder: Path) -> None:
    sources = hashes(folder)
    chance = random.Random(7)
    for kill in range(KILLS):
        run = begun(folder, after=kill % JOBS)
        workers = descendants(run)
        time.sleep(chance.uniform(0.0, 0.3))
        run.kill()
        run.communicate()
        # The workers notice that their parent is gone.
        _, alive = psutil.wait_procs(workers, timeout=20)
        assert alive == []
        check_whole(folder / "reports")
        assert hashes(folder) == sources
    finish(folder)
    assert hashes(folder) == sources


_DIES = """
import os, sys
from dampcell.workbooks import batch
from dampcell.workbooks.producing import Product

left = int(sys.argv[2])
for name in ("fsync", "replace"):
    def counted(*given, real=getattr(os, name)):
        global left
        left -= 1
        if left == 0:
            os._exit(9)
        return real(*given)
    setattr(os, name, counted)
folder = batch.Path(sys.argv[1])
made = lambda jobs: ((at, Product(b"%PDF %%EOF", job.data, "1", (), ())) for at, job in enumerate(jobs))
for outcome in batch.run_all(batch.plan(batch.find([folder])), made, again=True):
    assert outcome.done, outcome.failure
"""


def test_killed_at_every_step_of_writing_it_leaves_nothing_half(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(LIGHT_JOB)
    codes: list[int] = []
    leftovers = 0
    # Each of copy, report and stamp reaches the disk, takes its name, and then the folder reaches the disk.
    while 0 not in codes:
        command = [sys.executable, "-c", _DIES, str(tmp_path), str(len(codes) + 1)]
        codes.append(subprocess.run(command, check=False, timeout=60).returncode)
        leftovers += check_whole(tmp_path / "reports")
    assert codes == [9] * 9 + [0]
    assert leftovers > 0
    assert check_whole(tmp_path / "reports") == 0
    assert (tmp_path / "job.xlsx").read_bytes() == LIGHT_JOB


def test_an_interrupt_ends_with_130_without_traceback_and_without_workers(folder: Path) -> None:
    run = begun(folder, after=1)
    workers = descendants(run)
    run.send_signal(signal.SIGINT)
    _, told = run.communicate(timeout=60)
    assert run.returncode == 130
    assert told.splitlines()[-1] == "interrupted."
    assert "Traceback" not in told
    _, alive = psutil.wait_procs(workers, timeout=20)
    assert alive == []
    check_whole(folder / "reports")
    finish(folder)


@pytest.mark.skipif(sys.platform == "win32", reason="limits of file size are a matter of POSIX systems")
def test_a_full_disk_is_told_and_leaves_nothing_half(folder: Path) -> None:
    # A limit of file size stands for the disk: a write beyond it fails in the middle.
    limited = (
        "import resource, runpy, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000)); "
        "sys.argv = ['report', 'report', sys.argv[1]]; "
        "runpy.run_module('dampcell.workbooks.cli', None, '__main__')"
    )
    done = subprocess.run(
        [sys.executable, "-c", limited, str(folder)], capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.count("the report cannot be written (File too large)") == JOBS
    assert "Traceback" not in done.stderr
    assert check_whole(folder / "reports") == 0
    assert [path.name for path in (folder / "reports").iterdir()] == [HOME]
    finish(folder)
