"""The parts of the extension package, read back by other means than those that wrote them."""

from __future__ import annotations

import io
import json
import shutil
import struct
import sys
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from dampcell.functions.errors import InputError
from dampcell.functions.hosts.calc_addin.extension import STATUS, build_extension
from dampcell.functions.hosts.calc_addin.installing import find_package_tool, install
from dampcell.functions.hosts.calc_addin.type_library import type_library
from dampcell.functions.registry import REGISTRY
from dampcell.workbooks.cli import build_app, main

NAME = "{http://openoffice.org/2001/registry}name"


def _parts(extension: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(extension)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


class Reader:
    """Reads the binary type library by its specification (LibreOffice source, unoidl/README.md)."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 8

    def number(self) -> int:
        self.at += 4
        return int(struct.unpack_from("<I", self.data, self.at - 4)[0])

    def byte(self) -> int:
        self.at += 1
        return self.data[self.at - 1]

    def text(self) -> str:
        size = self.number()
        self.at += size
        return self.data[self.at - size : self.at].decode("ascii")

    def entry(self, place: int) -> tuple[str, int]:
        name, payload = struct.unpack_from("<II", self.data, place)
        return self.data[name : self.data.index(b"\0", name)].decode("ascii"), payload

    def interface(self) -> tuple[str, dict[str, list[tuple[str, str]]]]:
        place, count = self.number(), self.number()
        path: list[str] = []
        while True:
            assert count == 1
            name, payload = self.entry(place)
            path.append(name)
            self.at = payload
            kind = self.byte()
            if kind == 5:
                break
            assert kind == 0
            count = self.number()
            place = self.at
        assert [self.text() for _ in range(self.number())] == ["com.sun.star.uno.XInterface"]
        assert [self.number(), self.number()] == [0, 0]
        methods = {}
        for _ in range(self.number()):
            method, kind_of_result = self.text(), self.text()
            assert kind_of_result == "[][]any"
            methods[method] = [self.argument() for _ in range(self.number())]
            assert self.number() == 0
        return ".".join(path), methods

    def argument(self) -> tuple[str, str]:
        assert self.byte() == 0
        return self.text(), self.text()


def test_the_type_library_reads_back() -> None:
    methods = {"A": [], "LONG_ONE": [("x", "any"), ("rest", "[]any")]}
    assert Reader(type_library("org.some.XThing", methods)).interface() == ("org.some.XThing", methods)


def test_every_function_is_in_every_part_of_the_package() -> None:
    parts = _parts(build_extension(REGISTRY.values(), version="1.2.3", port=4321))
    names = [*REGISTRY, STATUS]
    interface, methods = Reader(parts["types.rdb"]).interface()
    listed = json.loads(parts["functions.json"])
    assert (listed["interface"], listed["version"], listed["port"]) == (interface, "1.2.3", 4321)
    assert list(listed["functions"]) == list(methods) == names
    root = ElementTree.fromstring(parts["CalcAddIns.xcu"])
    functions = root.findall("./node/node/node/node")
    assert [function.get(NAME) for function in functions] == names
    for function in functions:
        told = {entry.get(NAME): entry.findtext("value") for entry in function.findall("prop")}
        assert told["DisplayName"] == f"DAMP.{function.get(NAME)}"
        assert told["CompatibilityName"] == f"_xldudf_DAMP_{function.get(NAME)}"
        arguments = [entry.get(NAME) for entry in function.findall("./node/node")]
        declared = methods[function.get(NAME) or ""]
        # Nobody fills in the first one: it is the workbook that calls.
        assert declared[0] == ("calling_workbook", "com.sun.star.beans.XPropertySet")
        assert arguments == [name for name, _ in declared[1:]]
    assert listed["functions"]["WHY"]["rest"]
    assert methods["WHY"][-1] == ("arguments", "[]any")


def test_the_manifest_names_types_before_the_component_and_both_before_the_help() -> None:
    parts = _parts(build_extension(REGISTRY.values()))
    root = ElementTree.fromstring(parts["META-INF/manifest.xml"])
    paths = [entry.get("{http://openoffice.org/2001/manifest}full-path") for entry in root]
    assert paths == ["types.rdb", "dampcell.components", "CalcAddIns.xcu", "Addons.xcu"]
    assert set(paths) < set(parts)


def test_what_may_change_by_itself_is_not_remembered() -> None:
    listed = json.loads(_parts(build_extension(REGISTRY.values()))["functions.json"])["functions"]
    assert not listed["WHY"]["remember"]
    assert listed["PLATE_STIFFNESS"]["remember"]


def test_the_same_functions_give_the_same_bytes() -> None:
    assert build_extension(REGISTRY.values()) == build_extension(REGISTRY.values())


def test_connect_calc_writes_the_extension(tmp_path: Path) -> None:
    target = tmp_path / "d.oxt"
    done = CliRunner().invoke(
        build_app("connect"), ["connect", "calc", "--output", str(target), "--port", "4321"]
    )
    assert done.exit_code == 0
    assert done.stdout == f"{target}\n"
    assert target.read_bytes() == build_extension(REGISTRY.values(), port=4321)
    assert "dampcell serve --port 4321" in done.stderr


def test_connect_calc_says_where_it_cannot_write(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["connect", "calc", "--output", str(tmp_path / "no" / "d.oxt")])
    assert left.value.code == 1
    assert "d.oxt: cannot be written (No such file or directory); allowed: a file in a folder of yours." in (
        capsys.readouterr().err
    )


def test_without_libreoffice_the_way_by_hand_is_named() -> None:
    with pytest.raises(InputError, match=r"LibreOffice was not found .*connect calc --output dampcell\.oxt"):
        install(b"", None)


def _tool(folder: Path, lines: str) -> str:
    tool = folder / "unopkg"
    tool.write_text(f"#!{sys.executable}\nimport sys\n{lines}\n")
    tool.chmod(0o755)
    return str(tool)


def test_what_libreoffice_says_is_handed_on(tmp_path: Path) -> None:
    tool = _tool(tmp_path, 'sys.exit("ERROR: somebody\\n has it open")')
    with pytest.raises(
        InputError, match=r'found "ERROR: somebody has it open".*closing all windows of LibreOffice'
    ):
        install(b"", tool)


def test_a_tool_that_cannot_be_started_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"did not take the extension \(FileNotFoundError\)"):
        install(b"", str(tmp_path / "gone"))


def test_the_extension_is_handed_over_whole(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    tool = _tool(tmp_path, f"open({str(kept)!r}, 'wb').write(open(sys.argv[-1], 'rb').read())")
    install(b"the package", tool)
    assert kept.read_bytes() == b"the package"


@pytest.mark.parametrize(
    ("platform", "place"),
    [
        ("win32", "LibreOffice/program/unopkg.com"),
        ("darwin", "Applications/LibreOffice.app/Contents/MacOS/unopkg"),
        ("linux", "usr/lib/libreoffice/program/unopkg"),
    ],
)
def test_the_tool_is_found_where_each_system_keeps_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, platform: str, place: str
) -> None:
    monkeypatch.setattr(shutil, "which", lambda _name: None)
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setenv("ProgramFiles", str(tmp_path))
    monkeypatch.setattr(Path, "is_file", lambda path: str(path).endswith(place))
    found = find_package_tool()
    assert found is not None
    assert found.endswith(place)
