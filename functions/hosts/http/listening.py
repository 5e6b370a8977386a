"""Listening on this machine alone, over IPv4 and IPv6, and answering without a socket."""

from __future__ import annotations

import asyncio
import errno
import logging
import socket
import ssl
import sys
from collections.abc import Callable
from dataclasses import dataclass

import uvicorn
from starlette.types import ASGIApp, Message

from dampcell.functions.errors import InputError

__all__ = ["Answer", "Secure", "answer", "loopback_sockets", "make_server"]

_KEEP_ALIVE = 300
"""A spreadsheet that is calculated every few minutes keeps its connection [s]."""


@dataclass(frozen=True, slots=True)
class Answer:
    """A response: HTTP status and body."""

    status: int
    body: bytes


@dataclass(frozen=True, slots=True)
class Secure:
    """The same server over https: sockets of its own, and the certificate that they show."""

    sockets: list[socket.socket]
    context: ssl.SSLContext


def loopback_sockets(port: int, option: str = "--port") -> list[socket.socket]:
    """Open the port on 127.0.0.1, and on ::1 where the machine has IPv6.

    Parameters
    ----------
    port : int
        The port, or 0 for any free one.
    option : text
        The option that takes another port, for the sentence.

    Returns
    -------
    list of socket
        Bound, all to the same port, without Nagle's delay.

    Raises
    ------
    InputError
        If the port is taken.
    """
    first = _bound(socket.AF_INET, "127.0.0.1", port, option)
    sockets = [first]
    try:
        sockets.append(_bound(socket.AF_INET6, "::1", first.getsockname()[1], option))
    except OSError as error:
        # A machine without IPv6 is no fault; another program on the same port there is.
        if error.errno == errno.EADDRINUSE:
            first.close()
            raise _taken(port, option) from None
    except InputError:
        first.close()
        raise
    return sockets


class _Server(uvicorn.Server):
    """uvicorn's server, which says when it is ready."""

    def __init__(self, config: uvicorn.Config, on_ready: Callable[[], None], secure: Secure | None) -> None:
        super().__init__(config)
        self._on_ready = on_ready
        self._secure = secure

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen."""
        await super().startup(sockets=sockets)
        if self.started and self._secure is not None:
            for opened in self._secure.sockets:
                listener = await asyncio.get_running_loop().create_server(
                    self._protocol, sock=opened, ssl=self._secure.context, backlog=self.config.backlog
                )
                self.servers.append(listener)
        if self.started:
            self._on_ready()

    def _protocol(self) -> asyncio.Protocol:
        return self.config.http_protocol_class(  # type: ignore[call-arg]  # as uvicorn itself calls it
            config=self.config, server_state=self.server_state, app_state=self.lifespan.state
        )


def make_server(
    app: ASGIApp, on_ready: Callable[[], None] = lambda: None, *, secure: Secure | None = None
) -> uvicorn.Server:
    """Prepare uvicorn; its ``run(sockets)`` serves until it is told to stop.

    Parameters
    ----------
    app : ASGI application
        What to serve.
    on_ready : callable
        Called once requests are answered.
    secure : Secure, optional
        Where the same is served over https.

    Returns
    -------
    uvicorn.Server
    """
    config = uvicorn.Config(
        app,
        access_log=False,
        log_config=None,
        ws="none",
        lifespan="on",
        server_header=False,
        proxy_headers=False,
        timeout_keep_alive=_KEEP_ALIVE,
        timeout_graceful_shutdown=3,
        limit_concurrency=256,
    )
    # uvicorn's own access log writes whole addresses, and a token pasted into one would stand there. Its
    # switch only takes handlers away, and a program may add some; our own log is in guard.py.
    logging.getLogger("uvicorn.access").disabled = True
    return _Server(config, on_ready, secure)


def answer(app: ASGIApp, path: str, host: str) -> Answer:
    """Answer one GET without a socket.

    Parameters
    ----------
    app : ASGI application
        What to ask.
    path : text
        Path, perhaps with a query.
    host : text
        Value of the Host header.

    Returns
    -------
    Answer
    """
    place, _, query = path.partition("?")
    messages: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        messages.append(message)

    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": place,
        "raw_path": place.encode(),
        "query_string": query.encode(),
        "root_path": "",
        "headers": [(b"host", host.encode())],
        "client": ("127.0.0.1", 0),
        "server": ("127.0.0.1", 0),
    }
    asyncio.run(app(scope, receive, send))  # type: ignore[arg-type]  # every ASGI app is a coroutine function
    body = b"".join(message.get("body", b"") for message in messages[1:])
    return Answer(messages[0]["status"], body)


def _bound(family: socket.AddressFamily, host: str, port: int, option: str) -> socket.socket:
    opened = socket.socket(family, socket.SOCK_STREAM)
    try:
        if family == socket.AF_INET6:
            opened.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        if sys.platform == "win32":
            # There, the option for reuse would let another program listen on the same port.
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        opened.bind((host, port))
    except OSError as error:
        opened.close()
        if error.errno in (errno.EADDRINUSE, errno.EACCES):
            raise _taken(port, option) from None
        raise
    return opened


def _taken(port: int, option: str) -> InputError:
    return InputError(
        "is taken, perhaps by a server of Dampcell that is running already",
        parameter=f"port {port}",
        allowed=f"{option} with another number between 1024 and 65535",
    )
