"""The add-in as written to a folder, Node to run it, and the real server over https."""

from __future__ import annotations

import datetime
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from dampcell.workbooks.connect_excel import write_addin

OFFICE = Path(__file__).parents[2] / "office"
NOW = datetime.datetime.now(datetime.UTC)


def node(script: str, *arguments: str, given: object = None, authority: Path | None = None) -> Any:
    """Run a script of tests/office in Node and give what it prints."""
    found = shutil.which("node")
    assert found is not None, "Node must be installed"
    environment = dict(os.environ)
    if authority is not None:
        environment["NODE_EXTRA_CA_CERTS"] = str(authority)
    done = subprocess.run(
        [found, str(OFFICE / script), *arguments],
        input=json.dumps(given),
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, f"{done.stderr}\nPerhaps: npm ci --ignore-scripts --prefix tests/office"
    return json.loads(done.stdout)


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


Group = Sequence[tuple[str, Sequence[object]]]
Run = Callable[..., Mapping[str, Any]]


@pytest.fixture(scope="session")
def excel(addin: Path, server: Server) -> Run:
    """Give a function that makes groups of calls in Excel's place, and tells results and requests."""

    def run(*groups: Group, **changed: object) -> Mapping[str, Any]:
        given = {
            "script": str(addin / "served" / "functions.js"),
            "metadata": str(addin / "served" / "functions.json"),
            "origin": server.origin,
            "token": server.token,
            "groups": groups,
            **changed,
        }
        told: Mapping[str, Any] = node("drive.mjs", given=given, authority=addin / "dampcell-ca.crt")
        return told

    return run
