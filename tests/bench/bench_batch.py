"""Workbooks per second: recalculated, made into reports, and converted by LibreOffice, in one run.

Usage: python tests/bench/bench_batch.py [SIZE ...] [--office SIZE] [--kinds records,oil,stack]

The workbooks are copies of the twelve demo jobs with varied input:

records  each has a number and hours of its own; stacks and oils are those of the demo jobs
oil      each has a working temperature of its own, too: all damping is computed anew
stack    each has a face shim of its own, too: everything is computed anew
"""

from __future__ import annotations

import argparse
import functools
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from importlib.resources import files
from multiprocessing import get_context
from pathlib import Path

import psutil

from dampcell.workbooks.batch import find, plan, run_all
from dampcell.workbooks.engine import recalculate_package
from dampcell.workbooks.forms.demo_year import demo_job, further_jobs
from dampcell.workbooks.package import Package, open_package, refreshed
from dampcell.workbooks.pool import Pool
from dampcell.workbooks.refill import named_area
from dampcell.workbooks.sheets import address

WORKERS = 2
KINDS = ("records", "oil", "stack")


def main(arguments: Sequence[str]) -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("sizes", nargs="*", type=int, default=[1, 10, 100])
    parser.add_argument("--office", type=int, default=12, help="workbooks that LibreOffice converts")
    parser.add_argument("--kinds", default=",".join(KINDS))
    given = parser.parse_args(arguments)
    print(f"{WORKERS} workers; times include starting them\n")
    heads = (
        "input",
        "workbooks",
        "recalculated /s",
        "reports /s",
        "MB a worker",
        "LibreOffice /s",
        "times as fast",
    )
    print("".join(f"{head:>17}" for head in heads))
    for kind in given.kinds.split(","):
        office = _office(kind, given.office)
        for size in given.sizes:
            with _workbooks(kind, size) as folder:
                sources = sorted(folder.glob("*.xlsx"))
                recalculated, _ = _measured(functools.partial(_recalculate, sources))
                reports, memory = _measured(functools.partial(_report, folder))
            figures = (size / recalculated, size / reports, memory, office, size / reports / office)
            print(f"{kind:>17}{size:>17}" + "".join(f"{figure:>17.4g}" for figure in figures), flush=True)


def varied(data: bytes, number: int, kind: str) -> bytes:
    """Give a job inputs of its own, byte for byte the same else."""
    package = open_package(data, "job.xlsx")
    changes: dict[str, float] = {"hours_since_last": 10 + number / 8}
    if kind != "records":
        changes["working_temperature"] = 30 + 30 * (number * 0.618034 % 1)
    parts = dict(_typed(package, name, value) for name, value in changes.items())
    if kind == "stack":
        # Two digits of a hundredth of a micrometre: no two stacks are alike, and all are like the demo's.
        package = open_package(package.rewritten(parts), "job.xlsx")
        parts = dict([_typed(package, "stack_as_found", 0.2 + number * 1e-6, across=2)])
    return package.rewritten(parts)


def _typed(package: Package, name: str, value: float, across: int = 0) -> tuple[str, bytes]:
    found = named_area(package, name)
    assert found is not None, name
    title, (top, left, _, _) = found
    sheet = next(sheet for sheet in package.sheets if sheet.name == title)
    cell = address(top, left + across).encode()
    xml = package.part(sheet.part)
    pattern = rb'(<c r="' + cell + rb'"[^>]*?)( t="[^"]*")?(?:/>|>.*?</c>)'
    made, count = re.subn(pattern, rb"\g<1>><v>" + repr(value).encode() + rb"</v></c>", xml, count=1)
    assert count == 1, (name, cell)
    return sheet.part, made


@functools.cache
def _demo_jobs() -> list[bytes]:
    shipped = files("dampcell.templates").joinpath("demo").iterdir()
    return [
        *(item.read_bytes() for item in sorted(shipped, key=lambda item: item.name) if _is_job(item.name)),
        *(demo_job(job) for job in further_jobs()),
    ]


def _is_job(name: str) -> bool:
    return re.match(r"\d{4}-\d{3} .*\.xlsx$", name) is not None


@contextmanager
def _workbooks(kind: str, size: int) -> Iterator[Path]:
    jobs = _demo_jobs()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        for number in range(size):
            (folder / f"{number:05}.xlsx").write_bytes(varied(jobs[number % len(jobs)], number, kind))
        yield folder


def _recalculate(sources: Sequence[Path]) -> None:
    with ProcessPoolExecutor(WORKERS, get_context("spawn")) as pool:
        assert all(pool.map(_recalculated, sources, chunksize=max(1, min(20, len(sources) // (2 * WORKERS)))))


def _recalculated(source: Path) -> bool:
    package = open_package(source.read_bytes(), source.name)
    result = recalculate_package(package)
    return not result.errors() and bool(refreshed(package, result))


def _report(folder: Path) -> None:
    for outcome in run_all(plan(find([folder])), Pool(WORKERS)):
        assert outcome.done, outcome.failure


def _measured(work: Callable[[], None]) -> tuple[float, float]:
    """Seconds that something takes, and the most memory that one of its processes took meanwhile [MB]."""
    most = 0.0
    over = threading.Event()

    def look() -> None:
        nonlocal most
        while not over.wait(0.2):
            for child in psutil.Process().children(recursive=True):
                try:
                    most = max(most, child.memory_info().rss / 2**20)
                except psutil.Error:
                    continue

    watcher = threading.Thread(target=look)
    watcher.start()
    start = time.perf_counter()
    try:
        work()
        return time.perf_counter() - start, most
    finally:
        over.set()
        watcher.join()


def _office(kind: str, size: int) -> float:
    """Workbooks that a headless LibreOffice turns into PDF in a second, with its start; NaN without it."""
    program = shutil.which("soffice")
    if program is None:
        return float("nan")
    with _workbooks(kind, size) as folder:
        sources = sorted(map(str, folder.glob("*.xlsx")))
        command = [program, "--headless", f"-env:UserInstallation=file://{folder}/profile"]
        command += ["--convert-to", "pdf", "--outdir", str(folder / "pdf"), *sources]
        start = time.perf_counter()
        subprocess.run(command, capture_output=True, check=True)
        seconds = time.perf_counter() - start
        assert len(list((folder / "pdf").glob("*.pdf"))) == size
    return size / seconds


if __name__ == "__main__":
    main(sys.argv[1:])
