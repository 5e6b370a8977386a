"""The command line for formulas and functions: what it prints, where, and its exit codes."""

from __future__ import annotations

import io
import json
import subprocess
import sys

import pytest

import dampcell
from dampcell.functions.errors import WorkbookError
from dampcell.functions.registry import REGISTRY
from dampcell.workbooks import cli
from dampcell.workbooks.cell_command import shown
from dampcell.workbooks.cli import COMMANDS, main

Captured = pytest.CaptureFixture[str]


def _run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    return int(left.value.code or 0)


def _typed(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))


# cell


def test_each_formula_gives_one_line(capsys: Captured, trial_function: str) -> None:
    code = _run("cell", "DAMP.TRIAL_CUBE(2)", "=damp_trial_cube(0.1)", "1=1", '"a b"', "{1,2;3,4.5}")
    assert capsys.readouterr().out.splitlines() == [
        "8",
        "0.0010000000000000002",
        "TRUE",
        "a b",
        "{1,2;3,4.5}",
    ]
    assert code == 0


def test_formulas_are_read_from_standard_input(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch, trial_function: str
) -> None:
    _typed(monkeypatch, "DAMP.TRIAL_CUBE(2)\n\n  =SUM(1,2)  \n")
    assert _run("cell") == 0
    assert capsys.readouterr().out.splitlines() == ["8", "3"]


def test_an_error_is_one_line_with_its_sentence_and_exit_code_1(
    capsys: Captured, trial_function: str
) -> None:
    assert _run("cell", "DAMP.TRIAL_CUBE(-1)", "DAMP.TRIAL_CUB(1)", "2") == 1
    assert capsys.readouterr().out.splitlines() == [
        "#VALUE! thickness: must not be negative (found -1).",
        '#NAME? there is no function DAMP.TRIAL_CUB: did you mean "TRIAL_CUBE"?',
        "2",
    ]


def test_notes_and_errors_within_tables_go_to_standard_error(capsys: Captured, trial_function: str) -> None:
    assert _run("cell", "DAMP.TRIAL_CUBE({6,-1})") == 1
    out, err = capsys.readouterr()
    assert out == "{216,#VALUE!}\n"
    assert err.splitlines() == [
        "#VALUE! thickness: must not be negative (found -1).",
        "note: thicker than 5 mm",
    ]


def test_json_gives_value_or_error_argument_and_notes(capsys: Captured, trial_function: str) -> None:
    assert _run("cell", "--json", "DAMP.TRIAL_CUBE(6)", "DAMP.TRIAL_CUBE(-1)", "DAMP.TRIAL_CUBE({1,-1})") == 1
    first, second, third = map(json.loads, capsys.readouterr().out.splitlines())
    assert first == {"formula": "DAMP.TRIAL_CUBE(6)", "value": 216.0, "notes": ["thicker than 5 mm"]}
    error = {
        "code": "#VALUE!",
        "sentence": "thickness: must not be negative (found -1).",
        "argument": "thickness",
    }
    assert second == {"formula": "DAMP.TRIAL_CUBE(-1)", "error": error, "notes": []}
    assert third["value"] == [[1.0, error]]


def test_no_formula_at_all_is_bad_usage(capsys: Captured, monkeypatch: pytest.MonkeyPatch) -> None:
    _typed(monkeypatch, "\n")
    assert _run("cell") == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "give a formula, or one a line on standard input" in err


def test_text_with_line_breaks_stays_on_one_line() -> None:
    assert shown("a\nb") == "a b"
    assert shown([["a\nb", 'say "x"', None, 1.5]]) == '{"a b","say ""x""","",1.5}'


# functions


def test_one_function_shows_arguments_source_and_the_value_of_its_example(
    capsys: Captured, trial_function: str
) -> None:
    assert _run("functions", "damp_trial_cube") == 0
    told = capsys.readouterr().out
    assert told.startswith("DAMP.TRIAL_CUBE(thickness, [load])")
    assert "  thickness: Any thickness [mm].\n" in told
    assert "  load: Factor [N].  (default 1)" in told
    assert "Source: None, for tests." in told
    assert "Example: =DAMP.TRIAL_CUBE(2)\ngives    8\n" in told


def test_all_functions_are_listed_by_family(capsys: Captured, trial_function: str) -> None:
    assert _run("functions") == 0
    told = capsys.readouterr().out
    for name in REGISTRY:
        assert f"DAMP.{name}" in told
    assert "Trial" in told


def test_functions_as_markdown_and_json_name_them_all(capsys: Captured, trial_function: str) -> None:
    assert _run("functions", "--markdown") == 0
    told = capsys.readouterr().out
    assert "### Trial\n\n| Function | Result | Gives |\n| --- | --- | --- |\n" in told
    assert "| `DAMP.TRIAL_CUBE(thickness, [load])` | deflection [mm] | Cube of a thickness |" in told
    assert _run("functions", "--json") == 0
    listed = json.loads(capsys.readouterr().out)
    assert [function["name"] for function in listed] == [f"DAMP.{name}" for name in REGISTRY]
    assert _run("functions", "--json", "TRIAL_CUBE") == 0
    assert json.loads(capsys.readouterr().out)["example"] == "=DAMP.TRIAL_CUBE(2)"


def test_an_unknown_function_is_bad_usage_with_the_nearest_name(
    capsys: Captured, trial_function: str
) -> None:
    assert _run("functions", "TRIAL_CUB") == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith('there is no function DAMP.TRIAL_CUB: did you mean "TRIAL_CUBE"?')


# as a whole


def test_the_version_is_shown(capsys: Captured) -> None:
    assert _run("--version") == 0
    assert capsys.readouterr().out == f"dampcell {dampcell.__version__}\n"


def test_help_names_every_command(capsys: Captured) -> None:
    assert _run("--help") == 0
    told = capsys.readouterr().out
    assert all(command in told for command in COMMANDS)


def test_an_unknown_command_is_bad_usage(capsys: Captured) -> None:
    assert _run("cel", "1") == 2
    assert "cel" in capsys.readouterr().err


def test_an_error_in_a_command_is_one_sentence_and_exit_code_1(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_: str | None = None) -> object:
        raise WorkbookError("is damaged", file="job.xlsx")

    monkeypatch.setattr(cli, "build_app", broken)
    assert _run("report") == 1
    assert capsys.readouterr().err == "job.xlsx: is damaged.\n"


def test_an_interrupt_ends_quietly_with_130(capsys: Captured, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(_: str | None = None) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "build_app", interrupted)
    assert _run("report") == 130
    assert capsys.readouterr().err == "interrupted.\n"


def test_a_formula_does_not_wait_for_the_libraries_of_reports() -> None:
    code = (
        "import sys; from dampcell.workbooks.cli import main\n"
        "try: main(['cell', '1+1'])\n"
        "except SystemExit: pass\n"
        "heavy = ('openpyxl', 'typst', 'rich', 'lxml', 'pandas')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["2", "[]"]
