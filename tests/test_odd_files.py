"""Files and folders with odd names and of odd kinds: each is read, or named with its reason; none hangs."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import stat
import subprocess
import sys
import tempfile
import unicodedata
from pathlib import Path

import openpyxl
import pytest
from tests.sound_job import packed, sound_parts
from typer.testing import CliRunner, Result

import dampcell
from dampcell.functions.errors import WorkbookError
from dampcell.functions.ledger import Entry, gather
from dampcell.workbooks import batch
from dampcell.workbooks.batch import Found, JobOutcome, find, hand_out_here, plan, run_all
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.files import printable
from dampcell.workbooks.forms.templates import template_bytes
from dampcell.workbooks.ledger_book import as_csv, filled_ledger, read_job
from dampcell.workbooks.package import read_file
from dampcell.workbooks.producing import Job, Product, attempt
from dampcell.workbooks.stamps import versions

SOUND = packed(sound_parts())
DANGEROUS = ("=1+1", "+1", "-1", "@SUM(A1)", "\t=1+1", "\r=1+1", "=cmd|' /c calc'!A0", '=HYPERLINK("x")')


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(build_app(str(arguments[0])), [*map(str, arguments)])


def run(folder: Path, out: Path | None = None) -> list[JobOutcome]:
    return list(run_all(plan(find([folder]), out=out), hand_out_here))


def command(*arguments: str | Path | bytes) -> subprocess.CompletedProcess[bytes]:
    """Run the command line in a process of its own, which a test can end when it hangs."""
    return subprocess.run(
        [sys.executable, "-m", "dampcell.workbooks.cli", *arguments],
        capture_output=True,
        timeout=60,
        check=False,
    )


# Names

NAMES = (
    "job with spaces",
    "Gabel für Jörg",
    unicodedata.normalize("NFD", "Gabel für Jörg"),
    "fork 🏍️🔧",
    'it\'s a "fork"',
    "100 % done %s %d {} $HOME",
    "two\nlines",
    "tab\there",
    ":*?<>|",
    "dots...",
    "blank ",
    " before",
    "-rf",
    "=1+1",
    "\u202etxet",
    "a\\b",
    "con",
    "[1]",
    "#1",
    "&amp;",
    "x" * 240,
    "é" * 120,
    "🔧" * 60,
)


@pytest.mark.parametrize("name", NAMES, ids=ascii)
def test_a_workbook_of_any_name_gets_its_report_and_its_entry(tmp_path: Path, name: str) -> None:
    folder = tmp_path / name[:40]
    folder.mkdir()
    source = folder / f"{name}.xlsx"
    source.write_bytes(SOUND)
    (outcome,) = run(tmp_path, tmp_path / "out")
    assert outcome.failure == ""
    assert outcome.task.report.exists()
    assert outcome.task.copy.exists()
    assert len(os.fsencode(outcome.task.copy.name)) <= 255
    again = plan(find([folder]), out=tmp_path / "out2")
    assert [batch.settled(task, now=versions()) for task in again] == [None]
    assert read_job(source, printable(source.name)).failure == ""
    assert source.read_bytes() == SOUND


def test_a_name_that_is_no_text_harms_neither_report_nor_printing(tmp_path: Path) -> None:
    source = tmp_path / os.fsdecode(b"fork \xff\xfe.xlsx")
    source.write_bytes(SOUND)
    bad = tmp_path / os.fsdecode(b"bad \xff.xlsx")
    bad.write_bytes(b"nothing")
    for more in ((), ("--json",)):
        done = command("report", tmp_path, "--processes", "1", *more)
        assert done.returncode == 1
        assert b"Traceback" not in done.stderr
        assert b"bad  .xlsx: is no workbook" in done.stderr or b"bad ?.xlsx: is no workbook" in done.stderr
    assert len(list((tmp_path / "reports").glob("*.pdf"))) == 1
    told = json.loads(done.stdout)
    assert len(told["jobs"]) == 2
    for words in (("ledger", tmp_path), ("ledger", tmp_path, "--json"), ("check", source, bad)):
        done = command(*words)
        assert done.returncode in (0, 1)
        assert b"Traceback" not in done.stderr
    assert b"fork ??.xlsx" in (tmp_path / "Service ledger.csv").read_bytes()


def test_long_names_that_end_alike_do_not_share_a_result(tmp_path: Path) -> None:
    for last in "ab":
        (tmp_path / f"{'x' * 248}{last}.xlsx").write_bytes(SOUND)
    tasks = plan(find([tmp_path]))
    assert len({task.report for task in tasks}) == len({task.copy for task in tasks}) == 2
    assert all(
        len(os.fsencode(path.name)) <= 255 for task in tasks for path in (task.report, task.copy, task.stamp)
    )


def test_a_lock_file_is_looked_for_beside_the_longest_name(tmp_path: Path) -> None:
    source = tmp_path / f"{'x' * 250}.xlsx"
    source.write_bytes(SOUND)
    assert read_file(source) == SOUND


# Kinds of files


@pytest.mark.parametrize("how", ["report", "ledger", "check"])
def test_a_pipe_named_like_a_workbook_is_refused_and_not_waited_for(tmp_path: Path, how: str) -> None:
    os.mkfifo(tmp_path / "pipe.xlsx")
    (tmp_path / "device.xlsx").symlink_to("/dev/zero")
    paths = [tmp_path] if how != "check" else sorted(tmp_path.iterdir())
    done = command(how, *paths)
    told = (done.stdout + done.stderr).decode()
    assert done.returncode == 1
    for name in ("pipe.xlsx", "device.xlsx"):
        assert f"{name}: is no ordinary file; allowed: a workbook (.xlsx or .xlsm)." in told


def test_links_that_lead_to_themselves_are_named_and_followed_once(tmp_path: Path) -> None:
    (tmp_path / "job.xlsx").write_bytes(SOUND)
    (tmp_path / "self.xlsx").symlink_to("self.xlsx")
    (tmp_path / "gone.xlsx").symlink_to("nowhere.xlsx")
    (tmp_path / "up").symlink_to("..")
    (tmp_path / "round").symlink_to("round")
    told = {one.task.source.name: one.failure for one in run(tmp_path)}
    assert told["job.xlsx"] == ""
    assert told["self.xlsx"].startswith("self.xlsx: cannot be read: Too many levels of symbolic links")
    assert told["gone.xlsx"].startswith("gone.xlsx: there is no such file")
    assert len(told) == 3
    done = call("ledger", tmp_path, "--dry-run")
    assert done.exit_code == 1
    assert "self.xlsx: cannot be read" in done.stderr
    assert call("report", tmp_path, "--out", tmp_path / "round", "--dry-run").exit_code == 0
    assert call("ledger", tmp_path, "--out", tmp_path / "self.xlsx", "--dry-run").exit_code in (1, 2)


def test_a_folder_named_like_a_workbook_is_searched(tmp_path: Path) -> None:
    (tmp_path / "x.xlsx").mkdir()
    (tmp_path / "x.xlsx" / "job.xlsx").write_bytes(SOUND)
    (tmp_path / "empty.xlsx").touch()
    told = {one.task.source.name: one.failure for one in run(tmp_path)}
    assert told["job.xlsx"] == ""
    assert told["empty.xlsx"].startswith("empty.xlsx: is empty")


def test_a_workbook_that_vanishes_is_named_and_the_others_go_on(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.xlsx").write_bytes(SOUND)
    tasks = plan(find([tmp_path]))
    (tmp_path / "a.xlsx").unlink()
    told = {one.task.source.name: one.failure for one in run_all(tasks, hand_out_here)}
    assert told["a.xlsx"].startswith("a.xlsx: there is no such file")
    assert told["b.xlsx"] == ""


# Permissions: tests may run as root, whom nothing is forbidden, so a process gives that up first

AS_NOBODY = """
import contextlib, io, os, sys
from dampcell.workbooks.cli import main

# Once before, because a process without permissions may not load modules either.
for words in (["report", sys.argv[1], "--processes", "0"], ["ledger", sys.argv[1]]):
    with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):
        with contextlib.redirect_stderr(io.StringIO()):
            main(words)
if os.geteuid() == 0:
    os.setegid(65534)
    os.seteuid(65534)
main(sys.argv[2:])
"""


def as_nobody(warm: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    words = [sys.executable, "-c", AS_NOBODY, *map(str, (warm, *arguments))]
    return subprocess.run(words, capture_output=True, text=True, timeout=120, check=False)


@pytest.fixture
def open_folder(tmp_path: Path) -> Path:
    """Give a folder that everybody may reach."""
    needed = (Path(dampcell.__file__).resolve(), Path(sys.prefix).resolve() / "bin")
    if any(not folder.stat().st_mode & stat.S_IXOTH for place in needed for folder in place.parents):
        pytest.skip("this installation lies in a folder that only its owner may enter")
    for folder in (tmp_path, *tmp_path.parents):
        # Those that pytest has made are closed to others; how many there are depends on how it runs.
        if folder.is_relative_to(tempfile.gettempdir()) and folder != Path(tempfile.gettempdir()):
            folder.chmod(0o755)
    return tmp_path


def test_what_may_not_be_read_is_named_and_a_read_only_folder_does_no_harm(open_folder: Path) -> None:
    jobs, out, warm = (open_folder / name for name in ("jobs", "out", "warm"))
    warm.mkdir()
    (warm / "job.xlsx").write_bytes(SOUND)
    (warm / "bad.xlsx").touch()
    (jobs / "closed").mkdir(parents=True)
    out.mkdir()
    out.chmod(0o777)
    (jobs / "job.xlsx").write_bytes(SOUND)
    (jobs / "secret.xlsx").write_bytes(SOUND)
    (jobs / "closed" / "job.xlsx").write_bytes(SOUND)
    (jobs / "secret.xlsx").chmod(0)
    (jobs / "closed").chmod(0)
    jobs.chmod(0o555)
    try:
        done = as_nobody(warm, "report", jobs, "--out", out, "--processes", "0")
        assert done.returncode == 1, done.stderr
        assert done.stdout == f"{out / 'job report.pdf'}\n"
        assert (
            "secret.xlsx: cannot be read: Permission denied; allowed: a file that you may read" in done.stderr
        )
        assert "closed: cannot be read: Permission denied" in done.stderr
        beside = as_nobody(warm, "report", jobs, "--processes", "0")
        assert beside.returncode == 1
        assert "job.xlsx: the report cannot be written (Permission denied)" in beside.stderr
        assert "Traceback" not in beside.stderr
        ledger = as_nobody(warm, "ledger", jobs)
        assert "Traceback" not in ledger.stderr
        assert "cannot be written (Permission denied)" in ledger.stderr
    finally:
        jobs.chmod(0o755)
        (jobs / "closed").chmod(0o755)


def test_a_folder_that_cannot_be_searched_is_told_like_a_workbook(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed = tmp_path / "closed"

    def walk(folder: Path, onerror: object, followlinks: bool) -> list[object]:
        assert callable(onerror)
        onerror(PermissionError(13, "Permission denied", str(closed)))
        return []

    monkeypatch.setattr(os, "walk", walk)
    assert find([tmp_path]) == [Found(closed, tmp_path)]


# Texts that look like formulas


def test_no_text_of_a_job_becomes_a_formula_in_ledger_or_csv() -> None:
    entries = [
        Entry(number, text, None, "", text, text, text, text, customer_code=text, oil=text, workbook=text)
        for number, text in enumerate(DANGEROUS, start=1)
    ]
    made = filled_ledger(template_bytes("service_ledger", {}), "ledger.xlsx", gather(entries))
    book = openpyxl.load_workbook(io.BytesIO(made))
    sheet, _, cells = str(book.defined_names["jobs"].attr_text).rpartition("!")
    rows = list(book[sheet.strip("'")][cells.replace("$", "")])[: len(DANGEROUS)]
    texts = [cell for row in rows for cell in row if cell.value is not None]
    assert len(texts) >= 8 * len(DANGEROUS)
    assert {cell.data_type for cell in texts} <= {"s", "inlineStr"}
    assert {str(cell.value).strip() for cell in texts} >= {text.strip() for text in DANGEROUS}
    for row in list(csv.reader(io.StringIO(as_csv(gather(entries)).decode(), newline="")))[1:]:
        assert all(cell.startswith("'") for cell in row if cell not in ("", "yes", "no"))


# What the sheets themselves are refused for


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (b'<c r="', b'<c r="A99999999" q="', 'a cell with the address "A99999999"'),
        (
            b'<c r="',
            b'<c r="ZZZZZZZZZZZZZZZZZZZZZZZZ1" q="',
            'a cell with the address "ZZZZZZZZZZZZZZZZZZZZ…"',
        ),
        (b'<row r="1"', b'<row r="4294967297"', 'a row with the number "4294967297"'),
        (b'<row r="1"', b'<row r="0"', 'a row with the number "0"'),
        (b"<sheetData>", b"<sheetData>" + b"<row/>" * 1_500_000, "too many rows and cells"),
    ],
)
def test_places_that_no_sheet_has_are_refused(tmp_path: Path, old: bytes, new: bytes, sentence: str) -> None:
    parts = dict(sound_parts())
    name = "xl/worksheets/sheet1.xml"
    assert old in parts[name]
    parts[name] = parts[name].replace(old, new, 1)
    (tmp_path / "job.xlsx").write_bytes(packed(parts))
    assert sentence in read_job(tmp_path / "job.xlsx", "job.xlsx").failure


@pytest.mark.parametrize(
    ("part", "old", "new", "sentence"),
    [
        ("xl/sharedStrings.xml", b"<sst ", b'<sst uniqueCount="4294967296" ', "is too large"),
        ("xl/sharedStrings.xml", b"<sst ", b"<ssd ", "is damaged"),
        ("xl/workbook.xml", b"<sheets>", b" " * 4_200_000 + b"<sheets>", "is too large"),
        ("xl/workbook.xml", b"Job!$", b"Job!$A$1:$XFD$1048576,Job!$", "points nowhere"),
    ],
)
def test_what_asks_for_too_much_memory_is_refused_first(
    tmp_path: Path, part: str, old: bytes, new: bytes, sentence: str
) -> None:
    parts = dict(sound_parts())
    assert old in parts[part]
    parts[part] = parts[part].replace(old, new, 1)
    (tmp_path / "job.xlsx").write_bytes(packed(parts))
    assert sentence in read_job(tmp_path / "job.xlsx", "job.xlsx").failure


def test_a_sentence_about_a_cell_stays_in_one_line_and_short() -> None:
    told = str(WorkbookError("is odd", file="two\nlines.xlsx", found="x\r\ny\udcff" + "z" * 30_000))
    assert told.startswith('two lines.xlsx: is odd (found "x  y z')
    assert told.isprintable()
    assert len(told) < 300


def test_a_sum_that_no_money_can_have_names_the_workbook(tmp_path: Path) -> None:
    parts = dict(sound_parts())
    name = "xl/worksheets/sheet1.xml"
    parts[name] = re.sub(rb't="n"><v>[^<]*', b't="n"><v>1e20', parts[name])
    (tmp_path / "job.xlsx").write_bytes(packed(parts))
    told = read_job(tmp_path / "job.xlsx", "job.xlsx").failure
    assert told.startswith("job.xlsx: price lines: is no amount of money that can be counted exactly")


def test_a_stack_of_a_million_shims_is_told_of_and_not_drawn() -> None:
    parts = dict(sound_parts())
    book = openpyxl.load_workbook(io.BytesIO(packed(parts)))
    title, _, cells = str(book.defined_names["stack_as_found"].attr_text).rpartition("!")
    first = book[title.strip("'")][cells.replace("$", "")][0]
    first[3].value = 1_000_000_000_000
    output = io.BytesIO()
    book.save(output)
    made = attempt(Job(output.getvalue(), "job.xlsx"))
    assert isinstance(made, Product)
    assert made.report.startswith(b"%PDF-")
