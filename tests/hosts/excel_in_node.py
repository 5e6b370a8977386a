"""The Excel add-in's real script in Node, in Excel's place."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

OFFICE = Path(__file__).parents[1] / "office"

Group = Sequence[tuple[str, Sequence[object]]]
Run = Callable[..., Mapping[str, Any]]


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


def excel_in_node(addin: Path, origin: str, token: str) -> Run:
    """Give a function that makes groups of calls in Excel's place, and tells results and requests."""

    def run(*groups: Group, **changed: object) -> Mapping[str, Any]:
        given = {
            "script": str(addin / "served" / "functions.js"),
            "metadata": str(addin / "served" / "functions.json"),
            "origin": origin,
            "token": token,
            "groups": groups,
            **changed,
        }
        told: Mapping[str, Any] = node("drive.mjs", given=given, authority=addin / "dampcell-ca.crt")
        return told

    return run


def matrix(value: object) -> object:
    """Hand a value over as Excel does: every argument is a rectangle, and one left out is null."""
    if value is None:
        return None
    if not isinstance(value, list):
        return [[value]]
    if not isinstance(value[0], list):
        return [[cell] for cell in value]
    width = max(map(len, value))
    return [[*row, *[""] * (width - len(row))] for row in value]
