"""The web application: the routes of the calculation server, behind the guard."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import importlib
import json
import logging
from collections.abc import AsyncIterator, Mapping
from importlib.resources import files

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from dampcell import __version__
from dampcell.functions.hosts.http.access import Keys, same
from dampcell.functions.hosts.http.addin_files import read_addin_files
from dampcell.functions.hosts.http.catalogue import catalogue
from dampcell.functions.hosts.http.guard import SESSION, Guard, bearer, too_large
from dampcell.functions.hosts.http.guides import guides
from dampcell.functions.hosts.http.openapi import openapi
from dampcell.functions.hosts.http.pool import Answer, Pool
from dampcell.functions.hosts.http.settings import Settings
from dampcell.functions.hosts.http.wire import Refusal, read_body, version_refusal
from dampcell.functions.registry import REGISTRY

__all__ = ["PAGE", "Application", "create_app"]

PAGE: Mapping[str, str] = {
    "index.html": "text/html; charset=utf-8",
    "style.css": "text/css; charset=utf-8",
    "icon.svg": "image/svg+xml",
    "app.js": "text/javascript; charset=utf-8",
    "client.js": "text/javascript; charset=utf-8",
    "form.js": "text/javascript; charset=utf-8",
    "grid.js": "text/javascript; charset=utf-8",
    "plot.js": "text/javascript; charset=utf-8",
    "result.js": "text/javascript; charset=utf-8",
}
"""Files of the page, and the type of each; no other file is ever served."""

_CALLS = "/v1/calls"
_READ_SECONDS = 20.0
_log = logging.getLogger("dampcell.http")


class Application:
    """The server as an ASGI application; make it with `create_app`.

    Parameters
    ----------
    settings : Settings
        Token, port, limits and folders.
    """

    def __init__(self, settings: Settings) -> None:
        for family in settings.families:
            importlib.import_module(family)
        self.settings = settings
        self._keys = Keys()
        self._pool = Pool(settings)
        self._at_work = 0
        functions = list(REGISTRY.values())
        self._count = len(functions)
        documents = {
            "/v1/functions": {"version": __version__, "functions": catalogue(functions)},
            "/v1/guides": {"version": __version__, "guides": guides(settings)},
            "/openapi.json": openapi(functions, settings),
        }
        routes = [
            _fixed(path, _encoded(document), "application/json") for path, document in documents.items()
        ]
        folder = files("dampcell.functions.hosts.http") / "page"
        for name, kind in PAGE.items():
            # The page has to say which version it is from; nothing else is filled in.
            content = (folder / name).read_bytes().replace(b"{{version}}", __version__.encode())
            routes.append(_fixed("/" if name == "index.html" else f"/{name}", content, kind))
        routes += [_fixed(*file) for file in read_addin_files(settings.addin)]
        routes += [
            Route("/v1/health", self._health, methods=["GET"]),
            Route("/v1/links", self._links, methods=["POST"]),
            Route(SESSION, self._session, methods=["POST"]),
        ]
        self._framework = Starlette(
            routes=routes,
            lifespan=self._lifespan,
            exception_handlers={HTTPException: _http_error, Exception: _fault},
        )
        # An address is right or it is not: no redirects, which would name a host.
        self._framework.router.redirect_slashes = False
        self._guarded = Guard(self._route, settings, [_CALLS, *(route.path for route in routes)])

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer as ASGI asks."""
        await self._guarded(scope, receive, send)

    def new_link(self) -> str:
        """Make a link that opens the page once, with all it needs to calculate."""
        return f"{self.settings.address}#key={self._keys.new()}"

    def close(self) -> None:
        """End all worker processes; calls at work are given up."""
        self._pool.close()

    @contextlib.asynccontextmanager
    async def _lifespan(self, _app: Starlette) -> AsyncIterator[None]:
        await self._pool.start()
        try:
            yield
        finally:
            await self._pool.stop()

    async def _health(self, request: Request) -> Response:
        told = {
            "status": "ok",
            "name": "dampcell",
            "version": __version__,
            "functions": self._count,
            "authorised": same(bearer(request.headers.getlist("authorization")), self.settings.token),
        }
        return _json(told)

    async def _route(self, scope: Scope, receive: Receive, send: Send) -> None:
        # Cells come in thousands: calls go past the framework, which costs 0.1 ms each.
        if scope["type"] != "http" or scope["path"] != _CALLS:
            await self._framework(scope, receive, send)
            return
        if scope["method"] != "POST":
            answer = _as_answer(_NOT_THIS_KIND)
        else:
            try:
                answer = await self._calls(receive)
            except Exception as error:
                answer = _as_answer(_faulty(error))
        headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(answer.body))]
        await send({"type": "http.response.start", "status": answer.status, "headers": headers})
        await send({"type": "http.response.body", "body": answer.body})

    async def _calls(self, receive: Receive) -> Answer:
        body = await self._body(receive)
        if isinstance(body, Refusal):
            return _as_answer(body)
        if self._at_work >= self.settings.limits.waiting:
            return _as_answer(_CROWDED)
        self._at_work += 1
        try:
            return await self._pool.run(body)
        finally:
            self._at_work -= 1

    async def _session(self, request: Request) -> Response:
        read = await self._versioned(request)
        if isinstance(read, Refusal):
            return _refused(read)
        key = read.get("key")
        if not isinstance(key, str) or not self._keys.redeem(key):
            return _refused(
                Refusal(
                    401,
                    "link",
                    "this link has been used, or is from an earlier start of the server; "
                    '"dampcell serve --link" prints a new one.',
                    "key",
                )
            )
        return _json({"token": self.settings.token})

    async def _links(self, request: Request) -> Response:
        read = await self._versioned(request)
        return _refused(read) if isinstance(read, Refusal) else _json({"link": self.new_link()})

    async def _versioned(self, request: Request) -> Mapping[str, object] | Refusal:
        body = await self._body(request.receive)
        read = body if isinstance(body, Refusal) else read_body(body)
        if isinstance(read, Refusal):
            return read
        return version_refusal(read.get("version")) or read

    async def _body(self, receive: Receive) -> bytes | Refusal:
        # A body without a stated length is counted while it comes in.
        parts: list[bytes] = []
        size = 0
        more = True
        try:
            async with asyncio.timeout(_READ_SECONDS):
                while more:
                    message = await receive()
                    if message["type"] != "http.request":
                        return _SLOW
                    parts.append(message.get("body", b""))
                    size += len(parts[-1])
                    if size > self.settings.limits.body_bytes:
                        return too_large(self.settings)
                    more = message.get("more_body", False)
        except TimeoutError:
            return _SLOW
        return b"".join(parts)


def create_app(settings: Settings) -> Application:
    """Build the application; nothing is started before the first request or the start of a server.

    Parameters
    ----------
    settings : Settings
        Token, port, limits and folders.

    Returns
    -------
    Application
        Its ``close()`` frees every process and thread.
    """
    return Application(settings)


def _fixed(path: str, content: bytes, kind: str) -> Route:
    mark = f'"{hashlib.sha256(content).hexdigest()[:32]}"'

    async def answer(request: Request) -> Response:
        if mark in [given.strip() for given in request.headers.get("if-none-match", "").split(",")]:
            return Response(status_code=304, headers={"etag": mark})
        return Response(content, media_type=kind, headers={"etag": mark})

    return Route(path, answer, methods=["GET"])


def _encoded(document: object) -> bytes:
    return json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def _json(document: object) -> Response:
    return Response(_encoded(document), media_type="application/json")


def _refused(refusal: Refusal) -> Response:
    return Response(refusal.body(), refusal.status, media_type="application/json")


def _as_answer(refusal: Refusal) -> Answer:
    return Answer(refusal.status, refusal.body())


async def _http_error(_request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    if status == 405:
        return _refused(_NOT_THIS_KIND)
    return _refused(
        Refusal(status, "not_found", "there is nothing at this address; allowed: see /openapi.json.")
    )


async def _fault(_request: Request, error: Exception) -> Response:
    return _refused(_faulty(error))


def _faulty(error: Exception) -> Refusal:
    # Only the kind is written down: the text of an error may quote the request.
    _log.error("a request failed inside with %s", type(error).__name__)
    return Refusal(500, "fault", "the server failed inside; this is a fault of Dampcell, please report it.")


_NOT_THIS_KIND = Refusal(405, "method", "this address does not answer this kind of request.")
_CROWDED = Refusal(503, "busy", "too many requests are waiting for the calculation server; try again.")
_SLOW = Refusal(408, "slow", f"the request did not arrive within {_READ_SECONDS:g} s.")
