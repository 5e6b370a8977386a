"""Writing files whole or not at all.

A plain save that is cut short leaves half a file under the good name. Here the
bytes go into a temporary file beside the target, reach the disk, and take the
target's name in one step.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import time
from pathlib import Path

__all__ = ["STALE_AFTER", "sweep", "write_bytes"]

STALE_AFTER = 3600.0
"""Age in seconds after which a temporary file is taken for the leftover of a run that was cut short."""

_PREFIX, _SUFFIX = ".dampcell-", ".tmp"


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


def sweep(folder: Path, *, now: float | None = None) -> list[Path]:
    """Remove temporary files that runs which were cut short left in a folder.

    Parameters
    ----------
    folder : Path
        Folder of results; it need not exist.
    now : float, optional
        Present time as seconds since 1970; if left out, the clock says.

    Returns
    -------
    list of Path
        What was removed. Younger files are left alone: another run may be writing them.
    """
    present = time.time() if now is None else now
    removed: list[Path] = []
    for path in sorted(folder.glob(f"{_PREFIX}*{_SUFFIX}")):
        with contextlib.suppress(OSError):
            if present - path.stat().st_mtime > STALE_AFTER:
                path.unlink()
                removed.append(path)
    return removed


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
