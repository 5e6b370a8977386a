"""How each spreadsheet is connected: the texts of the page's last part.

Each host says its own steps here, in `GUIDES`; the page shows them in this order.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from dampcell.functions.hosts.http.settings import Settings

__all__ = ["GUIDES", "Guide", "guides"]


@dataclass(frozen=True, slots=True)
class Guide:
    """How one kind of spreadsheet is connected.

    Parameters
    ----------
    key : text
        Anchor on the page.
    title : text
        The spreadsheet.
    intro : text
        One sentence on what it takes.
    steps : tuple of text
        What to do, in order; ``{address}`` and ``{port}`` are filled in, and text between
        backquotes is shown as something to type.
    example : text
        A formula to try at the end.
    """

    key: str
    title: str
    intro: str
    steps: tuple[str, ...]
    example: str


GUIDES: tuple[Guide, ...] = (
    # LibreOffice: filled by the extension's part of the project (hosts/calc_addin).
    Guide(
        "calc",
        "LibreOffice Calc",
        "An extension hands the cells to this server; it needs nothing else installed.",
        (
            "In a terminal, run `dampcell connect calc`.",
            "Start LibreOffice again.",
            "Leave this server running (`dampcell serve`) while you work.",
        ),
        "=DAMP.PLATE_STIFFNESS(30; 12; 0.2; 26)",
    ),
    # Excel through Office.js: filled by the add-in's part of the project (hosts/office_addin).
    Guide(
        "excel",
        "Excel (Windows, macOS, web)",
        "An add-in hands the cells to this server; Excel insists on a secure connection, set up once.",
        (
            "In a terminal, run `dampcell connect excel` and follow the steps that it prints.",
            "Leave this server running (`dampcell serve`) while you work.",
        ),
        "=DAMP.PLATE_STIFFNESS(30, 12, 0.2, 26)",
    ),
    # Excel on Windows through xlwings: filled by its part of the project (hosts/excel_desktop).
    Guide(
        "excel-desktop",
        "Excel on Windows, without a server",
        "Here the workbook calls Python itself, and this server is not needed.",
        ("In a terminal, run `dampcell connect excel-desktop` and follow the steps that it prints.",),
        "=DAMP_PLATE_STIFFNESS(30, 12, 0.2, 26)",
    ),
    Guide(
        "http",
        "Other programs",
        "Any program on this machine may send calls, if it knows the token.",
        (
            "Read the token from the file that `dampcell serve` names at its start.",
            "Send a POST to {address}v1/calls as {address}openapi.json describes it.",
        ),
        "",
    ),
)
"""All guides, in the order of the page."""


def guides(settings: Settings) -> list[dict[str, object]]:
    """Fill the guides in for one server.

    Parameters
    ----------
    settings : Settings
        Address and port.

    Returns
    -------
    list of dict
        Ready for JSON.
    """
    filled = []
    for guide in GUIDES:
        told: dict[str, object] = asdict(guide)
        told["steps"] = [
            step.replace("{address}", settings.address).replace("{port}", str(settings.port))
            for step in guide.steps
        ]
        filled.append(told)
    return filled
