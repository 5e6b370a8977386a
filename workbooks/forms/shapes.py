"""Pictures and text boxes in a generated workbook.

The spreadsheet library opens pictures through an imaging library and knows no
text boxes: a picture is handed over as the bytes it is, and a text box is added
to the finished package as the DrawingML that the programs themselves write.
"""

from __future__ import annotations

import io
import zipfile
from xml.etree import ElementTree

from openpyxl.drawing.image import Image

__all__ = ["Picture", "add_text_box"]

_DRAW = "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
_MAIN = "http://schemas.openxmlformats.org/drawingml/2006/main"
_SPACES = {
    "xdr": _DRAW,
    "a": _MAIN,
    "c": "http://schemas.openxmlformats.org/drawingml/2006/chart",
    "r": "http://schemas.openxmlformats.org/officeDocument/2006/relationships",
}


class Picture(Image):
    """A PNG picture with its size on the sheet [pixel at 96 per inch].

    Parameters
    ----------
    data : bytes
        The PNG file.
    width, height : int
        Size on the sheet.
    """

    def __init__(self, data: bytes, *, width: int, height: int) -> None:
        self.ref = io.BytesIO(data)
        self.width, self.height = width, height
        self.format = "png"
        self._bytes = data

    def _data(self) -> bytes:
        return self._bytes


def add_text_box(
    data: bytes, *, drawing: str, lines: tuple[str, ...], corner: tuple[int, int], opposite: tuple[int, int]
) -> bytes:
    """Add a text box to a drawing of a workbook.

    Parameters
    ----------
    data : bytes
        The workbook.
    drawing : text
        Part of the drawing, such as ``xl/drawings/drawing2.xml``.
    lines : tuple of text
        Paragraphs; the first is a heading.
    corner, opposite : tuple of int
        Row and column, from 1, of the top left cell and of the cell after the bottom right one.

    Returns
    -------
    bytes
        The workbook with all other parts as they were.
    """
    packed = io.BytesIO()
    for prefix, space in _SPACES.items():
        ElementTree.register_namespace(prefix, space)
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(packed, "w") as target:
        for member in source.infolist():
            content = source.read(member)
            if member.filename == drawing:
                root = ElementTree.fromstring(content)
                root.append(_text_box(lines, corner, opposite, number=len(root) + 1))
                content = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
            target.writestr(member, content, compresslevel=6)
    return packed.getvalue()


def _text_box(
    lines: tuple[str, ...], corner: tuple[int, int], opposite: tuple[int, int], *, number: int
) -> ElementTree.Element:
    anchor = ElementTree.Element(f"{{{_DRAW}}}twoCellAnchor", editAs="oneCell")
    for tag, (row, column) in (("from", corner), ("to", opposite)):
        end = _add(anchor, _DRAW, tag)
        for name, value in (("col", column - 1), ("colOff", 0), ("row", row - 1), ("rowOff", 0)):
            _add(end, _DRAW, name).text = str(value)
    shape = _add(anchor, _DRAW, "sp", macro="", textlink="")
    naming = _add(shape, _DRAW, "nvSpPr")
    _add(naming, _DRAW, "cNvPr", id=str(number + 1), name="Cautions", descr=" ".join(lines))
    _add(naming, _DRAW, "cNvSpPr", txBox="1")
    look = _add(shape, _DRAW, "spPr")
    frame = _add(look, _MAIN, "xfrm")
    _add(frame, _MAIN, "off", x="0", y="0")
    _add(frame, _MAIN, "ext", cx="0", cy="0")
    _add(_add(look, _MAIN, "prstGeom", prst="rect"), _MAIN, "avLst")
    _add(_add(look, _MAIN, "solidFill"), _MAIN, "srgbClr", val="FFFFFF")
    _add(_add(_add(look, _MAIN, "ln", w="19050"), _MAIN, "solidFill"), _MAIN, "srgbClr", val="8C2F14")
    body = _add(shape, _DRAW, "txBody")
    _add(body, _MAIN, "bodyPr", wrap="square", lIns="72000", tIns="72000", rIns="72000", bIns="72000")
    _add(body, _MAIN, "lstStyle")
    for index, line in enumerate(lines):
        run = _add(_add(body, _MAIN, "p"), _MAIN, "r")
        properties = _add(
            run, _MAIN, "rPr", lang="en-GB", sz="1000" if index else "1100", b="0" if index else "1"
        )
        _add(_add(properties, _MAIN, "solidFill"), _MAIN, "srgbClr", val="8C2F14")
        _add(properties, _MAIN, "latin", typeface="Arial")
        _add(run, _MAIN, "t").text = line
    _add(anchor, _DRAW, "clientData")
    return anchor


def _add(parent: ElementTree.Element, space: str, tag: str, **attributes: str) -> ElementTree.Element:
    return ElementTree.SubElement(parent, f"{{{space}}}{tag}", attributes)
