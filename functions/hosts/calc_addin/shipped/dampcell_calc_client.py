"""Ask the calculation server for values: one kept connection, a bounded memory, and short patience.

This module runs inside LibreOffice, whose Python may be old and has no
libraries: standard library only, and nothing newer than Python 3.8. It knows
nothing of LibreOffice.
"""

from __future__ import annotations

import http.client
import json
import os
import socket
import sys
import threading
import time
from collections import OrderedDict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from typing import Any

    Answer = dict[str, Any]  # JSON of the server, which is looked into with care

__all__ = ["Calculator", "Refused", "Unreachable", "config_folders", "trimmed"]

HEALTH_SECONDS = 1.0
"""Patience for the first word of the server [s]; a busy one answers this too, from another process."""
CALL_SECONDS = 20.0
"""Patience for a call [s]; the server itself stops a call before."""
PAUSE_SECONDS = 1.0
"""After the server was not reached, cells are told so without a new attempt for this long [s]."""
LONGEST_PAUSE = 30.0
"""The pause doubles up to this while the server accepts connections, but does not answer [s]."""
MEMORY_CELLS = 300_000
"""How many results are remembered, in cells; long arguments count too."""
MEMORY_CALLS = 50_000
"""How many calls are fetched ahead at one time."""
FIRST_BATCH, MOST_CALLS = 64, 1000
"""Calls in the first request that looks ahead, and at most in any; the server takes no more."""
FETCH_SECONDS = 5.0
"""How long looking ahead may go on at one time [s]."""
CHECK_SECONDS = 0.2
"""A connection that was alive this long ago is taken to be so still [s]."""
SHEET_ROWS = 1_048_576
"""Rows of a sheet: a range of so many is a whole column."""
LONG_RANGE = 1000
"""Ranges of more rows are sent without the blank rows at their end."""

_ENCODE = json.JSONEncoder(check_circular=False, allow_nan=False, separators=(",", ":")).encode
_ADDRESSES = ("127.0.0.1", "::1")
_RECALCULATE = "recalculate with Ctrl+Shift+F9"
_START = f'start it with "dampcell serve", then {_RECALCULATE}'


class Refused(Exception):  # noqa: N818 - it is the answer to a call, not a fault
    """The call was answered with an error value: its code, and the sentence that says what to mend."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


class Unreachable(Exception):  # noqa: N818 - as above
    """The server cannot be asked; the text says what to do about it."""


class _Lost(Exception):  # noqa: N818 - as above
    """The connection was closed by the server."""


def config_folders(platform: str = sys.platform, environment: Mapping[str, str] = os.environ) -> list[str]:
    """Say where the server may keep its token, the likeliest place first.

    Parameters
    ----------
    platform : text
        As ``sys.platform``.
    environment : mapping
        Environment of the process.

    Returns
    -------
    list of text
        A LibreOffice in a sandbox has an XDG_CONFIG_HOME of its own, so the usual place is tried too.
    """
    home = environment.get("HOME") or os.path.expanduser("~")
    if platform.startswith("win"):
        local = environment.get("LOCALAPPDATA") or os.path.join(os.path.expanduser("~"), "AppData", "Local")
        return [os.path.join(local, "dampcell")]
    if platform == "darwin":
        return [os.path.join(home, "Library", "Application Support", "dampcell")]
    usual = os.path.join(home, ".config", "dampcell")
    given = environment.get("XDG_CONFIG_HOME", "").strip()
    return list(dict.fromkeys([os.path.join(given, "dampcell"), usual])) if given else [usual]


def trimmed(arguments: Sequence[object], kinds: Sequence[str]) -> tuple[list[object], int]:
    """Prepare raw cell values for sending, without the blank rows at the end of long ranges.

    Parameters
    ----------
    arguments : sequence
        Numbers, texts, booleans, None, or ranges as rows of these; a blank in a range is an empty text.
    kinds : sequence of text
        Kind of each argument; the last one goes for all the rest.

    Returns
    -------
    list, int
        What to send, with None for blanks; and the number of rows to which a mapped
        result has to be filled up with blanks again, or 0.
    """
    sent = list(arguments)
    while sent and sent[-1] is None:
        sent.pop()
    ranges = {index: value for index, value in enumerate(sent) if isinstance(value, tuple)}
    if not ranges:
        return sent, 0
    mapped = {index for index in ranges if kinds[min(index, len(kinds) - 1)] in ("number", "text", "choice")}
    rows = max((len(ranges[index]) for index in mapped), default=0)
    long = {index for index in mapped if len(ranges[index]) == rows}
    fill = 0
    kept = dict.fromkeys(ranges, SHEET_ROWS)
    # Ranges that do not fit together must not come to fit by being cut.
    if rows > LONG_RANGE and all(len(ranges[index]) in (1, rows) for index in mapped):
        filled = max(2, max(_filled(ranges[index]) for index in long))
        kept.update(dict.fromkeys(long, filled))
        fill = rows if filled < rows < SHEET_ROWS else 0
    for index, value in ranges.items():
        if index not in mapped and len(value) > LONG_RANGE:
            kept[index] = max(1, _filled(value))
        sent[index] = [[None if cell == "" else cell for cell in row] for row in value[: kept[index]]]
    return sent, fill


def _filled(rows: tuple[tuple[object, ...], ...]) -> int:
    """Count rows up to the last one that is not blank; there may be a million."""
    count = len(rows)
    blank = ("",) * len(rows[0])
    while count and rows[count - 1] == blank:
        count -= 1
    return count


class Calculator:
    """Asks the server, and remembers what it said.

    Parameters
    ----------
    version : text
        Version of the extension.
    port : int
        Port of the server.
    folders : sequence of text
        Where its token may lie.
    clock : callable
        Seconds of a clock that never goes back.
    """

    def __init__(
        self,
        version: str,
        port: int,
        folders: Sequence[str],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._version = version
        self._port = port
        self._folders = list(folders)
        self._clock = clock
        self._lock = threading.Lock()
        self._connection: http.client.HTTPConnection | None = None
        self._headers: Mapping[str, str] = {}
        self._known = _Memory(MEMORY_CELLS)
        self._server_version = ""
        self._place = ""
        self._silent_until = 0.0
        self._pause = PAUSE_SECONDS
        self._trouble = ""
        self._checked = 0.0

    def call(
        self,
        function: str,
        arguments: Sequence[object],
        *,
        remember: bool = True,
        missed: Callable[[], None] | None = None,
    ) -> object:
        """Make one call.

        Parameters
        ----------
        function : text
            Name of the cell function.
        arguments : sequence
            Raw values; a range is a list of rows, a blank None.
        remember : bool
            Whether the same call may be answered from memory.
        missed : callable, optional
            Told when the call is not in memory; it may fill that with `fetch`.

        Returns
        -------
        object
            The value: scalar, or list of rows; an error within rows is a dict with ``error``.

        Raises
        ------
        Refused
            If the answer is an error value.
        Unreachable
            If there is no answer.
        """
        try:
            call = _written(function, arguments)
        except ValueError:
            raise Refused("#VALUE!", "an argument is no finite number.") from None
        known = self._remembered(call) if remember else None
        if known is None and remember and missed is not None:
            missed()
            known = self._remembered(call)
        if known is None:
            with self._lock:
                (known,) = self._ask([call])
                if remember:
                    self._keep(call, known)
        if "error" in known:
            error = known["error"]
            raise Refused(str(error.get("code") or "#VALUE!"), str(error.get("message") or ""))
        return known.get("value")

    def fetch(self, calls: Sequence[tuple[str, Sequence[object]]]) -> int:
        """Fill the memory with calls that are about to come, many in one request.

        Parameters
        ----------
        calls : sequence of (text, sequence)
            Functions and arguments, as for `call`.

        Returns
        -------
        int
            How many were not known, and are now.
        """
        with self._lock:
            written = dict.fromkeys(_written(*call) for call in calls)
            left = [call for call in written if self._known.get(call) is None]
            size, fetched, begun = FIRST_BATCH, 0, self._clock()
            while left and self._clock() - begun < FETCH_SECONDS and fetched < MEMORY_CALLS:
                batch, left = left[:size], left[size:]
                asked = self._clock()
                try:
                    results = self._ask(batch)
                except Unreachable:
                    # The call itself will say so.
                    break
                for call, result in zip(batch, results):  # noqa: B905 - new in Python 3.10
                    self._keep(call, result)
                fetched += len(batch)
                # A request of a second at most, so that a slow function does not run into a limit.
                size = max(1, min(MOST_CALLS, int(len(batch) / max(self._clock() - asked, 0.001))))
            return fetched

    def status(self) -> str:
        """Say whether the server is reached; this always asks it."""
        with self._lock:
            self._close()
            try:
                self._connect()
            except Unreachable as trouble:
                return str(trouble)
            return f"Connected: Dampcell {self._server_version} calculates on port {self._port}."

    def forget(self) -> None:
        """Forget all values and troubles, and connect anew at the next call."""
        with self._lock:
            self._close()
            self._known.clear()
            self._silent_until = 0.0
            self._trouble = ""
            self._pause = PAUSE_SECONDS

    def _remembered(self, call: str) -> Answer | None:
        # A server that was started anew may say something else: the memory is that of one connection.
        with self._lock:
            return self._known.get(call) if self._alive() else None

    def _keep(self, call: str, result: Answer) -> None:
        # A call that took too long may go well the next time.
        if not isinstance(result.get("error"), dict) or result["error"].get("code") != "#N/A":
            self._known.put(call, result, 1 + len(call) // 20 + _cells(result.get("value")))

    def _ask(self, calls: Sequence[str]) -> list[Answer]:
        """Send calls, on the kept connection if it still holds."""
        if self._clock() < self._silent_until:
            raise Unreachable(self._trouble)
        body = f'{{"version":{json.dumps(self._version)},"calls":[{",".join(calls)}]}}'.encode("ascii")
        try:
            if self._connection is not None:
                try:
                    return self._exchange(body, len(calls))
                except _Lost:
                    self._close()
            self._connect()
            return self._exchange(body, len(calls))
        except _Lost:
            raise self._give_up(f"the calculation server stopped while it was asked: {_START}.") from None

    def _exchange(self, body: bytes, count: int) -> list[Answer]:
        assert self._connection is not None
        try:
            self._connection.request("POST", "/v1/calls", body, self._headers)
            response = self._connection.getresponse()
            content = response.read()
        except socket.timeout:  # noqa: UP041 - not the same before Python 3.10
            raise self._give_up(
                f"the calculation server gave no answer within {CALL_SECONDS:g} s: use a smaller range, or "
                f"start the server again; then {_RECALCULATE}.",
                silent=True,
            ) from None
        except (OSError, http.client.HTTPException):
            raise _Lost from None
        told = _json(content)
        if response.status == 200:
            results = told.get("results")
            if isinstance(results, list) and [type(result) for result in results] == [dict] * count:
                self._checked = self._clock()
                return results
            raise self._give_up(self._stranger())
        if response.status in (413, 503):
            # This request alone was too large, or came at a busy time; others may go well.
            raise Unreachable(_sentence(told))
        if response.status == 401:
            raise self._give_up(self._wrong_token())
        if response.status == 409:
            raise self._give_up(_sentence(told))
        raise self._give_up(_sentence(told) or self._stranger())

    def _connect(self) -> None:
        """Connect, and check token and version before anything is calculated."""
        token = self._token()
        health: Answer = {}
        status, refused = 0, True
        for address in _ADDRESSES:
            connection = http.client.HTTPConnection(address, self._port, timeout=HEALTH_SECONDS)
            headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
            try:
                connection.request("GET", "/v1/health", headers=headers)
                response = connection.getresponse()
                health, status = _json(response.read()), response.status
            except socket.timeout:  # noqa: UP041 - not the same before Python 3.10
                connection.close()
                refused = False
                continue
            except (OSError, http.client.HTTPException):
                connection.close()
                continue
            self._connection, self._headers = connection, headers
            break
        else:
            if refused:
                raise self._give_up(f"the calculation server is not running (port {self._port}): {_START}.")
            raise self._give_up(
                f"the calculation server on port {self._port} does not answer: stop it, {_START}.",
                silent=True,
            )
        if status != 200 or health.get("name") != "dampcell":
            raise self._give_up(self._stranger())
        version = str(health.get("version"))
        if _line(version) != _line(self._version):
            raise self._give_up(
                f"the extension in LibreOffice is of Dampcell {self._version}, the calculation server of "
                f'Dampcell {version}: update the older one ("dampcell connect calc" renews the extension), '
                f"start both again, then {_RECALCULATE}."
            )
        if not health.get("authorised"):
            raise self._give_up(self._wrong_token())
        if self._connection is not None and self._connection.sock is not None:
            self._connection.sock.settimeout(CALL_SECONDS)
        self._server_version = version
        self._pause = PAUSE_SECONDS
        self._silent_until = 0.0
        self._checked = self._clock()
        self._known.clear()

    def _token(self) -> str:
        places = [os.path.join(folder, "token") for folder in self._folders]
        trouble = ""
        for place in places:
            try:
                with open(place, encoding="ascii") as file:
                    token = file.read(200).strip()
            except FileNotFoundError:
                continue
            except (OSError, ValueError):
                trouble = f"the token in {place} cannot be read: delete it, {_START}."
                continue
            if token and token.isprintable():
                self._place = place
                return token
            trouble = f"{place} does not hold a token: delete it, {_START}."
        missing = f"there is no {' and no '.join(places)}"
        raise self._give_up(
            trouble or f"the calculation server was never started by this user ({missing}): {_START}."
        )

    def _wrong_token(self) -> str:
        return (
            f"the calculation server on port {self._port} does not take the token in {self._place}; it may "
            f"be that of another user: stop it, {_START}."
        )

    def _stranger(self) -> str:
        return (
            f"the program on port {self._port} is not the calculation server of Dampcell: end it, or use "
            'another port with "dampcell serve --port" and "dampcell connect calc --port"; '
            f"then {_RECALCULATE}."
        )

    def _give_up(self, sentence: str, silent: bool = False) -> Unreachable:
        """Close, and leave the server alone for a while; a new attempt for every cell would take for ever."""
        self._close()
        self._trouble = sentence
        self._silent_until = self._clock() + self._pause
        # A server that is not there says so at once; one that is silent costs its patience each time.
        self._pause = min(2 * self._pause, LONGEST_PAUSE) if silent else PAUSE_SECONDS
        return Unreachable(sentence)

    def _alive(self) -> bool:
        """Whether the kept connection is still open at the other end."""
        sock = None if self._connection is None else self._connection.sock
        if sock is None:
            return False
        if self._clock() - self._checked < CHECK_SECONDS:
            return True
        sock.setblocking(False)
        try:
            sock.recv(1, socket.MSG_PEEK)
        except BlockingIOError:
            self._checked = self._clock()
            return True
        except OSError:
            return False
        finally:
            sock.settimeout(CALL_SECONDS)
        # Nothing to read means its end; anything else was not asked for.
        return False

    def _close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None


class _Memory:
    """What calls gave, up to a number of cells; what was not asked for the longest time goes first."""

    def __init__(self, cells: int) -> None:
        self._most = cells
        self._cells = 0
        self._entries: OrderedDict[str, tuple[Answer, int]] = OrderedDict()

    def get(self, call: str) -> Answer | None:
        entry = self._entries.get(call)
        if entry is None:
            return None
        self._entries.move_to_end(call)
        return entry[0]

    def put(self, call: str, result: Answer, cells: int) -> None:
        if cells > self._most // 2:
            return
        self._cells += cells - self._entries.pop(call, ({}, 0))[1]
        self._entries[call] = (result, cells)
        while self._cells > self._most:
            self._cells -= self._entries.popitem(last=False)[1][1]

    def clear(self) -> None:
        self._entries.clear()
        self._cells = 0


def _written(function: str, arguments: Sequence[object]) -> str:
    return f'{{"function":"{function}","arguments":{_ENCODE(arguments)}}}'


def _cells(value: object) -> int:
    if isinstance(value, (list, tuple)):
        return sum(map(_cells, value))
    return 1


def _json(content: bytes) -> Answer:
    try:
        told = json.loads(content.decode("utf-8"))
    except ValueError:
        return {}
    return told if isinstance(told, dict) else {}


def _sentence(told: Answer) -> str:
    error = told.get("error")
    return str(error.get("message") or "") if isinstance(error, dict) else ""


def _line(version: str) -> list[str]:
    """Give the part of a version that must be equal, the first two numbers."""
    return version.split(".")[:2]
