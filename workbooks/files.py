"""Writing files whole or not at all.

A plain save that is cut short leaves half a file under the good name. Here the
bytes go into a temporary file beside the target, reach the disk, and take the
target's name in one step.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import time
from collections.abc import Iterator
from pathlib import Path

import filelock

from dampcell.functions.errors import WorkbookError

__all__ = ["STALE_AFTER", "claimed", "printable", "sweep", "write_bytes"]

STALE_AFTER = 3600.0
"""Age in seconds after which a temporary file is taken for the leftover of a run that was cut short."""

_PATIENCE = 5.0  # s, for a run that is just ending
_UNPRINTABLE = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufffe\uffff]")
_PREFIX, _SUFFIX = ".dampcell-", ".tmp"


def printable(name: str) -> str:
    """Give a file name as it may stand in a report or a table; what no text can hold becomes a question mark.

    Examples
    --------
    >>> printable("job\\n\\udcff.xlsx")
    'job??.xlsx'
    """
    return _UNPRINTABLE.sub("?", name)


def write_bytes(target: Path, data: bytes) -> None:
    """Write a file whole, or leave what was there before.

    Parameters
    ----------
    target : Path
        File to write; its folder must exist.
    data : bytes
        The whole content.

    Raises
    ------
    OSError
        If it cannot be written; the target is then as it was, and no temporary
        file stays behind.
    """
    temporary = target.with_name(f"{_PREFIX}{secrets.token_hex(8)}{_SUFFIX}")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    descriptor = os.open(temporary, flags, 0o666)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, target)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    _sync_folder(target.parent)


def sweep(folder: Path, *, now: float | None = None, older_than: float = STALE_AFTER) -> list[Path]:
    """Remove temporary files that runs which were cut short left in a folder.

    Parameters
    ----------
    folder : Path
        Folder of results; it need not exist.
    now : float, optional
        Present time as seconds since 1970; if left out, the clock says.
    older_than : float
        Age over which a file is a leftover [s]; 0 for who has claimed the folder.

    Returns
    -------
    list of Path
        What was removed. Younger files are left alone: another run may be writing them.
    """
    present = time.time() if now is None else now
    removed: list[Path] = []
    for path in sorted(folder.glob(f"{_PREFIX}*{_SUFFIX}")):
        with contextlib.suppress(OSError):
            if older_than <= 0 or present - path.stat().st_mtime > older_than:
                path.unlink()
                removed.append(path)
    return removed


@contextlib.contextmanager
def claimed(folder: Path) -> Iterator[None]:
    """Keep a folder of results for one run; a run that dies lets go of it.

    Parameters
    ----------
    folder : Path
        Folder that holds the lock file; it is made if it is not there.

    Raises
    ------
    WorkbookError
        If another run has it.
    OSError
        If nothing can be written there.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lock = filelock.FileLock(folder / "lock")
    try:
        lock.acquire(timeout=_PATIENCE)
    except filelock.Timeout:
        raise WorkbookError(
            "another run is making reports in this folder",
            file=str(folder.parent),
            allowed="one run at a time; wait until it has ended",
        ) from None
    try:
        yield
    finally:
        lock.release()


def _sync_folder(folder: Path) -> None:
    # The new name is in the folder, and a folder can be synced on POSIX systems only.
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
