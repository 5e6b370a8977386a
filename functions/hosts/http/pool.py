"""The pool of worker processes, and the time limit that really works.

A calculation cannot be stopped from within its own process: a thread knows no
end from outside, and compiled code heeds no timer. So each request goes to a
worker process, which marks in shared memory which call it is at and since when.
A worker whose call passes the limit is ended; the call gets an error value, and
another worker goes on with the calls behind it. Others never wait for it: when
all workers are held up, further ones are started. The server talks to its
workers without threads, which would cost a quarter of a millisecond a call.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import multiprocessing
import pickle
import socket
import time
from collections import deque
from dataclasses import dataclass
from typing import Literal

from dampcell import __version__
from dampcell.functions.hosts.http.settings import Settings
from dampcell.functions.hosts.http.wire import Refusal
from dampcell.functions.hosts.http.worker import (
    BEGUN,
    DONE,
    HEAD,
    INDEX,
    READY,
    REFUSED,
    SIZE,
    TOTAL,
    Job,
    WorkerSettings,
    work,
)

__all__ = ["Answer", "Pool"]

_PATIENCE = 0.2
_START_SECONDS = 60.0
_READING = -1
_READS = 3

Frame = tuple[int, int, bytes]


@dataclass(frozen=True, slots=True)
class Answer:
    """Answer to a request: HTTP status, and JSON."""

    status: int
    body: bytes


class _Line(asyncio.Protocol):
    """The server's end of the line to a worker: takes the bytes that come in apart into frames."""

    def __init__(self) -> None:
        self.frames: deque[Frame] = deque()
        self.lost = False
        self._bytes = bytearray()
        self._waiting: asyncio.Future[None] | None = None

    def data_received(self, data: bytes) -> None:
        """Take in what the worker sent."""
        self._bytes += data
        while len(self._bytes) >= HEAD.size:
            kind, number, size = HEAD.unpack_from(self._bytes)
            if len(self._bytes) < HEAD.size + size:
                break
            self.frames.append((kind, number, bytes(self._bytes[HEAD.size : HEAD.size + size])))
            del self._bytes[: HEAD.size + size]
        self._wake()

    def connection_lost(self, exc: Exception | None) -> None:
        """Note that the worker is gone."""
        self.lost = True
        self._wake()

    async def wait(self, seconds: float) -> None:
        """Wait until something has happened, or so many seconds have passed."""
        loop = asyncio.get_running_loop()
        self._waiting = loop.create_future()
        timer = loop.call_later(seconds, self._wake) if math.isfinite(seconds) else None
        try:
            await self._waiting
        finally:
            self._waiting = None
            if timer is not None:
                timer.cancel()

    def _wake(self) -> None:
        if self._waiting is not None and not self._waiting.done():
            self._waiting.set_result(None)


class _Worker:
    """One worker process."""

    def __init__(self, settings: Settings) -> None:
        context = multiprocessing.get_context("spawn")
        # Index, begin, total: see worker.py.
        self.progress = context.RawArray("d", 3)
        self.socket, theirs = socket.socketpair()
        told = WorkerSettings(settings.limits, settings.folders, settings.families)
        self.process = context.Process(
            target=work, args=(theirs, self.progress, told), name="dampcell-worker", daemon=True
        )
        try:
            self.process.start()
        except BaseException:
            self.socket.close()
            raise
        finally:
            theirs.close()
        self.line = _Line()
        self._transport: asyncio.Transport | None = None
        self._ready = False

    async def wait_ready(self) -> bool:
        """Wait until everything is loaded; False when it died on the way."""
        if not self._ready:
            if self._transport is None:
                loop = asyncio.get_running_loop()
                self._transport, _ = await loop.create_connection(lambda: self.line, sock=self.socket)
            end = time.monotonic() + _START_SECONDS
            while not self.line.frames and not self.line.lost and time.monotonic() < end:
                await self.line.wait(end - time.monotonic())
            self._ready = bool(self.line.frames) and self.line.frames.popleft()[0] == READY
        return self._ready and not self.line.lost

    def send(self, job: Job) -> None:
        """Hand over a job."""
        self.progress[INDEX] = _READING
        self.progress[TOTAL] = 0
        self.progress[BEGUN] = time.monotonic()
        packed = pickle.dumps(job)
        assert self._transport is not None
        self._transport.write(SIZE.pack(len(packed)) + packed)

    async def receive(self, call_seconds: float, end: float) -> Frame | Literal["late", "gone"]:
        """Wait for a frame; "late" if call or request are out of time, "gone" if the process died."""
        while not self.line.frames:
            if self.line.lost:
                return "gone"
            # It may have gone on to the next call since the last look.
            left = min(self.progress[BEGUN] + call_seconds, end) - time.monotonic()
            if left <= 0:
                return "late"
            await self.line.wait(left)
        return self.line.frames.popleft()

    def hang_up(self) -> None:
        """Close the line; an idle worker then ends by itself."""
        if self._transport is not None:
            with contextlib.suppress(RuntimeError):
                self._transport.abort()
        else:
            self.socket.close()

    def end(self, *, kindly: bool = False) -> None:
        """End the process, and wait for its end."""
        if kindly:
            self.process.join(1.0)
        if self.process.is_alive():
            self.process.kill()
        self.process.join()
        self.process.close()


class Pool:
    """Worker processes that answer requests; all its life is in one event loop.

    Parameters
    ----------
    settings : Settings
        Numbers of workers, and limits.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._idle: asyncio.LifoQueue[_Worker | None] = asyncio.LifoQueue()
        self._all: set[_Worker] = set()
        self._starting = 0
        self._closed = False
        self._replacing: set[asyncio.Task[None]] = set()

    @property
    def size(self) -> int:
        """Number of worker processes."""
        return len(self._all)

    async def start(self) -> None:
        """Start the workers that are kept ready; they load while the server is already there."""
        while (worker := await self._new(self._settings.workers)) is not None:
            self._idle.put_nowait(worker)

    async def run(self, body: bytes) -> Answer:
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
            worker = await self._take()
            if worker is None:
                return _refused(_BUSY)
            begun = time.monotonic()
            try:
                worker.send(Job(body, count, failed))
                end = begun + limits.request_seconds - spent
                received = await worker.receive(limits.call_seconds, end)
                while not isinstance(received, str):
                    kind, number, payload = received
                    if kind == REFUSED:
                        await self._give_back(worker)
                        return Answer(number, payload)
                    if number:
                        parts.append(payload)
                        count += number
                    if kind == DONE:
                        await self._give_back(worker)
                        return Answer(200, _HEAD + b",".join(parts) + b"]}")
                    received = await worker.receive(limits.call_seconds, end)
            except asyncio.CancelledError:
                # Nobody waits for the answer any more.
                self._drop(worker)
                raise
            index = int(worker.progress[INDEX])
            total = max(total, int(worker.progress[TOTAL]))
            late = time.monotonic() - worker.progress[BEGUN] >= limits.call_seconds
            self._drop(worker)
            if self._closed:
                return _refused(_BUSY)
            if index == _READING:
                unread += 1
                if not total or unread > _READS:
                    return _refused(_UNREADABLE)
                index = count
            elif received == "gone" or late:
                failed[index] = _DIED if received == "gone" else _too_long(limits.call_seconds)
            spent += time.monotonic() - begun
            if spent >= limits.request_seconds:
                given_up = _given_up(limits.request_seconds)
                failed.update({i: given_up for i in range(index, total) if i not in failed})
                # What is left is only written, not calculated.
                spent = -math.inf

    async def stop(self) -> None:
        """End all workers, and let the loop close the lines to them."""
        self.close()
        await asyncio.gather(*self._replacing)
        # Closed lines are told of it in the next round of the loop.
        await asyncio.sleep(0)

    def close(self) -> None:
        """End all workers; calls at work are given up."""
        self._closed = True
        workers, self._all = self._all, set()
        # Who still waits for a worker gets none.
        self._idle.put_nowait(None)
        for worker in workers:
            worker.process.kill()
        for worker in workers:
            worker.hang_up()
            worker.end()

    async def _take(self) -> _Worker | None:
        # A worker that died while idle is replaced, but not for ever.
        for _ in range(3):
            worker = await self._wait()
            if worker is None:
                return None
            try:
                ready = await worker.wait_ready()
            except asyncio.CancelledError:
                self._drop(worker)
                raise
            if ready:
                return worker
            self._drop(worker)
        return None

    async def _wait(self) -> _Worker | None:
        with contextlib.suppress(asyncio.QueueEmpty):
            return self._got(self._idle.get_nowait())
        if self._all:
            with contextlib.suppress(TimeoutError):
                return self._got(await asyncio.wait_for(self._idle.get(), _PATIENCE))
        worker = await self._new(self._settings.most_workers)
        if worker is not None or self._closed:
            return worker
        with contextlib.suppress(TimeoutError):
            return self._got(await asyncio.wait_for(self._idle.get(), self._settings.limits.request_seconds))
        return None

    def _got(self, worker: _Worker | None) -> _Worker | None:
        if worker is None:
            self._idle.put_nowait(None)
        return worker

    async def _new(self, most: int) -> _Worker | None:
        if self._closed or len(self._all) + self._starting >= most:
            return None
        self._starting += 1
        try:
            # Starting a process takes long enough to be felt by other requests.
            worker = await asyncio.to_thread(_Worker, self._settings)
        finally:
            self._starting -= 1
        if self._closed:
            worker.hang_up()
            await asyncio.to_thread(worker.end)
            return None
        self._all.add(worker)
        return worker

    async def _give_back(self, worker: _Worker) -> None:
        if worker not in self._all:
            return
        if len(self._all) <= self._settings.workers:
            self._idle.put_nowait(worker)
            return
        self._all.discard(worker)
        worker.hang_up()
        await asyncio.to_thread(worker.end, kindly=True)

    def _drop(self, worker: _Worker) -> None:
        """End a worker at once, and start another in its place."""
        if worker not in self._all:
            return
        self._all.discard(worker)
        worker.process.kill()
        worker.hang_up()
        worker.end()
        # The task would be lost if nobody held it.
        task = asyncio.ensure_future(self.start())
        self._replacing.add(task)
        task.add_done_callback(self._replacing.discard)


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
