"""The manifest: the XML file by which Excel knows where the add-in's page, script and icons are."""

from __future__ import annotations

import io
import uuid
from typing import Final
from xml.etree import ElementTree

from dampcell.functions.calls import NAMESPACE
from dampcell.functions.hosts.http.addin_files import ICON_SIZES, PANE

__all__ = ["IDENTIFIER", "address", "manifest"]

# Excel knows the add-in by this for ever: the same text gives the same identifier.
IDENTIFIER: Final = str(uuid.uuid5(uuid.NAMESPACE_URL, "urn:dampcell:excel-add-in"))

_APP = "http://schemas.microsoft.com/office/appforoffice/1.1"
_BASIC = "http://schemas.microsoft.com/office/officeappbasictypes/1.0"
_OVERRIDES = "http://schemas.microsoft.com/office/taskpaneappversionoverrides"
_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"
_TYPE = "xsi:type"

_NAME = "Dampcell"
_TELLS = "Shim stacks, damper oil, fills and bleeds as functions of Excel, calculated on this machine."
# The ids of the texts that the ribbon shows, and the texts; Office allows 125 and 250 characters.
_SHORT = {
    "Functions.Namespace": NAMESPACE,
    "Group.Label": _NAME,
    "Pane.Label": _NAME,
    "Start.Title": "Dampcell is ready.",
}
_LONG = {
    "Pane.Tip": "Try each function, see its units and source, and connect Excel with the calculation server.",
    "Start.Text": "Open the pane (button Dampcell on the tab Home), and paste the link of the server once.",
}
_BUTTON_ICONS = (16, 32, 80)


def address(port: int, path: str = "") -> str:
    """Give an address on the secure server; Office wants a name there, not a number."""
    return f"https://localhost:{port}{path}"


def manifest(version: str, port: int) -> bytes:
    """Write the add-in-only manifest, with one runtime for pane and functions.

    Parameters
    ----------
    version : text
        Version of Dampcell, such as 0.1.0.
    port : int
        Port of the server for https.

    Returns
    -------
    bytes
        UTF-8 XML; the same input gives the same bytes.
    """
    # Names of types are read in the space without a prefix, so each part of the file has its own there;
    # the library gives prefixes to all but one, hence the spaces stand as attributes.
    root = ElementTree.Element("OfficeApp", {"xmlns": _APP, "xmlns:bt": _BASIC, "xmlns:xsi": _INSTANCE})
    root.set(_TYPE, "TaskPaneApp")
    pane = address(port, PANE)
    _sub(root, "Id").text = IDENTIFIER
    _sub(root, "Version").text = _four_parts(version)
    _sub(root, "ProviderName").text = _NAME
    _sub(root, "DefaultLocale").text = "en-US"
    for name, value in (
        ("DisplayName", _NAME),
        ("Description", _TELLS),
        ("IconUrl", address(port, f"{PANE}/icon-32.png")),
        ("HighResolutionIconUrl", address(port, f"{PANE}/icon-64.png")),
        ("SupportUrl", pane),
    ):
        _sub(root, name).set("DefaultValue", value)
    _sub(_sub(root, "AppDomains"), "AppDomain").text = address(port)
    _sub(_sub(root, "Hosts"), "Host").set("Name", "Workbook")
    sets = _sub(_sub(root, "Requirements"), "Sets")
    sets.set("DefaultMinVersion", "1.1")
    needed = _sub(sets, "Set")
    needed.set("Name", "SharedRuntime")
    needed.set("MinVersion", "1.1")
    _sub(_sub(root, "DefaultSettings"), "SourceLocation").set("DefaultValue", pane)
    _sub(root, "Permissions").text = "ReadWriteDocument"
    _overrides(root, port)
    ElementTree.indent(root)
    output = io.BytesIO()
    ElementTree.ElementTree(root).write(output, "UTF-8", xml_declaration=True)
    return output.getvalue()


def _overrides(root: ElementTree.Element, port: int) -> None:
    overrides = _sub(root, "VersionOverrides")
    overrides.set("xmlns", _OVERRIDES)
    overrides.set(_TYPE, "VersionOverridesV1_0")
    host = _sub(_sub(overrides, "Hosts"), "Host")
    host.set(_TYPE, "Workbook")
    runtime = _sub(_sub(host, "Runtimes"), "Runtime", "Taskpane.Url")
    runtime.set("lifetime", "long")
    functions = _sub(_sub(host, "AllFormFactors"), "ExtensionPoint")
    functions.set(_TYPE, "CustomFunctions")
    _sub(_sub(functions, "Script"), "SourceLocation", "Functions.Script.Url")
    _sub(_sub(functions, "Page"), "SourceLocation", "Taskpane.Url")
    _sub(_sub(functions, "Metadata"), "SourceLocation", "Functions.Metadata.Url")
    _sub(functions, "Namespace", "Functions.Namespace")
    desktop = _sub(host, "DesktopFormFactor")
    start = _sub(desktop, "GetStarted")
    _sub(start, "Title", "Start.Title")
    _sub(start, "Description", "Start.Text")
    _sub(start, "LearnMoreUrl", "Taskpane.Url")
    _ribbon(_sub(desktop, "ExtensionPoint"))
    _resources(_sub(overrides, "Resources"), port)


def _ribbon(point: ElementTree.Element) -> None:
    point.set(_TYPE, "PrimaryCommandSurface")
    tab = _sub(point, "OfficeTab")
    tab.set("id", "TabHome")
    group = _sub(tab, "Group")
    group.set("id", "Dampcell.Group")
    _sub(group, "Label", "Group.Label")
    _icon(group)
    button = _sub(group, "Control")
    button.set(_TYPE, "Button")
    button.set("id", "Dampcell.Pane")
    _sub(button, "Label", "Pane.Label")
    tip = _sub(button, "Supertip")
    _sub(tip, "Title", "Pane.Label")
    _sub(tip, "Description", "Pane.Tip")
    _icon(button)
    action = _sub(button, "Action")
    action.set(_TYPE, "ShowTaskpane")
    _sub(action, "TaskpaneId").text = "Dampcell.Pane"
    _sub(action, "SourceLocation", "Taskpane.Url")


def _icon(parent: ElementTree.Element) -> None:
    icon = _sub(parent, "Icon")
    for size in _BUTTON_ICONS:
        ElementTree.SubElement(icon, "bt:Image", {"size": str(size), "resid": f"Icon.{size}"})


def _resources(resources: ElementTree.Element, port: int) -> None:
    listed = {
        "Images": (
            "Image",
            {f"Icon.{size}": address(port, f"{PANE}/icon-{size}.png") for size in ICON_SIZES},
        ),
        "Urls": (
            "Url",
            {
                "Taskpane.Url": address(port, PANE),
                "Functions.Script.Url": address(port, f"{PANE}/functions.js"),
                "Functions.Metadata.Url": address(port, f"{PANE}/functions.json"),
            },
        ),
        "ShortStrings": ("String", _SHORT),
        "LongStrings": ("String", _LONG),
    }
    for group, (kind, values) in listed.items():
        parent = ElementTree.SubElement(resources, f"bt:{group}")
        for identifier, value in values.items():
            ElementTree.SubElement(parent, f"bt:{kind}", {"id": identifier, "DefaultValue": value})


def _sub(parent: ElementTree.Element, name: str, resource: str | None = None) -> ElementTree.Element:
    return ElementTree.SubElement(parent, name, {} if resource is None else {"resid": resource})


def _four_parts(version: str) -> str:
    # Office wants four numbers, and 1.0 at least.
    major, minor, patch = (int(part) for part in version.split(".")[:3])
    return f"{major + 1}.{minor}.{patch}.0"
