"""Saving a generated workbook so that the same content gives the same bytes."""

from __future__ import annotations

import io
import re
import zipfile

from openpyxl import Workbook

__all__ = ["pinned_bytes"]

# The programs do not mind which date a template claims; a fixed one keeps the bytes equal.
_STAMP = b"2025-01-01T00:00:00Z"
_ZIP_DATE = (2025, 1, 1, 0, 0, 0)


def pinned_bytes(workbook: Workbook) -> bytes:
    """Save a workbook with its time stamps pinned.

    Parameters
    ----------
    workbook : Workbook
        What to save.

    Returns
    -------
    bytes
        The package; equal content gives equal bytes.
    """
    saved = io.BytesIO()
    workbook.save(saved)
    packed = io.BytesIO()
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as target:
        for name in sorted(source.namelist(), key=_part_order):
            data = source.read(name)
            if name == "docProps/core.xml":
                data = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", _STAMP, data)
            entry = zipfile.ZipInfo(name, date_time=_ZIP_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o600 << 16
            target.writestr(entry, data, compresslevel=6)
    return packed.getvalue()


def _part_order(name: str) -> tuple[int, str]:
    # Programs that look at the first part expect the content types there.
    return (0 if name == "[Content_Types].xml" else 1, name)
