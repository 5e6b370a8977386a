"""The commands that connect Excel: what they write and print, and what serve makes of it."""

from __future__ import annotations

import ast
import datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dampcell.functions.errors import InputError, WorkbookError
from dampcell.functions.hosts.http.addin_files import read_addin_files
from dampcell.functions.hosts.http.listening import loopback_sockets
from dampcell.functions.registry import REGISTRY
from dampcell.workbooks.cli import build_app
from dampcell.workbooks.connect_excel import write_addin
from dampcell.workbooks.serve_command import serve

NOW = datetime.datetime.now(datetime.UTC)


def run(*words: str) -> str:
    """Run a command and give what it prints."""
    result = CliRunner().invoke(build_app("connect"), ["connect", *words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a config folder of its own."""
    monkeypatch.setattr("platformdirs.user_config_path", lambda *_a, **_k: tmp_path / "config")
    return tmp_path / "config"


def test_connect_excel_writes_into_the_config_folder_and_says_every_step(home: Path) -> None:
    told = run("excel")
    folder = home / "excel"
    for part in (
        "certutil -user -addstore Root",
        "security add-trusted-cert",
        "Upload My Add-in",
        "dampcell serve\n",
    ):
        assert part in told
    assert str(folder / "catalog" / "manifest.xml") in told
    assert REGISTRY["PLATE_STIFFNESS"].example in told
    assert (folder / "STEPS.txt").read_text(encoding="utf-8") == told


def test_connect_excel_elsewhere_names_the_options_of_serve(home: Path, tmp_path: Path) -> None:
    told = run("excel", str(tmp_path / "here"), "--secure-port", "4711")
    assert f'dampcell serve --excel "{tmp_path / "here"}" --secure-port 4711\n' in told
    assert "https://localhost:4711/excel" in (tmp_path / "here/catalog/manifest.xml").read_text("utf-8")
    assert not (home / "excel").exists()


def test_connecting_again_keeps_the_authority_and_renews_the_certificate(home: Path) -> None:
    run("excel")
    names = ("dampcell-ca.crt", "private/ca.key", "private/server.crt", "private/server.key")
    before = [(home / "excel" / name).read_bytes() for name in names]
    run("excel")
    after = [(home / "excel" / name).read_bytes() for name in names]
    assert before[:2] == after[:2]
    assert before[2] != after[2]
    assert before[3] != after[3]


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(
        WorkbookError, match=r"cannot be written .*; allowed: a folder that may be written to"
    ):
        write_addin(tmp_path / "file", NOW)


def test_connect_excel_desktop_writes_a_module_with_every_function(home: Path) -> None:
    told = run("excel-desktop")
    module = home / "excel-desktop" / "dampcell_functions.py"
    defined = [
        node.name for node in ast.parse(module.read_text("utf-8")).body if isinstance(node, ast.FunctionDef)
    ]
    assert defined == [f"DAMP_{name}" for name in REGISTRY]
    for part in (
        "xlwings addin install",
        "Import Functions",
        str(module.parent),
        "=DAMP_PLATE_STIFFNESS(30, 12,",
    ):
        assert part in told


def test_connect_excel_desktop_names_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(WorkbookError, match=r"cannot be written"):
        run("excel-desktop", str(tmp_path / "file"))


def test_serve_names_an_addin_folder_that_is_not_there(home: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"is not a folder; allowed: --excel with a folder that is there"):
        serve(port=0, excel=tmp_path / "missing")


@pytest.mark.parametrize("damage", ["server.crt", "server.key"])
def test_serve_names_a_folder_without_a_good_certificate(home: Path, tmp_path: Path, damage: str) -> None:
    write_addin(tmp_path, NOW)
    (tmp_path / "private" / damage).write_text("x")
    with pytest.raises(
        InputError, match=r"holds no certificate and key .*run .dampcell connect excel. again"
    ):
        serve(port=0, excel=tmp_path, secure_port=0)


def test_serve_names_a_file_of_the_addin_that_is_missing(home: Path, tmp_path: Path) -> None:
    write_addin(tmp_path, NOW)
    (tmp_path / "served" / "pane.js").unlink()
    with pytest.raises(InputError, match=r"pane\.js: cannot be read .*dampcell connect excel"):
        serve(port=0, excel=tmp_path, secure_port=0)


@pytest.mark.parametrize(("age", "sentence"), [(380, "ends in 16 days"), (400, "has ended"), (0, "")])
def test_serve_warns_of_a_certificate_that_ends(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], age: int, sentence: str
) -> None:
    write_addin(tmp_path, NOW - datetime.timedelta(days=age))
    (tmp_path / "served" / "pane.js").unlink()
    with pytest.raises(InputError, match=r"pane\.js"):
        serve(port=0, excel=tmp_path, secure_port=0)
    told = capsys.readouterr().err
    assert sentence in told
    assert bool(told) == bool(sentence)


def test_serve_names_the_option_for_the_secure_port_that_is_taken(home: Path, tmp_path: Path) -> None:
    write_addin(tmp_path, NOW)
    taken = loopback_sockets(0)
    for opened in taken:
        opened.listen()
    try:
        number = taken[0].getsockname()[1]
        with pytest.raises(
            InputError, match=rf"port {number}: is taken.*allowed: --secure-port with another"
        ):
            serve(port=0, excel=tmp_path, secure_port=number)
    finally:
        for opened in taken:
            opened.close()


def test_without_an_addin_nothing_of_it_is_served() -> None:
    assert list(read_addin_files(None)) == []
