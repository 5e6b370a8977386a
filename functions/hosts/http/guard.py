"""The gate that every request passes: only this machine, only our own pages, only who knows the token.

A server on loopback is open to every page in the user's browser and to every
user of the machine. So a request must name this server (a foreign name that
resolves to this machine does not help), come from our own page or from no page
at all, be JSON, be of bounded size, and carry the token.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Iterable
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dampcell.functions.hosts.http.access import same
from dampcell.functions.hosts.http.addin_files import ADDIN_FILES, headers_of
from dampcell.functions.hosts.http.settings import Settings
from dampcell.functions.hosts.http.wire import Refusal

__all__ = ["HEADERS", "SESSION", "Guard", "bearer"]

SESSION: Final = "/v1/session"
"""The one POST without a token: there a page trades the key of its link for the token."""

HEADERS: Final = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "x-frame-options": "DENY",
    "cache-control": "no-store",
}
"""Headers of every response; the files of the Excel add-in change some of them."""

_log = logging.getLogger("dampcell.http.access")


class Guard:
    """ASGI middleware: refuses what must not reach the application, and keeps the access log.

    Parameters
    ----------
    app : ASGI application
        What lies behind the gate.
    settings : Settings
        Token, names of this server, limits.
    known : iterable of text
        Paths that the access log names; any other may hold anything, and is not written down.
    """

    def __init__(self, app: ASGIApp, settings: Settings, known: Iterable[str]) -> None:
        self._app = app
        self._settings = settings
        self._known = frozenset(known)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        began = time.perf_counter()
        status = 0
        headers = headers_of(scope["path"], HEADERS)

        async def send_on(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [
                    *message.get("headers", ()),
                    *((name.encode(), value.encode()) for name, value in headers.items()),
                ]
            await send(message)

        refusal = self.refusal(scope["method"], scope["path"], scope["headers"])
        if refusal is None:
            await self._app(scope, receive, send_on)
        else:
            await _answer(refusal, send_on)
        shown = scope["path"] if scope["path"] in self._known else "(unknown path)"
        _log.info("%s %s %d %.1f ms", scope["method"], shown, status, (time.perf_counter() - began) * 1000)

    def refusal(self, method: str, path: str, headers: Iterable[tuple[bytes, bytes]]) -> Refusal | None:
        """Decide on a request by its method, path and headers.

        Parameters
        ----------
        method, path : text
            As in the request.
        headers : iterable of (name, value)
            Names in lower case.

        Returns
        -------
        Refusal or None
        """
        fields: dict[str, list[str]] = {}
        for name, value in headers:
            fields.setdefault(name.decode("latin-1"), []).append(value.decode("latin-1"))
        refused = self._wrong_place(fields, anyone=method in ("GET", "HEAD") and self._is_open(path))
        if refused is not None or method in ("GET", "HEAD"):
            return refused
        if method != "POST":
            return Refusal(405, "method", "this server answers GET, HEAD and POST only.")
        if not _is_json(fields.get("content-type", [])):
            return Refusal(
                415, "content_type", "the request is not JSON; allowed: Content-Type: application/json."
            )
        if not self._fits(fields.get("content-length", [])):
            return too_large(self._settings)
        if path != SESSION and not same(bearer(fields.get("authorization", [])), self._settings.token):
            return Refusal(
                401,
                "token",
                "the request does not carry the token of this server; connect the spreadsheet again, "
                'or open the page with the link that "dampcell serve --link" prints.',
            )
        return None

    def _is_open(self, path: str) -> bool:
        return self._settings.addin is not None and path in ADDIN_FILES and ADDIN_FILES[path].open

    def _wrong_place(self, fields: dict[str, list[str]], *, anyone: bool) -> Refusal | None:
        hosts = fields.get("host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self._settings.hosts:
            return Refusal(
                403,
                "host",
                f"the request is for another server than this one; allowed: {self._settings.address}.",
            )
        if anyone:
            return None
        if any(origin.lower() not in self._settings.origins for origin in fields.get("origin", [])):
            return Refusal(
                403, "origin", "the request comes from the page of another server, and is refused."
            )
        # Browsers say so even where they send no Origin. "none" is a link that was opened by hand.
        sites = fields.get("sec-fetch-site", [])
        navigating = fields.get("sec-fetch-mode", []) == ["navigate"]
        if any(site not in ("same-origin", "none") for site in sites) and not navigating:
            return Refusal(
                403, "origin", "the request comes from the page of another server, and is refused."
            )
        return None

    def _fits(self, lengths: list[str]) -> bool:
        return all(
            length.isascii() and length.isdigit() and int(length[:20]) <= self._settings.limits.body_bytes
            for length in lengths
        )


def bearer(values: list[str]) -> str:
    """Take the token out of the Authorization header; an empty text if there is none."""
    if len(values) != 1:
        return ""
    scheme, _, token = values[0].partition(" ")
    return token.strip() if scheme.lower() == "bearer" else ""


def too_large(settings: Settings) -> Refusal:
    """Refuse a body above the limit."""
    megabytes = settings.limits.body_bytes / 2**20
    return Refusal(
        413,
        "body_size",
        f"the request is larger than {megabytes:g} MB; allowed: smaller ranges, or fewer calls at once.",
    )


def _is_json(values: list[str]) -> bool:
    if len(values) != 1:
        return False
    kind, _, parameters = values[0].partition(";")
    wanted = parameters.replace(" ", "").replace('"', "").lower()
    return kind.strip().lower() == "application/json" and wanted in ("", "charset=utf-8")


async def _answer(refusal: Refusal, send: Send) -> None:
    body = refusal.body()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    # What is left of the request is not read, so the connection cannot serve another one.
    headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": refusal.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
