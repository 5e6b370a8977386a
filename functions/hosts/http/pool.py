"""The pool of worker processes, and the time limit that really works.

A calculation cannot be stopped from within its own process: a thread knows no
end from outside, and compiled code heeds no timer. So each request goes to a
worker process, which marks in shared memory which call it is at and since when.
A worker whose call passes the limit is ended; the call gets an error value, and
another worker goes on with the calls behind it. Others never wait for it: when
all workers are held up, further ones are started.
"""

from __future__ import annotations

import contextlib
import math
import multiprocessing
import queue
import threading
import time
from dataclasses import dataclass
from typing import Literal

from dampcell import __version__
from dampcell.functions.hosts.http.settings import Settings
from dampcell.functions.hosts.http.wire import Refusal
from dampcell.functions.hosts.http.worker import (
    BEGUN,
    DONE,
    INDEX,
    READY,
    REFUSED,
    TOTAL,
    Job,
    WorkerSettings,
    unpack,
    work,
)

__all__ = ["Answer", "Pool"]

_PATIENCE = 0.2
_START_SECONDS = 60.0
_READING = -1
_READS = 3


@dataclass(frozen=True, slots=True)
class Answer:
    """Answer to a request: HTTP status, and JSON."""

    status: int
    body: bytes


class _Worker:
    """One worker process, and the server's end of the line to it."""

    def __init__(self, settings: Settings) -> None:
        context = multiprocessing.get_context("spawn")
        # Index, begin, total: see worker.py.
        self.progress = context.RawArray("d", 3)
        self.connection, theirs = context.Pipe()
        told = WorkerSettings(settings.limits, settings.folders, settings.families)
        self.process = context.Process(
            target=work, args=(theirs, self.progress, told), name="dampcell-worker", daemon=True
        )
        self.process.start()
        theirs.close()
        self._ready = False

    def wait_ready(self) -> bool:
        """Wait until everything is loaded; False when it died on the way."""
        if not self._ready:
            try:
                self._ready = (
                    self.connection.poll(_START_SECONDS) and unpack(self.connection.recv_bytes())[0] == READY
                )
            except (EOFError, OSError):
                return False
        return self._ready

    def send(self, job: Job) -> bool:
        """Hand over a job; False when the process has died."""
        self.progress[INDEX] = _READING
        self.progress[BEGUN] = time.monotonic()
        try:
            self.connection.send(job)
        except OSError:
            return False
        return True

    def receive(self, call_seconds: float, end: float) -> tuple[int, int, bytes] | Literal["late", "gone"]:
        """Wait for a frame; "late" if call or request are out of time, "gone" if the process died."""
        try:
            while True:
                left = min(self.progress[BEGUN] + call_seconds, end) - time.monotonic()
                if self.connection.poll(max(left, 0.0)):
                    return unpack(self.connection.recv_bytes())
                # It may have gone on to the next call since.
                if min(self.progress[BEGUN] + call_seconds, end) <= time.monotonic():
                    return "late"
        except (EOFError, OSError):
            return "gone"

    def end(self, *, kindly: bool = False) -> None:
        """End the process, and free what belongs to it."""
        self.connection.close()
        if kindly:
            self.process.join(1.0)
        if self.process.is_alive():
            self.process.kill()
        self.process.join()
        self.process.close()


class Pool:
    """Worker processes that answer requests.

    Parameters
    ----------
    settings : Settings
        Numbers of workers, and limits.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._idle: queue.LifoQueue[_Worker | None] = queue.LifoQueue()
        self._lock = threading.Lock()
        self._all: set[_Worker] = set()
        self._starting = 0
        self._closed = False

    @property
    def size(self) -> int:
        """Number of worker processes."""
        return len(self._all)

    def start(self) -> None:
        """Start the workers that are kept ready; they load while the server is already there."""
        while True:
            worker = self._new(self._settings.workers)
            if worker is None:
                return
            self._idle.put(worker)

    def run(self, body: bytes) -> Answer:
        """Make the calls of one request.

        Parameters
        ----------
        body : bytes
            The request as it came.

        Returns
        -------
        Answer
            HTTP status and JSON.
        """
        limits = self._settings.limits
        # The clock of the request stands still while a worker loads: that is not its fault.
        spent = 0.0
        parts: list[bytes] = []
        count = total = unread = 0
        failed: dict[int, str] = {}
        while True:
            worker = self._take()
            if worker is None:
                return _refused(_BUSY)
            if not worker.send(Job(body, count, dict(failed))):
                self._end(worker)
                continue
            begun = time.monotonic()
            end = begun + limits.request_seconds - spent
            received = worker.receive(limits.call_seconds, end)
            while not isinstance(received, str):
                kind, number, payload = received
                if kind == REFUSED:
                    self._give_back(worker)
                    return Answer(number, payload)
                if number:
                    parts.append(payload)
                    count += number
                if kind == DONE:
                    self._give_back(worker)
                    return Answer(200, _HEAD + b",".join(parts) + b"]}")
                received = worker.receive(limits.call_seconds, end)
            index = int(worker.progress[INDEX])
            total = max(total, int(worker.progress[TOTAL]))
            late = time.monotonic() - worker.progress[BEGUN] >= limits.call_seconds
            died = received == "gone"
            self._end(worker)
            if self._closed:
                return _refused(_BUSY)
            if index == _READING:
                unread += 1
                if not total or unread > _READS:
                    return _refused(_UNREADABLE)
                index = count
            elif died or late:
                failed[index] = _DIED if died else _too_long(limits.call_seconds)
            spent += time.monotonic() - begun
            if spent >= limits.request_seconds:
                given_up = _given_up(limits.request_seconds)
                failed.update({i: given_up for i in range(index, total) if i not in failed})
                # What is left is only written, not calculated.
                spent = -math.inf

    def close(self) -> None:
        """End all workers."""
        with self._lock:
            self._closed = True
            workers, self._all = self._all, set()
        idle: set[_Worker | None] = set()
        with contextlib.suppress(queue.Empty):
            while True:
                idle.add(self._idle.get_nowait())
        # Who still waits for a worker gets none.
        self._idle.put(None)
        for worker in workers:
            if worker in idle:
                worker.end(kindly=True)
            else:
                # The thread that waits for it sees its end, and frees it.
                worker.process.kill()

    def _take(self) -> _Worker | None:
        # A worker that died while idle is replaced, but not for ever.
        for _ in range(3):
            worker = self._wait()
            if worker is None or worker.wait_ready():
                return worker
            self._end(worker)
        return None

    def _wait(self) -> _Worker | None:
        with contextlib.suppress(queue.Empty):
            return self._got(_PATIENCE if self.size else 0.0)
        worker = self._new(self._settings.most_workers)
        if worker is not None or self._closed:
            return worker
        with contextlib.suppress(queue.Empty):
            return self._got(self._settings.limits.request_seconds)
        return None

    def _got(self, seconds: float) -> _Worker | None:
        worker = self._idle.get(timeout=seconds) if seconds else self._idle.get_nowait()
        if worker is None:
            self._idle.put(None)
        return worker

    def _new(self, most: int) -> _Worker | None:
        with self._lock:
            if self._closed or len(self._all) + self._starting >= most:
                return None
            self._starting += 1
        worker: _Worker | None = None
        try:
            worker = _Worker(self._settings)
        finally:
            with self._lock:
                self._starting -= 1
                if worker is not None and not self._closed:
                    self._all.add(worker)
        if self._closed:
            worker.end()
            return None
        return worker

    def _give_back(self, worker: _Worker) -> None:
        with self._lock:
            spare = len(self._all) > self._settings.workers
            if spare:
                self._all.discard(worker)
        if spare:
            worker.end(kindly=True)
        else:
            self._idle.put(worker)

    def _end(self, worker: _Worker) -> None:
        with self._lock:
            self._all.discard(worker)
        worker.end()
        self.start()


_HEAD = f'{{"version":"{__version__}","results":['.encode()
_BUSY = Refusal(
    503,
    "busy",
    "the calculation server is held up by slow calculations; recalculate in a minute, or start it again.",
)
_UNREADABLE = Refusal(
    503,
    "unreadable",
    "the request could not be read in time; allowed: fewer calls or smaller ranges in one request.",
)
_DIED = "the calculation ended the process that worked on it; please report the formula and its arguments."


def _refused(refusal: Refusal) -> Answer:
    return Answer(refusal.status, refusal.body())


def _too_long(seconds: float) -> str:
    return (
        f"took longer than {seconds:g} s and was stopped; allowed: a smaller range or table, "
        "or a server started with a larger --time-limit."
    )


def _given_up(seconds: float) -> str:
    return (
        f"not calculated, because the formulas sent with it took longer than {seconds:g} s; "
        "recalculate it alone."
    )
