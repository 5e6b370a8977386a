"""A thousand damaged workbooks: none crashes, hangs, swells or passes unseen, and none is changed.

Run with ``-s`` for the table of kinds and outcomes. Files and folders with odd
names and of odd kinds are in test_odd_files.py.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import random
import threading
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import psutil
import pytest
from tests.damage import KINDS, damaged_workbooks
from tests.sound_job import packed, sound_parts
from typer.testing import CliRunner

from dampcell.workbooks.batch import JobOutcome, find, plan, run_all
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.ledger_book import JobRead, read_job
from dampcell.workbooks.package import open_package
from dampcell.workbooks.pool import Pool
from dampcell.workbooks.producing import Job, Product, attempt

SECONDS, MEMORY = 6.0, 1024
"""Limits of a worker: time for one workbook [s] and memory [MB]."""

MOST_CHECKED = 4  # of each kind, by the command ``check``


def hashes(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.glob("*.xls?"))
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("damaged")
    for damaged in damaged_workbooks():
        (made / damaged.name).write_bytes(damaged.data)
    return made


def kind_of(name: str) -> str:
    return Path(name).stem.partition(" ")[2]


@dataclass
class Watch:
    """Measures the largest memory of this process's workers while it looks."""

    peak: int = 0
    done: threading.Event = field(default_factory=threading.Event)

    def look(self) -> None:
        me = psutil.Process()
        while not self.done.wait(0.02):
            for child in me.children():
                # A worker may end while it is looked at. What is shared is the code of libraries.
                with contextlib.suppress(psutil.Error):
                    memory = child.memory_info()
                    self.peak = max(self.peak, memory.rss - memory.shared)

    @contextlib.contextmanager
    def looking(self) -> Iterator[None]:
        watcher = threading.Thread(target=self.look)
        watcher.start()
        try:
            yield
        finally:
            self.done.set()
            watcher.join()


@dataclass
class Run:
    outcomes: list[JobOutcome]
    before: dict[str, str]
    after: dict[str, str]
    peak: int
    """Largest memory of one worker [byte]."""
    slowest: float
    """Longest time between two results [s]."""


@pytest.fixture(scope="module")
def run(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Run:
    tasks = plan(find([folder]), out=tmp_path_factory.mktemp("out"))
    before = hashes(folder)
    watch = Watch()
    outcomes: list[JobOutcome] = []
    slowest, last = 0.0, time.monotonic()
    with watch.looking():
        for outcome in run_all(tasks, Pool(2, seconds=SECONDS, memory=MEMORY)):
            outcomes.append(outcome)
            now = time.monotonic()
            slowest, last = max(slowest, now - last), now
    return Run(outcomes, before, hashes(folder), watch.peak, slowest)


def one_sentence(told: str, name: str) -> bool:
    """Whether a reason stands in one line, names the file first, and is no fault of ours."""
    return (
        told.startswith(name)
        and told.endswith((".", "?"))
        and "\n" not in told
        and len(told) < 1000
        and "fault in Dampcell" not in told
        and "Traceback" not in told
    )


def table(rows: Iterable[tuple[str, str]], title: str) -> str:
    """Count kinds of damage by outcome."""
    counts = Counter(rows)
    heads = sorted({outcome for _, outcome in counts})
    lines = [f"{title:28}" + "".join(f"{head:>12}" for head in heads)]
    lines += [f"{kind:28}" + "".join(f"{counts[kind, head]:12}" for head in heads) for kind in KINDS]
    lines.append(f"{'all':28}" + "".join(f"{sum(counts[k, head] for k in KINDS):12}" for head in heads))
    return "\n".join(lines)


def test_there_are_a_thousand_and_the_sound_one_is_sound(folder: Path) -> None:
    assert len(list(folder.iterdir())) == sum(count for count, _ in KINDS.values()) == 1000
    assert isinstance(attempt(Job(packed(sound_parts()), "sound.xlsx")), Product)


def test_the_same_seed_damages_the_same_way() -> None:
    quick = [(kind, make) for kind, (_, make) in KINDS.items() if kind not in ("zip bomb", "a million rows")]
    for kind, make in quick:
        assert make(1, random.Random(kind)) == make(1, random.Random(kind))


def test_every_damaged_workbook_is_listed_with_one_sentence_or_has_its_report(run: Run) -> None:
    told = ((kind_of(one.task.source.name), "report" if one.done else "refused") for one in run.outcomes)
    print(f"\n{table(told, 'report: kind of damage')}")
    print(f"longest wait for a result {run.slowest:.1f} s, largest worker {run.peak / 2**20:.0f} MB")
    assert len(run.outcomes) == 1000
    assert [
        one.failure
        for one in run.outcomes
        if not one.done and not one_sentence(one.failure, one.task.source.name)
    ] == []
    # Some damage is harmless, some is not: neither all nor none may pass.
    assert 100 < sum(one.done for one in run.outcomes) < 500


def test_no_source_is_changed_by_a_report(run: Run) -> None:
    assert run.after == run.before


def test_no_worker_goes_beyond_its_memory_or_its_time(run: Run) -> None:
    assert 0 < run.peak < MEMORY * 2**20
    # A worker that is ended and replaced may take some seconds more on a busy machine.
    assert run.slowest < SECONDS + 12


def test_what_got_a_report_holds_no_value_that_the_source_does_not(run: Run) -> None:
    """A report is legitimate if its copy opens and differs from the source in formula cells' values only."""
    for outcome in run.outcomes:
        if not outcome.done:
            continue
        assert outcome.task.report.read_bytes().startswith(b"%PDF-")
        source, copy = outcome.task.source, outcome.task.copy
        before = open_package(source.read_bytes(), source.name)
        after = open_package(copy.read_bytes(), copy.name)
        assert [member.filename for member in before.members] == [member.filename for member in after.members]
        sheets = {sheet.part for sheet in before.sheets}
        for member in before.members:
            if member.filename not in sheets:
                assert before.part(member.filename) == after.part(member.filename)
        for one, other in zip(before.sheets, after.sheets, strict=True):
            if before.part(one.part) == after.part(other.part):
                continue
            formulas = [
                [(cell.address, cell.formula and cell.formula.text) for cell in package.scan(sheet).cells]
                for package, sheet in ((before, one), (after, other))
            ]
            assert formulas[0] == formulas[1]


def test_the_ledger_reads_or_refuses_every_one(folder: Path) -> None:
    before = hashes(folder)
    reads: dict[str, JobRead] = {}
    slowest = 0.0
    for path in sorted(folder.iterdir()):
        started = time.monotonic()
        reads[path.name] = read_job(path, path.name)
        slowest = max(slowest, time.monotonic() - started)
    told = ((kind_of(name), "entry" if read.entry else "refused") for name, read in reads.items())
    print(f"\n{table(told, 'ledger: kind of damage')}\nslowest {slowest:.1f} s")
    assert all(read.entry or one_sentence(read.failure, name) for name, read in reads.items())
    assert all(one_sentence(doubt, name) for name, read in reads.items() for doubt in read.doubts)
    assert hashes(folder) == before


def test_check_tells_of_each_in_one_line_and_changes_none(folder: Path) -> None:
    before = hashes(folder)
    seen: Counter[str] = Counter()
    sample = []
    for path in sorted(folder.iterdir()):
        seen[kind_of(path.name)] += 1
        if seen[kind_of(path.name)] <= MOST_CHECKED and kind_of(path.name) not in (
            "endless formulas",
            "a million rows",
        ):
            sample.append(path)
    told = CliRunner().invoke(build_app("check"), ["check", "--json", *map(str, sample)])
    assert told.exit_code == 1
    checked = json.loads(told.stdout)["workbooks"]
    assert [one["file"] for one in checked] == [path.name for path in sample]
    sentences = [(one["file"], problem["sentence"]) for one in checked for problem in one["to_mend"]]
    assert all(one_sentence(sentence, name) for name, sentence in sentences)
    print(
        f"\ncheck: {len(sample)} workbooks, "
        f"{sum(bool(one['to_mend']) for one in checked)} with something to mend"
    )
    assert hashes(folder) == before
