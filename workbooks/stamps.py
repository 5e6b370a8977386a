"""Stamps: what the results of a workbook were made of, so that they are made again only when need be.

A stamp lies beside the results, in a hidden folder, one small JSON file per
workbook. It is written last: results without their stamp are made again.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.metadata
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import dampcell
from dampcell.workbooks.pages import Paper
from dampcell.workbooks.results import Difference

__all__ = ["HOME", "Stamp", "Versions", "digest", "read_stamp", "versions"]

HOME = ".dampcell"
"""Name of the folder of stamps within a folder of results."""

_FORMAT = 1
_ENDINGS = (".py", ".csv", ".txt", ".typ")
# Other libraries that decide on the bytes of a result.
_LIBRARIES = {"functions": ("formualizer", "numpy"), "layout": ("typst",)}


@dataclass(frozen=True, slots=True)
class Versions:
    """What results are made with.

    Parameters
    ----------
    number : text
        Version of Dampcell.
    functions : text
        Fingerprint of the calculation.
    layout : text
        Fingerprint of reading, reports and templates.
    """

    number: str
    functions: str
    layout: str


@dataclass(frozen=True, slots=True)
class Stamp:
    """What was made of a workbook, and with what.

    Parameters
    ----------
    source : text
        SHA-256 of the workbook; empty if it could not be read.
    made_with : Versions
        Calculation and layout.
    paper : {"a4", "us-letter"}
        Paper of the report.
    report_size, copy_size : int
        Size of the results [byte].
    copy_digest : text
        SHA-256 of the refreshed copy.
    job_number, failure, problems, stale, changed
        As in `dampcell.workbooks.batch.JobOutcome`.
    lasting : bool
        Whether a failure would come again with the same workbook.
    other_kind : text
        As in `dampcell.workbooks.producing.Refusal`.
    """

    source: str
    made_with: Versions
    paper: Paper = "a4"
    report_size: int = 0
    copy_size: int = 0
    copy_digest: str = ""
    job_number: str = ""
    failure: str = ""
    lasting: bool = True
    other_kind: str = ""
    problems: tuple[str, ...] = ()
    stale: tuple[Difference, ...] = ()
    changed: tuple[Difference, ...] = ()

    def as_bytes(self) -> bytes:
        """Write it as JSON."""
        # In ASCII, because a sentence may hold a file name that no encoding of text can hold.
        return json.dumps({"format": _FORMAT, **asdict(self)}).encode()


def read_stamp(path: Path) -> Stamp | None:
    """Read a stamp.

    Parameters
    ----------
    path : Path
        Its file.

    Returns
    -------
    Stamp or None
        None if there is none, or none that can be understood: the results are then made again.
    """
    try:
        read = json.loads(path.read_bytes())
        if read.pop("format") != _FORMAT:
            return None
        read["made_with"] = Versions(**read["made_with"])
        for name in ("stale", "changed"):
            read[name] = tuple(Difference(**one) for one in read[name])
        return Stamp(**{**read, "problems": tuple(read["problems"])})
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None


@functools.cache
def versions() -> Versions:
    """Tell what results are made with in this installation: any change of a module counts."""
    return Versions(
        dampcell.__version__,
        _fingerprint("functions", files("dampcell.functions")),
        _fingerprint("layout", files("dampcell.workbooks"), files("dampcell.templates")),
    )


def digest(data: bytes) -> str:
    """SHA-256 of bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def _fingerprint(kind: str, *folders: Traversable) -> str:
    known = hashlib.sha256()
    for library in _LIBRARIES[kind]:
        known.update(f"{library} {importlib.metadata.version(library)}\n".encode())
    for folder in folders:
        for name, data in _contents(folder, ""):
            known.update(f"{name} {digest(data)}\n".encode())
    return known.hexdigest()


def _contents(folder: Traversable, at: str) -> Iterator[tuple[str, bytes]]:
    for item in sorted(folder.iterdir(), key=lambda item: item.name):
        name = f"{at}/{item.name}"
        if item.is_dir():
            yield from _contents(item, name)
        elif item.name.endswith(_ENDINGS):
            yield name, item.read_bytes()
