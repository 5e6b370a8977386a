"""The command ``serve`` as a person runs it."""

from __future__ import annotations

import http.client
import json
import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from dampcell import __version__
from dampcell.functions.hosts.http.settings import PORT
from dampcell.workbooks.cli import main


@pytest.fixture(autouse=True)
def _own_config(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def leave(arguments: list[str]) -> int:
    """Run the command line, and give its exit code."""
    with pytest.raises(SystemExit) as left:
        main(arguments)
    return int(left.value.code or 0)


def test_get_answers_one_request_without_a_socket(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert leave(["serve", "--get", "/v1/health"]) == 0
    read = json.loads(capfdbinary.readouterr().out)
    assert (read["status"], read["version"], read["authorised"]) == ("ok", __version__, False)


def test_get_of_nothing_leaves_with_one(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert leave(["serve", "--get", "/nothing"]) == 1
    assert json.loads(capfdbinary.readouterr().out)["error"]["code"] == "not_found"


def test_get_makes_no_token(tmp_path: Path) -> None:
    leave(["serve", "--get", "/openapi.json"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (
            ["--get", "v1/health"],
            '--get: is not a path (found "v1/health"); allowed: a path such as /v1/health.',
        ),
        (["--folder", "no-such-folder"], "no-such-folder: is not a folder; allowed: --folder with a folder"),
    ],
)
def test_a_wrong_call_is_refused_with_a_sentence(
    arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert leave(["serve", *arguments]) == 2
    assert sentence in capsys.readouterr().err


def test_a_link_without_a_server_is_refused_with_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    # Port 9 is set aside for throwing away, and nothing on this machine answers there.
    assert leave(["serve", "--link", "--port", "9"]) == 2
    assert 'port 9: no server of Dampcell answers there; allowed: starting one with "dampcell serve"' in (
        capsys.readouterr().err
    )


def test_a_running_server_gives_links_calculates_and_stops_without_telling_secrets(tmp_path: Path) -> None:
    environment = {**os.environ, "XDG_CONFIG_HOME": str(tmp_path), "PYTHONUNBUFFERED": "1"}
    command = [sys.executable, "-m", "dampcell.workbooks.cli", "serve", "--port", "0", "--log"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8", env=environment
    ) as process:
        try:
            assert process.stdout is not None
            link = process.stdout.readline().strip()
            address, _, key = link.partition("#key=")
            port = int(address.rstrip("/").rpartition(":")[2])
            file = tmp_path / "dampcell" / "token"
            token = file.read_text(encoding="ascii").strip()
            assert stat.S_IMODE(file.stat().st_mode) == 0o600

            more = subprocess.run(
                [*command[:4], "--link", "--port", str(port)],
                capture_output=True,
                text=True,
                env=environment,
                check=True,
            )
            assert more.stdout.startswith(f"{address}#key=")
            assert more.stdout.strip() != link

            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
            body = json.dumps({"version": __version__, "key": key})
            connection.request("POST", "/v1/session", body, {"Content-Type": "application/json"})
            assert json.loads(connection.getresponse().read()) == {"token": token}
            call = {"function": "PLATE_STIFFNESS", "arguments": [30, 12, 0.2, 26]}
            connection.request(
                "POST",
                "/v1/calls",
                json.dumps({"version": __version__, "calls": [call]}),
                {"Content-Type": "application/json", "Authorization": f"Bearer {token}"},
            )
            read = json.loads(connection.getresponse().read())
            assert isinstance(read["results"][0]["value"], float)
            connection.close()
        finally:
            process.send_signal(signal.SIGINT)
            rest, messages = process.communicate(timeout=60)
    assert rest == ""
    assert "POST /v1/calls 200" in messages
    assert token not in messages
    assert key not in messages
    assert "Traceback" not in messages


def test_a_token_that_the_server_does_not_know_gets_no_link(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    class Answering:
        def __init__(self, *_arguments: object, **_named: object) -> None:
            self.closed = False

        def request(self, *_arguments: object) -> None:
            return None

        def getresponse(self) -> Answering:
            return self

        def read(self) -> bytes:
            return b'{"error":{"code":"token","message":"the request does not carry the token."}}'

        def close(self) -> None:
            self.closed = True

    monkeypatch.setattr("dampcell.workbooks.serve_command.http.client.HTTPConnection", Answering)
    assert leave(["serve", "--link"]) == 2
    assert f"port {PORT}: the request does not carry the token." in capsys.readouterr().err
