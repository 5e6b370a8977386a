"""Worker processes: limits of time and memory, and that a worker's death is not the run's."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator

import psutil
import pytest
from tests.light_job import LIGHT_JOB

from dampcell.workbooks import pool
from dampcell.workbooks.pool import Pool
from dampcell.workbooks.producing import Job, Product, Refusal, produce

GOOD = Job(LIGHT_JOB, "good.xlsx")
BAD = Job(b"nothing", "bad.xlsx")


@pytest.fixture(autouse=True)
def _others(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out what other tests of this process have started."""
    monkeypatch.setattr(sys.modules[__name__], "OTHERS", frozenset(one.pid for one in workers()))


OTHERS: frozenset[int] = frozenset()


def workers() -> list[psutil.Process]:
    alive: list[psutil.Process] = []
    for child in psutil.Process().children(recursive=True):
        with contextlib.suppress(psutil.Error):
            ours = child.pid not in OTHERS and "spawn_main" in " ".join(child.cmdline())
            if ours and child.status() != psutil.STATUS_ZOMBIE:
                alive.append(child)
    return alive


def all_gone() -> bool:
    """Whether no worker is left; one that has just been told to end is given a moment."""
    _, left = psutil.wait_procs(workers(), timeout=10)
    return not left


def test_jobs_are_done_in_any_order_with_the_same_bytes_as_here() -> None:
    done = dict(Pool(2)([BAD, GOOD, BAD]))
    assert done[1] == produce(GOOD)
    for place in (0, 2):
        refusal = done[place]
        assert isinstance(refusal, Refusal)
        assert refusal.lasting
        assert refusal.sentence.startswith("bad.xlsx: is no workbook")
    assert all_gone()


def test_jobs_are_taken_as_workers_come_free_and_not_all_at_once() -> None:
    taken: list[int] = []

    def jobs() -> Iterator[Job]:
        for number in range(50):
            taken.append(number)
            yield BAD

    results = Pool(1)(jobs())
    next(results)
    assert len(taken) < 10
    assert len(list(results)) == 49


def test_a_job_that_takes_too_long_is_refused_and_the_others_are_done() -> None:
    done = dict(Pool(1, seconds=0.05)([GOOD, BAD]))
    slow, bad = done[0], done[1]
    assert isinstance(slow, Refusal)
    assert isinstance(bad, Refusal)
    assert slow.sentence.startswith("good.xlsx: takes longer than 0.05 s")
    assert "--seconds" in slow.sentence
    assert not slow.lasting
    assert "is no workbook" in bad.sentence
    assert all_gone()


def test_a_job_that_takes_too_much_memory_is_refused_and_said_so() -> None:
    done = dict(Pool(1, memory=64)([GOOD, GOOD]))
    for refusal in done.values():
        assert isinstance(refusal, Refusal)
        assert "memory" in refusal.sentence
        assert not refusal.lasting


def test_a_worker_that_is_killed_costs_one_job_and_is_replaced() -> None:
    results = Pool(1)([BAD, GOOD, BAD])
    first = next(results)
    (worker,) = workers()
    worker.kill()
    done = dict([first, *results])
    assert len(done) == 3
    refused = [
        one for one in done.values() if isinstance(one, Refusal) and "brought the worker" in one.sentence
    ]
    assert len(refused) <= 1
    assert all(
        isinstance(one, Product) or one in refused or "no workbook" in one.sentence for one in done.values()
    )


def test_a_workbook_does_not_pay_for_what_its_worker_did_before() -> None:
    desk = pool._Desk(60.0, 1024)
    try:
        assert isinstance(desk.do(BAD), Refusal)
        first = desk.worker
        psutil.Process(first).kill()
        assert isinstance(desk.do(GOOD), Product)
        assert desk.worker not in (0, first)
    finally:
        desk.leave(at_once=True)


def test_a_consumer_who_has_enough_leaves_no_worker_behind() -> None:
    results = Pool(2)([BAD, GOOD, GOOD, GOOD])
    next(results)
    results.close()  # type: ignore[attr-defined] # a generator
    assert all_gone()


def test_an_error_in_the_jobs_leaves_no_worker_behind() -> None:
    def jobs() -> Iterator[Job]:
        yield BAD
        raise OSError("the disk is gone")

    with pytest.raises(OSError, match="the disk is gone"):
        list(Pool(1)(jobs()))
    assert all_gone()
