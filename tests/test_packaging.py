"""The wheel holds every file of the package, and nothing that does not belong in it."""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = ("functions", "workbooks", "templates")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dist")
    # hatchling is in the test extra, so that no network is needed here.
    subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT)],
        check=True,
        capture_output=True,
    )
    return folder


def files_on_disk() -> set[str]:
    found = set()
    for folder in FOLDERS:
        for path in (ROOT / folder).rglob("*"):
            hidden = any(part.startswith(("__pycache__", "~$", ".~lock")) for part in path.parts)
            if path.is_file() and not hidden and path.suffix != ".pyc":
                found.add(path.relative_to(ROOT).as_posix())
    return found


def test_wheel_holds_every_file_of_the_package(built: Path) -> None:
    with zipfile.ZipFile(next(built.glob("*.whl"))) as wheel:
        packed = {name.removeprefix("dampcell/") for name in wheel.namelist() if name.startswith("dampcell/")}
    assert packed == files_on_disk() | {"__init__.py", "py.typed"}


def test_source_archive_can_be_built_from_again(built: Path) -> None:
    with tarfile.open(next(built.glob("*.tar.gz"))) as archive:
        names = {"/".join(name.split("/")[1:]) for name in archive.getnames()}
    assert {"README.md", "LICENSE", "pyproject.toml", "src/dampcell/__init__.py"} <= names
    assert files_on_disk() <= names
