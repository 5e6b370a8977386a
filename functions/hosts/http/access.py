"""The secret of this server, and links that open its page once.

The token lies in the user's own config folder, readable by that user alone.
A browser gets it without any pasting: a link carries a key in its fragment,
which is never sent with a request for a page, and the page trades the key, once,
for the token.
"""

from __future__ import annotations

import contextlib
import hmac
import os
import re
import secrets
import stat
from pathlib import Path
from typing import Final

import platformdirs

from dampcell.functions.errors import InputError

__all__ = ["TOKEN_FILE", "Keys", "config_folder", "own_token", "same"]

TOKEN_FILE: Final = "token"
"""Name of the file in the config folder; it holds the token and nothing else."""

_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")
_MOST_KEYS = 8
_RENEW = "deleting the file (the next start makes a new one) and connecting the spreadsheets again"


def config_folder() -> Path:
    """Give the folder for the user's own settings, such as ``~/.config/dampcell``."""
    return platformdirs.user_config_path("dampcell", appauthor=False)


def own_token(folder: Path) -> str:
    """Read this user's token, or make it at the first start.

    Parameters
    ----------
    folder : Path
        The config folder; made if it is not there.

    Returns
    -------
    text
        43 letters, digits, dashes and underscores, from 32 random bytes.

    Raises
    ------
    InputError
        If other users may read the file, it holds something else, or it cannot be read or written.
    """
    path = folder / TOKEN_FILE
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            return _make(path)
        return _read(path)
    except OSError as error:
        raise InputError(
            f"cannot be used ({error.strerror})", parameter=str(path), allowed="a file that only you may read"
        ) from None


def same(given: str, secret: str) -> bool:
    """Compare in a time that tells nothing of the secret; an empty secret is like nothing."""
    return bool(secret) and hmac.compare_digest(given.encode("utf-8", "replace"), secret.encode())


class Keys:
    """Keys of links that were given out and not yet used; the oldest are forgotten first."""

    def __init__(self) -> None:
        self._open: list[str] = []

    def new(self) -> str:
        """Make a key."""
        key = secrets.token_urlsafe(32)
        self._open = [*self._open, key][-_MOST_KEYS:]
        return key

    def redeem(self, key: str) -> bool:
        """Use a key up; False if it was never given out, or used before."""
        for known in self._open:
            if same(key, known):
                self._open.remove(known)
                return True
        return False


def _make(path: Path) -> str:
    token = secrets.token_urlsafe(32)
    # Made with its final mode and only if it is new, so there is no moment at which others may read it.
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(token + "\n")
        file.flush()
        os.fsync(file.fileno())
    return token


def _read(path: Path) -> str:
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
    with os.fdopen(descriptor, encoding="utf-8", errors="replace") as file:
        status = os.fstat(file.fileno())
        token = file.read(200).strip()
    # On Windows the user's folder itself keeps others out, and the mode says nothing.
    if os.name == "posix" and (stat.S_IMODE(status.st_mode) & 0o077 or status.st_uid != os.getuid()):
        raise InputError(
            "other users of this machine may have read the token",
            parameter=str(path),
            allowed=_RENEW,
        )
    if _TOKEN.fullmatch(token) is None:
        raise InputError(
            "does not hold a token",
            parameter=str(path),
            allowed=_RENEW,
        )
    return token
