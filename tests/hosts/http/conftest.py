"""Fixtures of the server's tests: an application, and functions that misbehave."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from dampcell import __version__
from dampcell.functions.hosts.http.app import Application, create_app
from dampcell.functions.hosts.http.settings import Limits, Settings
from dampcell.functions.registry import REGISTRY

# Looking for doctests there would import it, and declare its functions in the whole test run.
collect_ignore = ["trial_cells_for_server.py"]

TOKEN = "t" * 43
ADDRESS = "http://127.0.0.1:27430"
FAMILIES = ("dampcell.functions.cells", "trial_cells_for_server")


@pytest.fixture(scope="session")
def misbehaving() -> Iterator[None]:
    """Let the server load the trial functions, and take them out of the registry at the end."""
    folder = str(Path(__file__).parent)
    sys.path.insert(0, folder)
    yield
    sys.path.remove(folder)
    sys.modules.pop("trial_cells_for_server", None)


@pytest.fixture(autouse=True, scope="module")
def _clean_registry() -> Iterator[None]:
    yield
    for name in [name for name in REGISTRY if name.startswith("TRIAL_")]:
        del REGISTRY[name]
    sys.modules.pop("trial_cells_for_server", None)


@pytest.fixture(scope="module")
def named_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder that the owner named at the start."""
    return tmp_path_factory.mktemp("named")


@pytest.fixture(scope="module")
def app(misbehaving: None, named_folder: Path) -> Iterator[Application]:
    """Give an application with small limits."""
    made = create_app(
        Settings(
            token=TOKEN,
            folders=(named_folder,),
            limits=Limits(body_bytes=200_000, calls=50, cells=1000, call_seconds=2.0, request_seconds=20.0),
            workers=2,
            families=FAMILIES,
        )
    )
    yield made
    made.close()


@pytest.fixture(scope="module")
def client(app: Application) -> Iterator[TestClient]:
    """Give a client with the token, of an application that has been started."""
    with TestClient(app, base_url=ADDRESS, headers={"Authorization": f"Bearer {TOKEN}"}) as started:
        yield started


Caller = Callable[..., list[dict[str, object]]]


@pytest.fixture(scope="module")
def results_of(client: TestClient) -> Caller:
    """Give a function that makes calls, each as name and arguments, and gives their results."""

    def make(*calls: tuple[str, list[object]]) -> list[dict[str, object]]:
        listed = [{"function": name, "arguments": arguments} for name, arguments in calls]
        answer = client.post("/v1/calls", json={"version": __version__, "calls": listed})
        assert answer.status_code == 200, answer.text
        read = json.loads(answer.content)
        assert read["version"] == __version__
        return list(read["results"])

    return make
