"""Fixtures that several test modules share."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator, Mapping

import pytest

from dampcell.functions.errors import InputError
from dampcell.functions.registry import REGISTRY, Noted, cell_function
from dampcell.workbooks import memory

NAMESPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"


@pytest.fixture
def trial_function() -> Iterator[str]:
    """Register DAMP.TRIAL_CUBE for one test: the cube of a thickness, noted above 5 mm, refused below 0."""

    def trial_cube(thickness: float, load: float = 1.0) -> object:
        """Cube of a thickness.

        Parameters
        ----------
        thickness : float
            Any thickness [mm].
        load : float
            Factor [N].

        References
        ----------
        None, for tests.

        Examples
        --------
        >>> trial_cube(2)
        8.0
        """
        if thickness < 0:
            raise InputError("must not be negative", parameter="thickness", found=thickness)
        cube = thickness**3 * load
        return Noted(cube, ("thicker than 5 mm",)) if thickness > 5 else cube

    cell_function(family="Trial", result="deflection")(trial_cube)
    yield "DAMP.TRIAL_CUBE"
    del REGISTRY["TRIAL_CUBE"]
    memory.forget()


@pytest.fixture
def trial_table() -> Iterator[str]:
    """Register DAMP.TRIAL_TABLE for one test: it spills as many rows as it is told, of number and square."""

    def trial_table(quantity: float) -> object:
        """Numbers and their squares.

        Parameters
        ----------
        quantity : float
            Number of rows [-].
        """
        return [[float(i), float(i * i)] for i in range(1, int(quantity) + 1)]

    cell_function(family="Trial", result="table", columns=(("number", "-"), ("square", "-")))(trial_table)
    yield "DAMP.TRIAL_TABLE"
    del REGISTRY["TRIAL_TABLE"]
    memory.forget()


Package = Callable[..., bytes]


@pytest.fixture
def package_of() -> Package:
    """Give a maker of minimal workbook packages from the XML of their sheets."""
    return make_package


def make_package(
    *sheets: str,
    workbook: str = "",
    properties: str = "",
    parts: Mapping[str, str | bytes] | None = None,
    raw: bytes | None = None,
) -> bytes:
    """Build a package; each sheet is the inside of its sheetData, named S1, S2 and so on."""
    listed = "".join(f'<sheet name="S{i}" sheetId="{i}" r:id="rId{i}"/>' for i in range(1, len(sheets) + 1))
    targets = "".join(
        f'<Relationship Id="rId{i}" Type="{OFFICE}/worksheet" Target="worksheets/sheet{i}.xml"/>'
        for i in range(1, len(sheets) + 1)
    )
    targets += f'<Relationship Id="strings" Type="{OFFICE}/sharedStrings" Target="sharedStrings.xml"/>'
    content: dict[str, str | bytes] = {
        "[Content_Types].xml": '<?xml version="1.0"?>'
        '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.'
        'relationships+xml"/><Default Extension="xml" ContentType="application/xml"/>'
        '<Override PartName="/xl/workbook.xml" '
        'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
        + "".join(
            f'<Override PartName="/xl/worksheets/sheet{i}.xml" ContentType="application/vnd.openxmlformats-'
            'officedocument.spreadsheetml.worksheet+xml"/>'
            for i in range(1, len(sheets) + 1)
        )
        + "</Types>",
        "_rels/.rels": f'<?xml version="1.0"?><Relationships xmlns="{RELATIONS}"><Relationship Id="rId1" '
        f'Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<?xml version="1.0"?><workbook xmlns="{NAMESPACE}" xmlns:r="{OFFICE}">'
        f"{properties}<sheets>{listed}</sheets>{workbook}</workbook>",
        "xl/sharedStrings.xml": f'<sst xmlns="{NAMESPACE}"/>',
        "xl/_rels/workbook.xml.rels": f'<?xml version="1.0"?><Relationships xmlns="{RELATIONS}">{targets}'
        "</Relationships>",
    }
    for number, rows in enumerate(sheets, start=1):
        content[f"xl/worksheets/sheet{number}.xml"] = (
            f'<?xml version="1.0" encoding="UTF-8"?>\r\n<worksheet xmlns="{NAMESPACE}">'
            f"<sheetData>{rows}</sheetData></worksheet>"
        )
    if raw is not None:
        content["xl/worksheets/sheet1.xml"] = raw
    content.update(parts or {})
    output = io.BytesIO()
    with zipfile.ZipFile(output, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in content.items():
            archive.writestr(zipfile.ZipInfo(name, (2024, 5, 6, 7, 8, 10)), text, zipfile.ZIP_DEFLATED)
    return output.getvalue()
