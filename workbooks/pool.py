"""Worker processes with limits of time and memory, for work on files of strangers.

Each worker does one job at a time, so that it is known which job a worker died of
or got stuck in: that one is refused with the reason, the worker is replaced, and
the others go on.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import queue
import signal
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError, Future, ProcessPoolExecutor, ThreadPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field

from dampcell.functions.errors import WorkbookError
from dampcell.workbooks.producing import Job, Product, Refusal, attempt

__all__ = ["MEMORY", "SECONDS", "Pool"]

SECONDS = 180.0
"""Time that a worker may take for one workbook [s], unless told otherwise."""

MEMORY = 1024
"""Memory that a worker may take [MB], unless told otherwise."""


# Jobs that wait in memory, so that no worker is idle while results are written.
_AHEAD = 2


@dataclass(slots=True)
class Pool:
    """Workers on this machine; see `dampcell.workbooks.batch.HandOut`.

    Parameters
    ----------
    workers : int
        Number of processes; they are started when the first jobs come.
    seconds : float
        Time limit for one job [s].
    memory : int
        Memory limit of one worker [MB]; kept where the system can (not on Windows or macOS).
    """

    workers: int
    seconds: float = SECONDS
    memory: int = MEMORY
    _desks: list[_Desk] = field(default_factory=list, init=False)

    def __call__(self, jobs: Iterable[Job]) -> Iterator[tuple[int, Product | Refusal]]:
        """Do jobs side by side, and give each result as soon as it is there.

        Parameters
        ----------
        jobs : iterable of Job
            Taken when a worker will soon be free.

        Yields
        ------
        tuple of int and Product or Refusal
            Place of the job among the jobs, and what became of it.
        """
        self._desks = [_Desk(self.seconds, self.memory) for _ in range(self.workers)]
        free: queue.SimpleQueue[_Desk] = queue.SimpleQueue()
        for desk in self._desks:
            free.put(desk)

        def done(job: Job) -> Product | Refusal:
            desk = free.get()
            try:
                return desk.do(job)
            finally:
                free.put(desk)

        running: dict[Future[Product | Refusal], int] = {}
        threads = ThreadPoolExecutor(self.workers)
        try:
            for place, job in enumerate(jobs):
                while len(running) >= self.workers + _AHEAD:
                    yield from _finished(running)
                running[threads.submit(done, job)] = place
            while running:
                yield from _finished(running)
        finally:
            # Left early, by an interrupt or a consumer who has enough: nobody waits for what still runs.
            for desk in self._desks:
                desk.leave(at_once=bool(running))
            threads.shutdown(cancel_futures=True)


def _finished(running: dict[Future[Product | Refusal], int]) -> Iterator[tuple[int, Product | Refusal]]:
    done, _ = wait(running, return_when="FIRST_COMPLETED")
    for future in done:
        yield running.pop(future), future.result()


@dataclass(slots=True)
class _Desk:
    """The place of one worker: it is replaced when it dies."""

    seconds: float
    memory: int
    pool: ProcessPoolExecutor | None = None
    worker: int = 0
    left: bool = False

    def do(self, job: Job) -> Product | Refusal:
        used = self.pool is not None
        made, in_want = self._tried(job)
        if in_want and used and not self.left:
            # A worker remembers answers, and may be large by what came before: a fresh one decides.
            made, _ = self._tried(job)
        return made

    def _tried(self, job: Job) -> tuple[Product | Refusal, bool]:
        """Do a job, and say whether it failed for want of memory; the worker is ended then."""
        try:
            if self.pool is None:
                self._start()
            assert self.pool is not None
            made = self.pool.submit(attempt, job).result(self.seconds)
            in_want = isinstance(made, Refusal) and not made.lasting
            if in_want:
                self._stop(at_once=True)
            return made, in_want
        except TimeoutError:
            self._stop(at_once=True)
            told = _refused(
                job,
                f"takes longer than {self.seconds:g} s",
                "a workbook with fewer or shorter formulas, or more time (option --seconds)",
            )
            return told, False
        except (BrokenProcessPool, CancelledError, RuntimeError, MemoryError):
            # A pool that is left while it works cancels or raises RuntimeError; nobody waits for this then.
            self._stop(at_once=True)
            told = _refused(
                job,
                "brought the worker process to its end, most likely for want of memory",
                f"a smaller workbook, or more than {self.memory} MB (option --memory)",
            )
            return told, True

    def leave(self, *, at_once: bool) -> None:
        """End the worker for good."""
        self.left = True
        self._stop(at_once=at_once)

    def _start(self) -> None:
        self.pool = ProcessPoolExecutor(
            1, multiprocessing.get_context("spawn"), initializer=_set_up, initargs=(self.memory,)
        )
        self.worker = self.pool.submit(os.getpid).result()
        if self.left:
            self._stop(at_once=True)
            raise BrokenProcessPool

    def _stop(self, *, at_once: bool) -> None:
        pool, self.pool = self.pool, None
        if pool is None:
            return
        if at_once and self.worker:
            with contextlib.suppress(OSError):
                os.kill(self.worker, getattr(signal, "SIGKILL", signal.SIGTERM))
        pool.shutdown(wait=not at_once, cancel_futures=True)
        self.worker = 0


def _refused(job: Job, problem: str, allowed: str) -> Refusal:
    return Refusal(str(WorkbookError(problem, file=job.file, allowed=allowed)), lasting=False)


def _set_up(memory: int) -> None:
    """Prepare a worker: it leaves interrupts to its parent, ends with it, and keeps to its memory."""
    # The last words of a process that dies mean nothing to a workshop; its parent says what was wrong.
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), 2)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()
    try:
        import resource
    except ImportError:  # not on Windows
        return
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_DATA, (memory * 2**20, resource.RLIM_INFINITY))


def _end_with(parent: multiprocessing.process.BaseProcess) -> None:
    # A worker whose parent was killed would wait for its next job for ever.
    parent.join()
    os._exit(1)
