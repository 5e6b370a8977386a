"""The README says what the registry and the command line are."""

from __future__ import annotations

import re
from pathlib import Path

from dampcell.functions.registry import REGISTRY
from dampcell.workbooks.cli import COMMANDS
from dampcell.workbooks.documents import refreshed_document

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_generated_parts_of_the_readme_are_fresh() -> None:
    assert refreshed_document(README) == README, "run: python -m dampcell.workbooks.documents README.md"


def test_readme_lists_every_function_and_command() -> None:
    for name in REGISTRY:
        assert f"`DAMP.{name}(" in README
    for command in COMMANDS:
        assert f"#### `dampcell {command}`" in README
    for host in ("calc", "excel", "excel-desktop"):
        assert f"#### `dampcell connect {host}`" in README


def test_readme_names_the_two_commands_that_set_everything_up() -> None:
    assert "python3 run.py demo" in README
    assert "python3 run.py test" in README


def test_text_outside_the_generated_parts_is_left_alone() -> None:
    text = "before\n<!-- functions -->\nstale text\n<!-- end of functions -->\nafter <!-- other -->"
    fresh = refreshed_document(text)
    assert fresh.startswith("before\n<!-- functions -->\n")
    assert fresh.endswith("<!-- end of functions -->\nafter <!-- other -->")
    assert "stale text" not in fresh


def test_documents_name_no_path_of_a_single_machine() -> None:
    for document in ROOT.glob("*.md"):
        assert not re.search(r"/(home|root|Users)/", document.read_text(encoding="utf-8")), document.name
