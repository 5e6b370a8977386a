"""The add-in as written to a folder, the real server over https, and Node in Excel's place."""

from __future__ import annotations

import datetime
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.hosts.excel_in_node import Run, excel_in_node

from dampcell.workbooks.connect_excel import write_addin

NOW = datetime.datetime.now(datetime.UTC)


class Server:
    """The real server in a process of its own, over http and https."""

    def __init__(self, config: Path, *options: str) -> None:
        self.addin = config / "dampcell" / "excel"
        self._process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "dampcell.workbooks.cli",
                "serve",
                "--port",
                "0",
                "--secure-port",
                "0",
                *options,
            ],
            env={**os.environ, "XDG_CONFIG_HOME": str(config)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self._process.stdout is not None
        assert self._process.stderr is not None
        self.link = self._process.stdout.readline().strip()
        assert self.link.startswith("http://"), self._process.stderr.read()
        told = "".join(self._process.stderr.readline() for _ in range(4))
        port = re.search(r"https://localhost:(\d+)/", told)
        assert port is not None, told
        self.origin = f"https://localhost:{port[1]}"
        self.token = (config / "dampcell" / "token").read_text().strip()

    def stop(self) -> None:
        """Stop it."""
        self._process.terminate()
        self._process.communicate(timeout=30)


@pytest.fixture(scope="session")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a config folder in which the add-in was written."""
    folder = tmp_path_factory.mktemp("config")
    write_addin(folder / "dampcell" / "excel", NOW)
    return folder


@pytest.fixture(scope="session")
def addin(config: Path) -> Path:
    """Give the folder of the add-in."""
    return config / "dampcell" / "excel"


@pytest.fixture(scope="session")
def server(config: Path) -> Iterator[Server]:
    """Run the server; calls may take a second."""
    running = Server(config, "--time-limit", "1")
    yield running
    running.stop()


@pytest.fixture(scope="session")
def excel(addin: Path, server: Server) -> Run:
    """Give a function that makes groups of calls in Excel's place, and tells results and requests."""
    return excel_in_node(addin, server.origin, server.token)
