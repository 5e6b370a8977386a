"""What the add-in tells Excel: metadata against Microsoft's own tools, manifest, pane, icons."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from tests.hosts.excel_in_node import node

from dampcell.functions.calls import CellFunction
from dampcell.functions.errors import InputError
from dampcell.functions.hosts.http.addin_files import ADDIN_FILES, ICON_SIZES
from dampcell.functions.hosts.office_addin import metadata as told
from dampcell.functions.hosts.office_addin.build import build_addin
from dampcell.functions.hosts.office_addin.certificates import Identity
from dampcell.functions.hosts.office_addin.manifest import manifest
from dampcell.functions.hosts.office_addin.metadata import metadata
from dampcell.functions.registry import REGISTRY

APP = "{http://schemas.microsoft.com/office/appforoffice/1.1}"
BASIC = "{http://schemas.microsoft.com/office/officeappbasictypes/1.0}"
OVERRIDES = "{http://schemas.microsoft.com/office/taskpaneappversionoverrides}"
TYPE = "{http://www.w3.org/2001/XMLSchema-instance}type"


@pytest.fixture(scope="module")
def described(addin: Path) -> Any:
    """Let Microsoft's tools look at functions.json."""
    return node("describe.mjs", str(addin / "served" / "functions.json"))


@pytest.mark.real_program
def test_the_tools_find_no_error_in_the_metadata(described: Any) -> None:
    assert described["errors"] == []


@pytest.mark.real_program
def test_the_tools_generate_the_same_metadata_from_the_same_functions(described: Any, addin: Path) -> None:
    written = json.loads((addin / "served" / "functions.json").read_text(encoding="utf-8"))["functions"]
    # The tool writes a repeated parameter's optional as well: it is so by definition.
    for function in described["functions"]:
        for parameter in function["parameters"]:
            if parameter.get("repeating"):
                parameter.pop("optional", None)
    assert described["functions"] == written


@pytest.mark.real_program
def test_the_limits_are_those_of_the_schema(described: Any) -> None:
    limits = described["limits"]
    assert (limits["id"]["minLength"], limits["id"]["maxLength"]) == (3, 64)
    assert limits["description"] >= told.FUNCTION_HELP
    assert limits["help"] >= told.ARGUMENT_HELP
    assert limits["parameters"] >= told.MOST_ARGUMENTS


@pytest.mark.real_program
@pytest.mark.parametrize("change", [{"id": "AB"}, {"name": "1AB"}, {"description": "x" * 1025}])
def test_the_tools_would_find_an_error(addin: Path, tmp_path: Path, change: dict[str, str]) -> None:
    content = json.loads((addin / "served" / "functions.json").read_text(encoding="utf-8"))
    content["functions"][0].update(change)
    broken = tmp_path / "functions.json"
    broken.write_text(json.dumps(content), encoding="utf-8")
    assert node("describe.mjs", str(broken))["errors"]


def test_every_argument_and_result_is_a_matrix_so_that_mapping_is_ours() -> None:
    listed = metadata(REGISTRY.values())["functions"]
    assert isinstance(listed, list)
    assert [function["id"] for function in listed] == list(REGISTRY)
    for function, declared in zip(listed, REGISTRY.values(), strict=True):
        assert function["name"] == function["id"]
        assert function["result"]["dimensionality"] == "matrix"
        for parameter, argument in zip(function["parameters"], declared.arguments, strict=True):
            assert parameter["name"] == argument.name
            assert parameter["dimensionality"] == "matrix"
            assert parameter["type"] == "any"
            assert parameter.get("optional", False) == (not argument.required and not argument.variadic)
            assert parameter.get("repeating", False) == argument.variadic
            assert 0 < len(parameter["description"]) <= told.ARGUMENT_HELP
        assert 0 < len(function["description"]) <= told.FUNCTION_HELP


def test_help_names_units_choices_and_defaults() -> None:
    listed = metadata([REGISTRY["STACK_LIFT"]])["functions"]
    assert isinstance(listed, list)
    texts = {parameter["name"]: parameter["description"] for parameter in listed[0]["parameters"]}
    assert "One of: large, small." in texts["theory"]
    assert "[GPa]" in texts["modulus"]
    assert "Default 206." in texts["modulus"]
    assert "Gives lift [mm]." in listed[0]["description"]


def _function(name: str, arguments: int) -> CellFunction:
    model = REGISTRY["OIL_INDEX"]
    return CellFunction(
        name=name,
        family=model.family,
        summary=model.summary,
        description="",
        arguments=model.arguments[:1] * arguments,
        result=model.result,
        result_unit="",
        result_columns=(),
        source="",
        example_call=(),
        body=model.body,
    )


@pytest.mark.parametrize("name", ["AB", "A" * 65, "1AB", "oil", "OIL-A"])
def test_a_name_that_excel_cannot_have_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="cannot be the name of a function in Excel"):
        metadata([_function(name, 1)])


def test_too_many_arguments_are_refused() -> None:
    with pytest.raises(InputError, match=r"OIL_X: has too many arguments for Excel; allowed: up to 128\."):
        metadata([_function("OIL_X", 129)])


# The manifest


def _manifest(port: int = 27431) -> ElementTree.Element:
    return ElementTree.fromstring(manifest("0.1.0", port))


def test_the_manifest_has_its_parts_in_the_order_that_office_wants() -> None:
    root = _manifest()
    assert root.tag == f"{APP}OfficeApp"
    assert root.get(TYPE) == "TaskPaneApp"
    assert [child.tag for child in root] == [
        *(
            f"{APP}{name}"
            for name in (
                *("Id", "Version", "ProviderName", "DefaultLocale", "DisplayName", "Description", "IconUrl"),
                *("HighResolutionIconUrl", "SupportUrl", "AppDomains", "Hosts", "Requirements"),
                *("DefaultSettings", "Permissions"),
            )
        ),
        f"{OVERRIDES}VersionOverrides",
    ]
    host = root.find(f"{OVERRIDES}VersionOverrides/{OVERRIDES}Hosts/{OVERRIDES}Host")
    assert host is not None
    assert [child.tag.removeprefix(OVERRIDES) for child in host] == [
        "Runtimes",
        "AllFormFactors",
        "DesktopFormFactor",
    ]


def test_the_functions_run_in_the_runtime_of_the_pane_which_lives_long() -> None:
    root = _manifest()
    runtime = root.find(f".//{OVERRIDES}Runtime")
    page = root.find(f".//{OVERRIDES}Page/{OVERRIDES}SourceLocation")
    action = root.find(f".//{OVERRIDES}Action/{OVERRIDES}SourceLocation")
    assert runtime is not None
    assert page is not None
    assert action is not None
    assert runtime.get("lifetime") == "long"
    assert {runtime.get("resid"), page.get("resid"), action.get("resid")} == {"Taskpane.Url"}
    needed = root.find(f".//{APP}Set")
    assert needed is not None
    assert needed.get("Name") == "SharedRuntime"


def test_every_resource_that_the_manifest_names_is_there_and_none_is_idle() -> None:
    root = _manifest()
    resources = root.find(f".//{OVERRIDES}Resources")
    assert resources is not None
    there = {str(entry.get("id")) for group in resources for entry in group}
    named = {str(element.get("resid")) for element in root.iter() if element.get("resid")}
    assert named <= there
    assert there - named <= {"Icon.64", "Icon.128"}
    # Limits of Office: identifiers 32, short texts 125, long ones 250 characters.
    assert all(len(identifier) <= 32 for identifier in there)
    for kind, most in (("ShortStrings", 125), ("LongStrings", 250)):
        for text in resources.iterfind(f"{BASIC}{kind}/{BASIC}String"):
            assert 0 < len(str(text.get("DefaultValue"))) <= most


def test_every_address_in_the_manifest_is_served_over_https_on_this_machine() -> None:
    addresses = [
        value
        for element in _manifest(4711).iter()
        for value in (*element.attrib.values(), element.text or "")
        if value.startswith("http") and "schemas" not in value
    ]
    assert len(addresses) > 8
    for each in addresses:
        assert each.startswith("https://localhost:4711")
        path = each.removeprefix("https://localhost:4711")
        assert not path or path in ADDIN_FILES


def test_the_version_is_raised_to_what_office_accepts() -> None:
    versions = [
        ElementTree.fromstring(manifest(version, 1)).findtext(f"{APP}Version")
        for version in ("0.1.0", "2.13.4")
    ]
    assert versions == ["1.1.0.0", "3.13.4.0"]


def test_the_same_registry_gives_the_same_bytes() -> None:
    identity = Identity(b"certificate", b"key")
    first = build_addin(REGISTRY.values(), identity, identity)
    assert first == build_addin(REGISTRY.values(), identity, identity)
    assert b"key" not in b"".join(content for path, content in first.files.items() if "private" in str(path))


# What is served


def test_the_icons_have_the_sizes_that_office_asks_for(addin: Path) -> None:
    for size in ICON_SIZES:
        content = (addin / "served" / f"icon-{size}.png").read_bytes()
        assert content[:8] == b"\x89PNG\r\n\x1a\n"
        assert struct.unpack(">II", content[16:24]) == (size, size)


def test_the_pane_is_the_page_with_the_scripts_of_the_addin(addin: Path) -> None:
    pane = (addin / "served" / "taskpane.html").read_text(encoding="utf-8")
    for part in (
        'src="app.js"',
        "office.js",
        'src="excel/functions.js"',
        'src="excel/pane.js"',
        'id="unlock"',
    ):
        assert pane.count(part) == 1
    assert pane.index("office.js") < pane.index("excel/functions.js")


def test_the_served_files_are_all_that_is_written_for_serving(addin: Path) -> None:
    written = {path.name for path in (addin / "served").iterdir()}
    assert written == {file.name for file in ADDIN_FILES.values()}
    assert not any("{{" in path.read_text("utf-8") for path in (addin / "served").glob("*.js"))
