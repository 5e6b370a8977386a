"""Build the LibreOffice extension from the registry.

The extension holds a type library, the help texts of the Function Wizard, a
menu, the list of functions, and two modules that hand calls to the calculation
server. All but those modules is generated, so a new cell function needs no
further hand.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Final
from xml.etree import ElementTree

from dampcell import __version__
from dampcell.functions.calls import NAMESPACE, Argument, CellFunction
from dampcell.functions.hosts.calc_addin.type_library import ANY, CALLER, REST, type_library
from dampcell.functions.hosts.help_text import argument_help, function_help
from dampcell.functions.hosts.http.settings import PORT

__all__ = ["COMMANDS", "IDENTIFIER", "STATUS", "AddedFunction", "added_functions", "build_extension"]

IDENTIFIER: Final = "org.dampcell.calc"
"""Identifier of the extension, and name space of its interface."""

STATUS: Final = "STATUS"
"""Function that the extension answers itself: whether the server is reached, and if not, why."""

COMMANDS: Final = {
    "recalculate": "Ask the server anew and recalculate",
    "respell": "Respell the formulas that Excel saved",
    "status": "Is the server there?",
}
"""Commands of the menu, and their titles."""

_INTERFACE = f"{IDENTIFIER}.XFunctions"
_SERVICES = {NAMESPACE: "com.sun.star.sheet.AddIn", f"{IDENTIFIER}.Commands": "com.sun.star.task.Job"}
_SHIPPED = {
    "component.py": "component.py",
    "dampcell_calc_ahead.py": "pythonpath/dampcell_calc_ahead.py",
    "dampcell_calc_client.py": "pythonpath/dampcell_calc_client.py",
}
_REGISTRY = "http://openoffice.org/2001/registry"
_WHY = "WHY"
_FILES = frozenset({"file", "folder", "path"})
_XML_LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"
_MEDIA = "application/vnd.sun.star."
_LONGEST = 2000
# The oldest program that this was thought through for; see the README for the ones it was tried on.
_OLDEST_PROGRAM = "7.2"
_STAMP = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class AddedArgument:
    """One argument in the Function Wizard."""

    name: str
    help: str
    kind: str
    rest: bool = False


@dataclass(frozen=True, slots=True)
class AddedFunction:
    """One function in the Function Wizard."""

    name: str
    help: str
    arguments: tuple[AddedArgument, ...]


def added_functions(functions: Iterable[CellFunction]) -> list[AddedFunction]:
    """Say what the extension adds to Calc: the cell functions, and one for the connection.

    Parameters
    ----------
    functions : iterable of CellFunction
        Those of the registry.

    Returns
    -------
    list of AddedFunction
    """
    added = [
        AddedFunction(function.name, _function_help(function), tuple(map(_argument, function.arguments)))
        for function in functions
    ]
    status = "Whether the calculation server is reached, and of which version it is; if not, what to do"
    return [*added, AddedFunction(STATUS, f"{status}.", ())]


def build_extension(
    functions: Iterable[CellFunction], *, version: str = __version__, port: int = PORT
) -> bytes:
    """Build the extension.

    Parameters
    ----------
    functions : iterable of CellFunction
        The functions that Calc shall have.
    version : text
        Version of the extension; it must be that of the server.
    port : int
        Port of the server.

    Returns
    -------
    bytes
        A .oxt package; the same functions give the same bytes.
    """
    added = added_functions(functions)
    shipped = files("dampcell.functions.hosts.calc_addin.shipped")
    parts: dict[str, bytes] = {
        "META-INF/manifest.xml": _manifest(),
        "description.xml": _description(version),
        "description-en.txt": b"Shim stacks, damper oil, fills and bleeds as functions of Calc.\n",
        "types.rdb": type_library(_INTERFACE, {function.name: _signature(function) for function in added}),
        "dampcell.components": _components(),
        "CalcAddIns.xcu": _wizard(added),
        "Addons.xcu": _menu(),
        "functions.json": _list(added, version, port),
    }
    for source, target in _SHIPPED.items():
        parts[target] = shipped.joinpath(source).read_bytes()
    output = io.BytesIO()
    with zipfile.ZipFile(output, "w") as archive:
        for name, content in parts.items():
            entry = zipfile.ZipInfo(name, _STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return output.getvalue()


def _signature(function: AddedFunction) -> list[tuple[str, str]]:
    arguments = [(argument.name, REST if argument.rest else ANY) for argument in function.arguments]
    return [("calling_workbook", CALLER), *arguments]


def _function_help(function: CellFunction) -> str:
    told = function_help(function, _LONGEST)
    return f"{told} Enter it as an array formula over as many cells." if function.result_columns else told


def _argument(argument: Argument) -> AddedArgument:
    # Calc itself takes every argument for optional.
    need = "Required. " if argument.required else ""
    return AddedArgument(
        name=argument.name,
        help=need + argument_help(argument, _LONGEST),
        kind=argument.kind,
        rest=argument.variadic,
    )


def _is_pure(function: AddedFunction) -> bool:
    """Whether equal arguments always give the same: not where files are read, or another call explained."""
    return not any(argument.rest or argument.name in _FILES for argument in function.arguments)


def _list(added: Sequence[AddedFunction], version: str, port: int) -> bytes:
    told = {
        "version": version,
        "interface": _INTERFACE,
        "services": _SERVICES,
        "port": port,
        "status": STATUS,
        "why": _WHY,
        "functions": {
            function.name: {
                "arguments": [argument.kind for argument in function.arguments],
                "rest": any(argument.rest for argument in function.arguments),
                "remember": _is_pure(function),
            }
            for function in added
        },
    }
    return json.dumps(told, indent=1).encode() + b"\n"


def _manifest() -> bytes:
    space = "http://openoffice.org/2001/manifest"
    root = ElementTree.Element(f"{{{space}}}manifest")
    # The order counts: the component needs the types, the configuration names the component.
    for path, kind in (
        ("types.rdb", "uno-typelibrary;type=RDB"),
        ("dampcell.components", "uno-components"),
        ("CalcAddIns.xcu", "configuration-data"),
        ("Addons.xcu", "configuration-data"),
    ):
        attributes = {f"{{{space}}}full-path": path, f"{{{space}}}media-type": f"{_MEDIA}{kind}"}
        ElementTree.SubElement(root, f"{{{space}}}file-entry", attributes)
    return _written(root, {"manifest": space})


def _description(version: str) -> bytes:
    space, link = "http://openoffice.org/extensions/description/2006", "http://www.w3.org/1999/xlink"
    program = "http://libreoffice.org/extensions/description/2011"
    root = ElementTree.Element(f"{{{space}}}description")
    ElementTree.SubElement(root, f"{{{space}}}identifier", {"value": IDENTIFIER})
    ElementTree.SubElement(root, f"{{{space}}}version", {"value": version})
    title = ElementTree.SubElement(
        ElementTree.SubElement(root, f"{{{space}}}display-name"), f"{{{space}}}name"
    )
    title.set("lang", "en")
    title.text = "Dampcell"
    told = ElementTree.SubElement(root, f"{{{space}}}extension-description")
    ElementTree.SubElement(told, f"{{{space}}}src", {f"{{{link}}}href": "description-en.txt", "lang": "en"})
    needs = ElementTree.SubElement(root, f"{{{space}}}dependencies")
    ElementTree.SubElement(
        needs,
        f"{{{program}}}LibreOffice-minimal-version",
        {"value": _OLDEST_PROGRAM, f"{{{space}}}name": f"LibreOffice {_OLDEST_PROGRAM}"},
    )
    return _written(root, {"description": space, "xlink": link, "libreoffice": program})


def _components() -> bytes:
    space = "http://openoffice.org/2010/uno-components"
    root = ElementTree.Element(f"{{{space}}}components")
    component = ElementTree.SubElement(
        root,
        f"{{{space}}}component",
        {"loader": "com.sun.star.loader.Python", "uri": "component.py"},
    )
    for implementation, service in _SERVICES.items():
        entry = ElementTree.SubElement(component, f"{{{space}}}implementation", {"name": implementation})
        for name in (implementation, service):
            ElementTree.SubElement(entry, f"{{{space}}}service", {"name": name})
    return _written(root, {"components": space})


def _wizard(added: Sequence[AddedFunction]) -> bytes:
    root = _configuration("CalcAddIns", "org.openoffice.Office")
    functions = _node(_node(_node(root, "AddInInfo"), NAMESPACE, new=True), "AddInFunctions")
    for function in added:
        entry = _node(functions, function.name, new=True)
        _property(entry, "DisplayName", f"{NAMESPACE}.{function.name}", localized=True)
        _property(entry, "Description", function.help, localized=True)
        _property(entry, "Category", "Add-In")
        # So Excel writes it into a file; newer programs read and save this spelling.
        _property(entry, "CompatibilityName", f"_xldudf_{NAMESPACE}_{function.name}", localized=True)
        parameters = _node(entry, "Parameters")
        for argument in function.arguments:
            described = _node(parameters, argument.name, new=True)
            _property(described, "DisplayName", argument.name, localized=True)
            _property(described, "Description", argument.help, localized=True)
    return _written(root, {"oor": _REGISTRY})


def _menu() -> bytes:
    root = _configuration("Addons", "org.openoffice.Office")
    bar = _node(_node(_node(root, "AddonUI"), "OfficeMenuBar"), IDENTIFIER, new=True)
    context = "com.sun.star.sheet.SpreadsheetDocument"
    _property(bar, "Context", context)
    _property(bar, "Title", "Dampcell", localized=True)
    menu = _node(bar, "Submenu")
    for number, (command, title) in enumerate(COMMANDS.items(), start=1):
        entry = _node(menu, f"m{number}", new=True)
        _property(entry, "URL", f"service:{IDENTIFIER}.Commands?{command}")
        _property(entry, "Title", title, localized=True)
        _property(entry, "Target", "_self")
        _property(entry, "Context", context)
    return _written(root, {"oor": _REGISTRY})


def _configuration(name: str, package: str) -> ElementTree.Element:
    attributes = {f"{{{_REGISTRY}}}name": name, f"{{{_REGISTRY}}}package": package}
    return ElementTree.Element(f"{{{_REGISTRY}}}component-data", attributes)


def _node(parent: ElementTree.Element, name: str, *, new: bool = False) -> ElementTree.Element:
    attributes = {f"{{{_REGISTRY}}}name": name}
    if new:
        attributes[f"{{{_REGISTRY}}}op"] = "replace"
    return ElementTree.SubElement(parent, "node", attributes)


def _property(parent: ElementTree.Element, name: str, text: str, *, localized: bool = False) -> None:
    entry = ElementTree.SubElement(parent, "prop", {f"{{{_REGISTRY}}}name": name})
    value = ElementTree.SubElement(entry, "value", {_XML_LANGUAGE: "en-US"} if localized else {})
    value.text = text


def _written(root: ElementTree.Element, spaces: Mapping[str, str]) -> bytes:
    for prefix, space in spaces.items():
        ElementTree.register_namespace(prefix, space)
    ElementTree.indent(root)
    output = io.BytesIO()
    ElementTree.ElementTree(root).write(output, "UTF-8", xml_declaration=True)
    return output.getvalue()
