"""What the calculation server is told at its start: port, secret, limits, and folders it may read."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

__all__ = ["LOOPBACK", "PORT", "SECURE_PORT", "Limits", "Settings"]

PORT: Final = 27430
"""Port of the server. It lies below the ranges from which systems lend ports to other programs."""

SECURE_PORT: Final = 27431
"""Port for https, which the Excel add-in insists on."""

LOOPBACK: Final = ("localhost", "127.0.0.1", "[::1]")
"""Names under which this machine reaches itself; a request under any other name is refused."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of one request.

    Parameters
    ----------
    body_bytes : int
        Largest body [byte].
    calls : int
        Most calls in one POST.
    cells : int
        Most cells in the arguments of one call; a range of 100,000 rows and two columns just fits.
    call_seconds : float
        Time after which one call is stopped, by ending the process that works on it [s].
    request_seconds : float
        Time after which the calls of a POST that are still to do are given up [s].
    waiting : int
        Most requests at work or in the queue.
    """

    body_bytes: int = 16 * 1024 * 1024
    calls: int = 1000
    cells: int = 200_000
    call_seconds: float = 10.0
    request_seconds: float = 60.0
    waiting: int = 64


def _usual_workers() -> int:
    # Two at least, so that a slow calculation does not hold up the other cells.
    return max(2, min(4, os.cpu_count() or 2))


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of one server.

    Parameters
    ----------
    token : text
        The secret that a client sends as bearer token; it is never shown.
    port : int
        Port of the server.
    secure_port : int, optional
        Port under which the same server is reached over https, for spreadsheets that insist on it.
    addin : Path, optional
        Folder of the Excel add-in, whose files are served too.
    folders : tuple of Path
        Folders that cell functions may read files in; none by default.
    limits : Limits
        Limits of one request.
    workers : int
        Worker processes kept ready; more are started while these are held up, see `most_workers`.
    most_workers : int
        Most worker processes at any time.
    families : tuple of text
        Modules whose import fills the registry in a worker process.
    """

    token: str = field(repr=False)
    port: int = PORT
    secure_port: int | None = None
    addin: Path | None = None
    folders: tuple[Path, ...] = ()
    limits: Limits = Limits()
    workers: int = field(default_factory=_usual_workers)
    most_workers: int = 8
    families: tuple[str, ...] = ("dampcell.functions.cells",)

    @property
    def hosts(self) -> frozenset[str]:
        """Values of the Host header that are this server."""
        ports = (self.port,) if self.secure_port is None else (self.port, self.secure_port)
        return frozenset(f"{name}:{port}" for name in LOOPBACK for port in ports)

    @property
    def origins(self) -> frozenset[str]:
        """Values of the Origin header that are pages of this server."""
        schemes = [("http", self.port)]
        if self.secure_port is not None:
            schemes.append(("https", self.secure_port))
        return frozenset(f"{scheme}://{name}:{port}" for scheme, port in schemes for name in LOOPBACK)

    @property
    def address(self) -> str:
        """Address of the page, without any secret."""
        return f"http://127.0.0.1:{self.port}/"
