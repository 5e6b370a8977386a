"""The command ``serve``: the calculation server for spreadsheets on this machine, and its page."""

from __future__ import annotations

import contextlib
import datetime
import http.client
import json
import logging
import socket
import ssl
import sys
import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from dampcell import __version__
from dampcell.functions.errors import InputError
from dampcell.functions.hosts.http.access import TOKEN_FILE, config_folder, own_token
from dampcell.functions.hosts.http.app import create_app
from dampcell.functions.hosts.http.listening import Secure, answer, loopback_sockets, make_server
from dampcell.functions.hosts.http.settings import PORT, SECURE_PORT, Limits, Settings

__all__ = ["ADDIN_FOLDER", "register", "serve"]

ADDIN_FOLDER = "excel"
"""Folder within the user's own config folder, where ``dampcell connect excel`` writes the add-in."""

_SOON_DAYS = 30
_AGAIN = 'run "dampcell connect excel" again'


def serve(
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port on this machine; 0 for any free one.")
    ] = PORT,
    folder: Annotated[
        list[Path] | None,
        typer.Option("--folder", help="A folder whose files cell functions may read; may be repeated."),
    ] = None,
    time_limit: Annotated[
        float,
        typer.Option(
            "--time-limit", min=0.1, max=600.0, help="Seconds after which a calculation is stopped."
        ),
    ] = Limits().call_seconds,
    excel: Annotated[
        Path | None,
        typer.Option(
            "--excel",
            metavar="FOLDER",
            help='Folder of the Excel add-in; default: the one that "dampcell connect excel" wrote, if any.',
        ),
    ] = None,
    secure_port: Annotated[
        int, typer.Option("--secure-port", min=0, max=65535, help="Port for the Excel add-in (https).")
    ] = SECURE_PORT,
    open_page: Annotated[bool, typer.Option("--open", help="Open the page in the browser.")] = False,
    log: Annotated[
        bool, typer.Option("--log", help="Write a line for each request to standard error.")
    ] = False,
    link: Annotated[
        bool, typer.Option("--link", help="Only print a new link to the page of the server that is running.")
    ] = False,
    get: Annotated[
        str | None,
        typer.Option("--get", metavar="PATH", help="Answer one request, such as /v1/health, and leave."),
    ] = None,
) -> None:
    """Run the calculation server that spreadsheets and the page in the browser ask.

    It is reached from this machine alone. At the first start it makes a secret token in your own
    config folder; spreadsheets are connected with it, and the page gets it from the link that is
    printed, which works once. Stop it with Ctrl+C.
    """
    if link:
        typer.echo(_new_link(port, own_token(config_folder())))
        return
    folders = tuple(_folder(path) for path in folder or ())
    limits = Limits(call_seconds=time_limit, request_seconds=max(Limits().request_seconds, 2 * time_limit))
    if get is not None:
        raise typer.Exit(_get_once(get, Settings(token="", port=port, folders=folders, limits=limits)))
    _log_to_stderr(logging.INFO if log else logging.WARNING)
    token = own_token(config_folder())
    addin = _addin(excel)
    context = _context(addin) if addin is not None else None
    with contextlib.ExitStack() as at_the_end:
        sockets = _listening(port, "--port", at_the_end)
        secure = (
            Secure(_listening(secure_port, "--secure-port", at_the_end), context)
            if context is not None
            else None
        )
        settings = Settings(
            token=token,
            port=sockets[0].getsockname()[1],
            secure_port=secure.sockets[0].getsockname()[1] if secure is not None else None,
            addin=addin,
            folders=folders,
            limits=limits,
        )
        app = create_app(settings)
        at_the_end.callback(app.close)

        def ready() -> None:
            page = app.new_link()
            typer.echo(f"Dampcell {__version__} calculates for spreadsheets at {settings.address}", err=True)
            if settings.secure_port is not None:
                typer.echo(f"The Excel add-in asks at https://localhost:{settings.secure_port}/", err=True)
            typer.echo(f"The token lies in {config_folder() / TOKEN_FILE}", err=True)
            typer.echo('This link opens the page, once; "dampcell serve --link" prints another:', err=True)
            typer.echo(page)
            sys.stdout.flush()
            if open_page:
                webbrowser.open(page)

        make_server(app, ready, secure=secure).run(sockets)


def register(app: typer.Typer) -> None:
    """Add the command of this module to the command line."""
    app.command()(serve)


def _listening(port: int, option: str, at_the_end: contextlib.ExitStack) -> list[socket.socket]:
    opened = loopback_sockets(port, option)
    for each in opened:
        at_the_end.callback(each.close)
    return opened


def _folder(path: Path, option: str = "--folder") -> Path:
    if not path.is_dir():
        raise InputError(
            "is not a folder", parameter=str(path), allowed=f"{option} with a folder that is there"
        )
    return path.resolve()


def _addin(given: Path | None) -> Path | None:
    if given is not None:
        return _folder(given, "--excel")
    usual = config_folder() / ADDIN_FOLDER
    return usual if usual.is_dir() else None


def _context(folder: Path) -> ssl.SSLContext:
    # Only who has the add-in waits for this library.
    from dampcell.functions.hosts.office_addin.build import CERTIFICATE, CERTIFICATE_KEY
    from dampcell.functions.hosts.office_addin.certificates import days_left

    certificate, key = folder / CERTIFICATE, folder / CERTIFICATE_KEY
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        days = days_left(certificate.read_bytes(), datetime.datetime.now(datetime.UTC))
        context.load_cert_chain(certificate, key)
    except (OSError, ValueError):
        raise InputError(
            "holds no certificate and key of the server", parameter=str(folder), allowed=_AGAIN
        ) from None
    if days < _SOON_DAYS:
        ends = f"ends in {days} days" if days >= 0 else "has ended"
        typer.echo(f"The certificate for the Excel add-in {ends}: {_AGAIN}.", err=True)
    return context


def _get_once(path: str, settings: Settings) -> int:
    if not path.startswith("/"):
        raise InputError("is not a path", parameter="--get", found=path, allowed="a path such as /v1/health")
    app = create_app(settings)
    try:
        given = answer(app, path, f"127.0.0.1:{settings.port}")
    finally:
        app.close()
    sys.stdout.buffer.write(given.body)
    sys.stdout.flush()
    return 0 if given.status < 400 else 1


def _new_link(port: int, token: str) -> str:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        connection.request(
            "POST",
            "/v1/links",
            json.dumps({"version": __version__}),
            {"Content-Type": "application/json", "Authorization": f"Bearer {token}"},
        )
        read = json.loads(connection.getresponse().read())
    except (OSError, http.client.HTTPException, ValueError):
        raise InputError(
            "no server of Dampcell answers there",
            parameter=f"port {port}",
            allowed='starting one with "dampcell serve", or --port with its number',
        ) from None
    finally:
        connection.close()
    if isinstance(read, dict) and isinstance(read.get("link"), str):
        return str(read["link"])
    told = read.get("error") if isinstance(read, dict) else None
    sentence = told.get("message") if isinstance(told, dict) else None
    raise InputError(
        str(sentence or "the server there is not one of Dampcell").rstrip("."), parameter=f"port {port}"
    )


def _log_to_stderr(level: int) -> None:
    handler = logging.StreamHandler()
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
    for name in ("dampcell", "uvicorn"):
        logger = logging.getLogger(name)
        logger.addHandler(handler)
        logger.setLevel(level if name == "dampcell" else logging.WARNING)
