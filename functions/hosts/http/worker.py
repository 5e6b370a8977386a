"""A worker process: it reads the calls of a request, makes them one by one, and writes the results.

All reading and calculating happens here, so that neither a huge request nor a
calculation without end can hold up the server itself. The server ends a worker
that takes too long, and starts another.
"""

from __future__ import annotations

import contextlib
import importlib
import logging
import pickle
import signal
import socket
import struct
import time
from collections.abc import Mapping, MutableSequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from dampcell.functions.errors import DampcellError
from dampcell.functions.hosts.http.fence import lay_fence
from dampcell.functions.hosts.http.settings import Limits
from dampcell.functions.hosts.http.wire import Call, Refusal, read_calls, result_json
from dampcell.functions.registry import NAMESPACE, CellError, Outcome, as_cell_error

__all__ = [
    "BEGUN",
    "DONE",
    "HEAD",
    "INDEX",
    "PART",
    "READY",
    "REFUSED",
    "SIZE",
    "TOTAL",
    "Job",
    "WorkerSettings",
    "work",
]

READY: Final = 0
"""Kind of a frame: the worker has loaded everything."""
PART: Final = 1
"""Kind of a frame: results, and more to come."""
DONE: Final = 2
"""Kind of a frame: the last results."""
REFUSED: Final = 3
"""Kind of a frame: the whole request is refused; the number is the HTTP status."""

INDEX: Final = 0
"""Place in the shared progress: call at work; -1 while the request is being read."""
BEGUN: Final = 1
"""Place in the shared progress: when it was begun, by the monotonic clock [s]."""
TOTAL: Final = 2
"""Place in the shared progress: number of calls, once it is known."""

HEAD: Final = struct.Struct("<BII")
"""What goes before a frame: kind, number of results (or HTTP status), size of the JSON behind it."""
SIZE: Final = struct.Struct("<I")
"""What goes before a job: its size."""

_SEND_EVERY = 0.05
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class WorkerSettings:
    """What a worker process has to know; no secret among it."""

    limits: Limits
    folders: tuple[Path, ...]
    families: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Job:
    """A request as it came, the first call to make, and sentences for calls that have failed before."""

    body: bytes
    first: int
    failed: Mapping[int, str]


def work(line: socket.socket, progress: MutableSequence[float], settings: WorkerSettings) -> None:
    """Run a worker until the server hangs up.

    Parameters
    ----------
    line : socket
        Jobs come in, frames go out.
    progress : array of float
        Shared with the server, see INDEX, BEGUN and TOTAL.
    settings : WorkerSettings
        Limits, folders and families.
    """
    # An interrupt from the keyboard reaches all processes; the server ends its workers itself.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for family in settings.families:
        importlib.import_module(family)
    lay_fence(settings.folders)
    # The server hangs up by closing its end, which some systems report as an error.
    with contextlib.suppress(OSError), line.makefile("rb") as jobs:
        _send(line, READY, 0)
        while head := jobs.read(SIZE.size):
            _serve(line, progress, settings.limits, pickle.loads(jobs.read(*SIZE.unpack(head))))


def _send(line: socket.socket, kind: int, number: int, payload: bytes = b"") -> None:
    line.sendall(HEAD.pack(kind, number, len(payload)) + payload)


def _serve(line: socket.socket, progress: MutableSequence[float], limits: Limits, job: Job) -> None:
    calls = read_calls(job.body, limits)
    if isinstance(calls, Refusal):
        _send(line, REFUSED, calls.status, calls.body())
        return
    progress[TOTAL] = len(calls)
    results: list[bytes] = []
    sent = time.monotonic()
    for index in range(job.first, len(calls)):
        now = time.monotonic()
        if now - sent > _SEND_EVERY:
            _send(line, PART, len(results), b",".join(results))
            results, sent = [], now
        progress[BEGUN] = now
        progress[INDEX] = index
        results.append(_result(calls[index], job.failed.get(index)))
    _send(line, DONE, len(results), b",".join(results))


def _result(call: Call | CellError, failed: str | None) -> bytes:
    if isinstance(call, CellError):
        return result_json(Outcome(call))
    name = f"{NAMESPACE}.{call.function.name}"
    if failed is not None:
        return result_json(Outcome(CellError("#N/A", f"{name}: {failed}")))
    try:
        return result_json(call.function.call(call.arguments))
    except DampcellError as error:
        return result_json(Outcome(as_cell_error(error)))
    except Exception as error:
        # The last fence before a person: a fault of ours costs this cell, not the others of the request.
        # The log says where, without source lines (they are files) and without the text (it may quote cells).
        _log.error("%s failed inside with %s at %s", name, type(error).__name__, _place(error))
        sentence = (
            f"{name}: failed inside ({type(error).__name__}); this is a fault of Dampcell, so please report "
            "the formula and its arguments."
        )
        return result_json(Outcome(CellError("#VALUE!", sentence)))


def _place(error: Exception) -> str:
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    return (
        f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}" if trace is not None else "an unknown place"
    )
