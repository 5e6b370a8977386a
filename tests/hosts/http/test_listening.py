"""The server on real sockets of this machine."""

from __future__ import annotations

import http.client
import json
import logging
import socket
import threading
from collections.abc import Iterator

import pytest

from dampcell import __version__
from dampcell.functions.errors import InputError
from dampcell.functions.hosts.http.app import create_app
from dampcell.functions.hosts.http.listening import answer, loopback_sockets, make_server
from dampcell.functions.hosts.http.settings import Settings
from dampcell.functions.registry import evaluate

TOKEN = "t" * 43


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """Run a real server on a free port."""
    sockets = loopback_sockets(0)
    number = sockets[0].getsockname()[1]
    app = create_app(Settings(token=TOKEN, port=number, workers=1))
    ready = threading.Event()
    server = make_server(app, ready.set)
    thread = threading.Thread(target=server.run, args=(sockets,))
    thread.start()
    assert ready.wait(60.0)
    yield number
    server.should_exit = True
    thread.join(60.0)
    assert not thread.is_alive()
    for opened in sockets:
        opened.close()


def call(connection: http.client.HTTPConnection, name: str, arguments: list[object]) -> dict[str, object]:
    """Make one call over a connection."""
    body = json.dumps({"version": __version__, "calls": [{"function": name, "arguments": arguments}]})
    headers = {"Content-Type": "application/json", "Authorization": f"Bearer {TOKEN}"}
    connection.request("POST", "/v1/calls", body, headers)
    read = json.loads(connection.getresponse().read())
    return dict(read["results"][0])


@pytest.mark.parametrize("host", ["127.0.0.1", "::1"])
def test_both_families_of_addresses_answer_over_a_connection_that_is_kept(port: int, host: str) -> None:
    connection = http.client.HTTPConnection(host, port, timeout=60)
    try:
        connection.connect()
        kept = connection.sock
        for viscosity in (404.0, 405.0, 406.0):
            result = call(connection, "OIL_VISCOSITY", [viscosity, 28, 60])
            assert result["value"] == evaluate("OIL_VISCOSITY", [viscosity, 28.0, 60.0]).value
            assert connection.sock is kept
    finally:
        connection.close()


def test_other_addresses_of_the_machine_are_not_listened_on(port: int) -> None:
    others = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), port, type=socket.SOCK_STREAM)}
    for host in {"127.0.0.2", *map(str, others)} - {"127.0.0.1", "::1"}:
        with pytest.raises(OSError, match=r"refused|unreachable|cannot assign|timed out"):
            socket.create_connection((host, port), timeout=2.0)


def test_sockets_send_at_once_and_lie_on_loopback_alone() -> None:
    sockets = loopback_sockets(0)
    try:
        assert [opened.getsockname()[0] for opened in sockets] == ["127.0.0.1", "::1"]
        assert len({opened.getsockname()[1] for opened in sockets}) == 1
        for opened in sockets:
            assert opened.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) != 0
    finally:
        for opened in sockets:
            opened.close()


def test_a_port_that_is_taken_is_refused_with_a_sentence(port: int) -> None:
    with pytest.raises(InputError, match=rf"port {port}: is taken, perhaps by a server of Dampcell"):
        loopback_sockets(port)


def test_a_port_that_is_taken_on_one_family_only_is_refused() -> None:
    with socket.create_server(("::1", 0), family=socket.AF_INET6) as there:
        taken = there.getsockname()[1]
        with pytest.raises(InputError, match="is taken"):
            loopback_sockets(taken)


def test_a_machine_without_the_newer_addresses_uses_the_older_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    real = socket.socket

    def without(family: int = socket.AF_INET, *rest: object) -> socket.socket:
        if family == socket.AF_INET6:
            raise OSError(97, "Address family not supported by protocol")
        return real(family, *rest)  # type: ignore[arg-type]  # handed on as they came

    monkeypatch.setattr("dampcell.functions.hosts.http.listening.socket.socket", without)
    (only,) = loopback_sockets(0)
    with only:
        assert only.getsockname()[0] == "127.0.0.1"


@pytest.mark.parametrize(
    "raw",
    [
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nHost: evil.example\r\n\r\n",
        b"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"POST /v1/calls HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nContent-Length: 2\r\n\r\n{}",
        b"POST /v1/calls HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nContent-Type: application/json\r\n\r\n",
        b"NONSENSE\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
    ],
)
def test_raw_bytes_get_no_further_than_the_guard(port: int, raw: bytes) -> None:
    with socket.create_connection(("127.0.0.1", port), timeout=30) as connection:
        connection.sendall(raw.replace(b"%d", str(port).encode()))
        status = connection.recv(4096).partition(b"\r\n")[0]
    assert status == b"" or status.split()[1] in {b"400", b"401", b"403", b"415"}


def test_the_real_server_says_and_logs_no_secret(port: int, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        call(connection, "OIL_VISCOSITY", [404, 28, 60])
        connection.request("GET", f"/v1/health?token={TOKEN}", headers={"Authorization": f"Bearer {TOKEN}"})
        response = connection.getresponse()
        assert "uvicorn" not in str(response.headers).lower()
        assert TOKEN.encode() not in response.read()
    finally:
        connection.close()
    assert any("POST /v1/calls 200" in record.getMessage() for record in caplog.records)
    assert not any(TOKEN in record.getMessage() for record in caplog.records)


def test_one_request_is_answered_without_a_socket() -> None:
    app = create_app(Settings(token=TOKEN))
    try:
        given = answer(app, "/v1/health?x=1", "127.0.0.1:27430")
        assert given.status == 200
        assert json.loads(given.body)["version"] == __version__
        assert answer(app, "/nothing", "127.0.0.1:27430").status == 404
        assert answer(app, "/v1/health", "evil.example").status == 403
    finally:
        app.close()
