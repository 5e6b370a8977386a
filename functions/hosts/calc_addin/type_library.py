"""The type library of the extension: one interface with a method for every cell function.

LibreOffice learns the methods of an add-in from a binary type library. Its tools
that write one come with a developers' package that most computers lack, and the
format is small, so the bytes are laid out here.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from typing import Final

__all__ = ["ANY", "CALLER", "GRID", "REST", "type_library"]

ANY: Final = "any"
"""Type of an argument: any scalar, or a range."""

REST: Final = "[]any"
"""Type of a last argument that takes all the rest."""

CALLER: Final = "com.sun.star.beans.XPropertySet"
"""Type of an argument that nobody fills in: Calc hands over the workbook that makes the call."""

GRID: Final = "[][]any"
"""Type of every result: rows of cells. One that holds a single cell acts as that cell everywhere."""

_HEADER = b"UNOIDL\xff\x00"
_MODULE, _INTERFACE = 0, 5


def type_library(interface: str, methods: Mapping[str, Sequence[tuple[str, str]]]) -> bytes:
    """Lay out a type library that holds one interface.

    Parameters
    ----------
    interface : text
        Full name with dots, such as ``org.dampcell.calc.XFunctions``.
    methods : mapping
        Method name to its arguments, each a name and a type (`ANY`, `REST` or `CALLER`).
        Every method returns `GRID`.

    Returns
    -------
    bytes
        The content of a ``types.rdb``.

    References
    ----------
    LibreOffice source, unoidl/README.md, "Specification of the new UNOIDL types.rdb format".

    Examples
    --------
    >>> type_library("a.X", {"M": [("n", "any")]})[:7]
    b'UNOIDL\\xff'
    """
    *modules, name = interface.split(".")
    written = bytearray(_HEADER + bytes(8))
    payload = _append(written, _interface(methods))
    for module in reversed(modules):
        entry = struct.pack("<II", _append(written, name.encode("ascii") + b"\0"), payload)
        payload = _append(written, struct.pack("<BI", _MODULE, 1) + entry)
        name = module
    root = _append(written, struct.pack("<II", _append(written, name.encode("ascii") + b"\0"), payload))
    struct.pack_into("<II", written, len(_HEADER), root, 1)
    return bytes(written)


def _append(written: bytearray, part: bytes) -> int:
    """Append bytes and return their offset."""
    offset = len(written)
    written += part
    return offset


def _interface(methods: Mapping[str, Sequence[tuple[str, str]]]) -> bytes:
    # One base, then no optional bases and no attributes.
    parts = [struct.pack("<BI", _INTERFACE, 1), _text("com.sun.star.uno.XInterface")]
    parts.append(struct.pack("<III", 0, 0, len(methods)))
    for name, arguments in methods.items():
        parts += [_text(name), _text(GRID), struct.pack("<I", len(arguments))]
        for argument, kind in arguments:
            # Direction 0: handed in.
            parts += [b"\0", _text(argument), _text(kind)]
        parts.append(struct.pack("<I", 0))
    return b"".join(parts)


def _text(text: str) -> bytes:
    data = text.encode("ascii")
    # With the highest bit set, it would be the offset of a text that stands elsewhere.
    return struct.pack("<I", len(data)) + data
