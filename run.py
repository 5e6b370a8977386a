#!/usr/bin/env python3
"""Set everything up on a machine that has only Python, then show the main job or pass the tests.

    python3 run.py demo    the main job on the demo workbooks; says where the reports lie
    python3 run.py test    everything that continuous integration runs
    python3 run.py check   the same without installing programs or building the wheel, for daily work

Only the standard library is used here, because nothing else is there yet. Everything Python goes into
the folder .venv beside this file. On Debian the test command also installs the outside programs that
tests drive, as root or through sudo.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import venv
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).resolve().parent
ENVIRONMENT = ROOT / ".venv"
BIN = ENVIRONMENT / ("Scripts" if os.name == "nt" else "bin")
LEAST_PYTHON = (3, 11)

# Program that tests drive -> Debian package that brings it.
PROGRAMS = {
    "soffice": "libreoffice-calc",
    "pdftoppm": "poppler-utils",
    "chromium": "chromium",
    "chromedriver": "chromium-driver",
    "node": "nodejs",
    "npm": "npm",
}
LIBRARIES = ("python3-uno", "fonts-dejavu-core", "fonts-liberation")


def main(arguments: list[str]) -> int:
    if len(arguments) != 1 or arguments[0] not in ("demo", "test", "check"):
        print(__doc__, file=sys.stderr)
        return 2
    if sys.version_info < LEAST_PYTHON:
        print("Python 3.11 or newer is needed.", file=sys.stderr)
        return 2
    if arguments[0] == "demo":
        make_environment(editable=False, extras="")
        return call([BIN / "dampcell", "demo"], check=False)
    if arguments[0] == "test":
        install_programs()
    make_environment(editable=True, extras="[test]")
    python = BIN / "python"
    npm = shutil.which("npm")
    if npm:
        # Microsoft's own checks of the Excel add-in, at the versions of the lock file.
        call(
            [npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--prefix", ROOT / "tests" / "office"]
        )
    call([python, "-m", "ruff", "check", "."])
    call([python, "-m", "ruff", "format", "--check", "."])
    call([python, "-m", "mypy"])
    leave_out = [] if shutil.which("soffice") else ["-m", "not real_program"]
    if leave_out:
        print("LibreOffice is not on this machine: the tests that drive real programs are left out.")
    call([python, "-m", "pytest", "-q", "-n", "2", "--dist", "loadfile", *leave_out])
    if arguments[0] == "test":
        test_wheel(python)
    print("all good")
    return 0


def make_environment(*, editable: bool, extras: str) -> None:
    """Make the virtual environment if it is not there, and install the project into it."""
    if not (BIN / "python").exists() and not (BIN / "python.exe").exists():
        try:
            venv.create(ENVIRONMENT, with_pip=True, clear=True)
        except (OSError, subprocess.CalledProcessError):
            # Debian keeps pip for new environments in a package of its own.
            install([f"python3.{sys.version_info.minor}-venv"])
            venv.create(ENVIRONMENT, with_pip=True, clear=True)
    how = ["--editable"] if editable else []
    pip: list[str | Path] = [BIN / "python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    call([*pip, *how, f"{ROOT}{extras}"])


def install_programs() -> None:
    """Install the outside programs that tests drive, where they are missing."""
    missing = [package for program, package in PROGRAMS.items() if not shutil.which(program)]
    missing += [library for library in LIBRARIES if not is_installed(library)]
    if missing:
        install(missing)


def install(packages: Iterable[str]) -> None:
    """Install Debian packages, or say what to install by hand."""
    named = list(packages)
    if not shutil.which("apt-get"):
        print(f"Please install by hand what these Debian packages hold: {' '.join(named)}", file=sys.stderr)
        return
    rights = [] if hasattr(os, "geteuid") and os.geteuid() == 0 else ["sudo"]
    quiet = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    call([*rights, "apt-get", "update", "-qq"], environment=quiet)
    call([*rights, "apt-get", "install", "-y", "-qq", "--no-install-recommends", *named], environment=quiet)


def is_installed(package: str) -> bool:
    """Whether a Debian package is there; elsewhere nothing is asked for."""
    if not shutil.which("dpkg-query"):
        return True
    asked = ["dpkg-query", "-W", "-f", "${Status}", package]
    found = subprocess.run(asked, capture_output=True, text=True, check=False)
    return "install ok installed" in found.stdout


def test_wheel(python: Path) -> None:
    """Build the wheel, install it in an empty environment, and run the pure tests against that."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        # A test gives up the rights of root, and has to read the environment still.
        folder.chmod(0o755)
        call([python, "-m", "build", "--wheel", "--outdir", folder / "dist", ROOT])
        empty = folder / "empty"
        venv.create(empty, with_pip=True)
        wheel = next((folder / "dist").glob("*.whl"))
        inside = empty / BIN.name / "python"
        call([inside, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", f"{wheel}[test]"])
        shutil.copytree(ROOT / "tests", folder / "tests", ignore=shutil.ignore_patterns("node_modules"))
        shutil.copy(ROOT / "pyproject.toml", folder)
        for source_only in ("test_packaging.py", "test_documents.py"):
            (folder / "tests" / source_only).unlink(missing_ok=True)
        chosen = ["-m", "not real_program", "-n", "2", "--dist", "loadfile", "--pyargs", "dampcell", "tests"]
        call([inside, "-m", "pytest", "-q", *chosen], folder=folder)


def call(
    command: list[str | Path],
    *,
    check: bool = True,
    folder: Path = ROOT,
    environment: dict[str, str] | None = None,
) -> int:
    """Run a command and show it; a failing one ends this run with its exit code."""
    print("+", " ".join(map(str, command)), flush=True)
    code = subprocess.run(command, cwd=folder, env=environment, check=False).returncode
    if check and code:
        sys.exit(code)
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
