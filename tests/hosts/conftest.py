"""The calculation server and LibreOffice with our extension, started once for all tests of the hosts.

LibreOffice must be installed; a machine without it fails these tests on purpose.
"""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import dampcell.functions.cells  # noqa: F401 - fills the registry
from dampcell.functions.hosts.calc_addin.extension import build_extension
from dampcell.functions.registry import REGISTRY
from dampcell.workbooks.connect_excel import write_addin

DRIVER = Path(__file__).with_name("calc_driver.py")
OFFICE_PYTHON = "/usr/bin/python3"
START_SECONDS = 120


class LiveServer:
    """A calculation server in a process of its own, which can be stopped and started again."""

    def __init__(self, config: Path, port: int, secure_port: int) -> None:
        self.config = config
        self.port = port
        self.secure_port = secure_port
        self._log = config / "log"
        self._process: subprocess.Popen[str] | None = None

    @property
    def requests(self) -> int:
        """How many requests with calls it has answered."""
        return self._log.read_text().count("POST /v1/calls")

    @property
    def addin(self) -> Path:
        """Folder of the Excel add-in, which the server asks for at its start."""
        return self.config / "dampcell" / "excel"

    @property
    def token(self) -> str:
        """The token it made at its first start."""
        return (self.config / "dampcell" / "token").read_text().strip()

    def start(self, *options: str) -> None:
        """Start it with options of the command line, and wait until it answers."""
        command = [sys.executable, "-m", "dampcell.workbooks.cli", "serve", "--log"]
        command += ["--port", str(self.port), "--secure-port", str(self.secure_port), *options]
        environment = {**os.environ, "XDG_CONFIG_HOME": str(self.config)}
        with self._log.open("a") as log:
            self._process = subprocess.Popen(
                command, env=environment, stdout=subprocess.PIPE, stderr=log, text=True
            )
        assert self._process.stdout is not None
        # It prints the link of its page when it is ready.
        assert self._process.stdout.readline().startswith("http://"), self._log.read_text()

    def start_if_stopped(self) -> None:
        """Start it again after a test that stopped it."""
        if self._process is None:
            self.start()

    def stop(self) -> None:
        """Stop it, if it runs."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(30)
            assert self._process.stdout is not None
            self._process.stdout.close()
            self._process = None


class Calc:
    """LibreOffice with the extension; each method is a request to `calc_driver.Driver`."""

    def __init__(self, folder: Path, server: LiveServer) -> None:
        self.folder = folder
        self.server = server
        self.work = folder / "work"
        self.work.mkdir()
        self._token = folder / "home" / ".config" / "dampcell" / "token"
        self._token.parent.mkdir(parents=True)
        self.write_token(server.token)
        extension = folder / "dampcell.oxt"
        extension.write_bytes(build_extension(REGISTRY.values(), port=server.port))
        self._own()
        self._run("unopkg", "add", str(extension), seconds=START_SECONDS)
        pipe = f"dampcell{os.getpid()}"
        self._office = self._begin("soffice", "--headless", "--norestore", f"--accept=pipe,name={pipe};urp")
        self._driver = self._begin(OFFICE_PYTHON, str(DRIVER), pipe)
        assert self._answer() == "ready"

    def write_token(self, token: str) -> None:
        """Change the token that the extension sends."""
        self._token.write_text(token)

    def ask(self, do: str, **given: Any) -> Any:
        """Send a request to the driver."""
        assert self._driver.stdin is not None
        self._driver.stdin.write(json.dumps({"do": do, "with": given}) + "\n")
        self._driver.stdin.flush()
        return self._answer()

    def values(self, *formulas: str) -> list[Any]:
        """Calculate formulas in a new workbook, one below the other; an error is a list with its code."""
        with self.workbook():
            self.ask("put_formulas", area=f"Z1:Z{len(formulas)}", rows=[[formula] for formula in formulas])
            return [row[0] for row in self.ask("get", area=f"Z1:Z{len(formulas)}")]

    @contextlib.contextmanager
    def workbook(self, path: Path | None = None) -> Iterator[None]:
        """Have a workbook open for a while."""
        self.ask("open", path=str(path or ""))
        try:
            yield
        finally:
            self.ask("close")

    def end(self) -> None:
        """End LibreOffice and the driver."""
        with contextlib.suppress(Exception):
            self.ask("quit")
        for process in (self._driver, self._office):
            if process.stdin is not None:
                process.stdin.close()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                # soffice is a script round the program itself.
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()
            if process.stdout is not None:
                process.stdout.close()

    def _answer(self) -> Any:
        assert self._driver.stdout is not None
        line = self._driver.stdout.readline()
        assert line, "LibreOffice or its driver has died"
        answer = json.loads(line)
        assert "failed" not in answer, answer["failed"]
        return answer["result"]

    def _own(self) -> None:
        """LibreOffice's package tool refuses to work for root: an ordinary user gets the folder."""
        self._as_user: list[str] = []
        if os.geteuid() == 0:
            user = pwd.getpwnam("nobody")
            for path in (self.folder, *self.folder.rglob("*")):
                os.chown(path, user.pw_uid, user.pw_gid)
            setpriv = shutil.which("setpriv")
            assert setpriv is not None, "setpriv (util-linux) must be installed"
            self._as_user = [setpriv, f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups"]

    def _command(self, program: str, *arguments: str) -> list[str]:
        found = shutil.which(program)
        assert found is not None, f"LibreOffice ({program}) must be installed"
        profile = f"-env:UserInstallation={(self.folder / 'profile').as_uri()}"
        own = [profile] if program != OFFICE_PYTHON else []
        return [*self._as_user, found, *arguments, *own]

    def _environment(self) -> dict[str, str]:
        kept = {name: os.environ[name] for name in ("PATH", "LANG", "LC_ALL") if name in os.environ}
        return {**kept, "HOME": str(self.folder / "home"), "TMPDIR": str(self.folder / "work")}

    def _run(self, *command: str, seconds: float) -> None:
        done = subprocess.run(
            self._command(*command),
            env=self._environment(),
            cwd=self.folder,
            capture_output=True,
            text=True,
            timeout=seconds,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr

    def _begin(self, *command: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            self._command(*command),
            env=self._environment(),
            cwd=self.folder,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE if command[0] == OFFICE_PYTHON else subprocess.DEVNULL,
            text=True,
            start_new_session=True,
        )


@pytest.fixture(scope="session")
def live_server() -> Iterator[LiveServer]:
    """The real calculation server, on free ports, with a token and the Excel add-in of its own."""
    with tempfile.TemporaryDirectory(prefix="dampcell-server-") as folder:
        server = LiveServer(Path(folder), _free_port(), _free_port())
        write_addin(server.addin, datetime.datetime.now(datetime.UTC))
        server.start()
        try:
            yield server
        finally:
            server.stop()


@pytest.fixture(scope="session")
def calc(live_server: LiveServer) -> Iterator[Calc]:
    """LibreOffice with our extension, connected to the server."""
    # The folders of pytest are closed to the ordinary user that LibreOffice runs as.
    with tempfile.TemporaryDirectory(prefix="dampcell-calc-") as folder:
        Path(folder).chmod(0o755)
        office = Calc(Path(folder), live_server)
        try:
            yield office
        finally:
            office.end()


def _free_port() -> int:
    with socket.socket() as opened:
        opened.bind(("127.0.0.1", 0))
        return int(opened.getsockname()[1])
