"""The house: imports run one way, calculation stays pure, modules stay readable, public names are listed."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted(
    path for folder in ("functions", "workbooks", "templates") for path in (ROOT / folder).rglob("*.py")
)
# The component that LibreOffice loads stands alone there, with the standard library only.
SHIPPED = ROOT / "functions" / "hosts" / "calc_addin" / "shipped"
OURS = [path for path in MODULES if SHIPPED not in path.parents]
LAYERS = ("errors", "data", "physics", "registry", "cells", "hosts", "workbooks")
REGISTRY_MODULES = ("tables", "calls", "registry")
# What only hosts and workbooks may know: files, sockets, clocks, spreadsheets, documents.
OUTSIDE = (
    "socket",
    "http",
    "urllib",
    "openpyxl",
    "formualizer",
    "typst",
    "starlette",
    "uvicorn",
    "time",
    "random",
)


def layer(module: str) -> int:
    """Height of a module in the house; imports only go down or stay."""
    parts = module.split(".")
    if parts[1] in ("workbooks", "templates"):
        return LAYERS.index("workbooks")
    if len(parts) == 2 or parts[2] == "cells":
        return LAYERS.index("cells")
    if parts[2] in ("errors", "data", "hosts"):
        return LAYERS.index(parts[2])
    if parts[2] in REGISTRY_MODULES:
        return LAYERS.index("registry")
    return LAYERS.index("physics")


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(("dampcell", *(part for part in parts if part != "__init__")))


def imported(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    known = {name_of(other) for other in MODULES}
    return {name for name in found if name in known or not name.startswith("dampcell")}


@pytest.mark.parametrize("path", OURS, ids=name_of)
def test_imports_never_point_up(path: Path) -> None:
    own = name_of(path)
    for name in imported(path):
        if name.startswith("dampcell.") and name != own:
            assert layer(name) <= layer(own), f"{own} imports {name}"


@pytest.mark.parametrize(
    "path", [path for path in OURS if layer(name_of(path)) < LAYERS.index("hosts")], ids=name_of
)
def test_calculation_knows_nothing_of_the_outside(path: Path) -> None:
    for name in imported(path):
        assert name.split(".")[0] not in OUTSIDE, f"{name_of(path)} imports {name}"


def test_imports_have_no_circles() -> None:
    edges = {
        name_of(path): {name for name in imported(path) if name.startswith("dampcell.")} - {name_of(path)}
        for path in OURS
    }
    # A package's own modules are reached through it by name; only real modules count here.
    packages = {name_of(path) for path in OURS if path.name == "__init__.py"}
    edges = {name: targets - packages for name, targets in edges.items() if name not in packages}
    while leaves := [name for name, targets in edges.items() if not targets & set(edges)]:
        for name in leaves:
            del edges[name]
    assert not edges, f"modules that import each other: {sorted(edges)}"


@pytest.mark.parametrize("path", OURS, ids=name_of)
def test_no_module_is_too_long_to_read(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 600


@pytest.mark.parametrize("path", [path for path in OURS if path.name != "__main__.py"], ids=name_of)
def test_every_listed_name_exists(path: Path) -> None:
    module = importlib.import_module(name_of(path))
    assert module.__doc__
    for name in module.__all__:
        assert hasattr(module, name), f"{name_of(path)}.{name}"
