"""The rule that keeps cell functions away from files, programs and the network.

It is laid round a worker process once, before the first call, and cannot be
taken off again. It binds Python code, ours and that of libraries; it is a
second lock behind functions that touch no files anyway, not a prison for
hostile machine code.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from pathlib import Path

from dampcell.functions.errors import InputError

__all__ = ["Fence", "lay_fence"]

# What no cell function has any business to do, in any folder.
_NEVER = frozenset(
    {
        "os.chmod",
        "os.chown",
        "os.exec",
        "os.fork",
        "os.forkpty",
        "os.kill",
        "os.killpg",
        "os.link",
        "os.lockf",
        "os.mkdir",
        "os.posix_spawn",
        "os.putenv",
        "os.remove",
        "os.rename",
        "os.rmdir",
        "os.setxattr",
        "os.spawn",
        "os.startfile",
        "os.startfile/2",
        "os.symlink",
        "os.system",
        "os.truncate",
        "os.unsetenv",
        "os.utime",
        "pty.spawn",
        "socket.__new__",
        "socket.bind",
        "socket.connect",
        "socket.getaddrinfo",
        "socket.sendto",
        "subprocess.Popen",
        "tempfile.mkdtemp",
        "tempfile.mkstemp",
        "webbrowser.open",
        "winreg.ConnectRegistry",
        "winreg.OpenKey",
    }
)
_LOOKING = frozenset({"open", "os.listdir", "os.scandir", "os.walk", "os.chdir", "sqlite3.connect"})
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


class Fence:
    """Decide on what a worker process tries to do.

    Parameters
    ----------
    folders : iterable of Path
        Folders that the owner named at the start: files in them may be read.
    code : iterable of Path
        Folders of Python itself and its libraries, which load parts of themselves late.
    """

    def __init__(self, folders: Iterable[Path], code: Iterable[Path] = ()) -> None:
        self._named = [os.path.realpath(folder) for folder in folders]
        self._roots = [*self._named, *(os.path.realpath(folder) for folder in code)]

    def check(self, event: str, arguments: tuple[object, ...]) -> None:
        """Look at one event of the interpreter.

        Parameters
        ----------
        event : text
            Name of the audit event.
        arguments : tuple
            What belongs to it.

        Raises
        ------
        InputError
            If the rule forbids it.
        """
        if event in _NEVER:
            raise InputError(
                f"a cell function tried {event}",
                allowed="calculating; no programs, network, or changed files",
            )
        if event in _LOOKING:
            self._check_path(arguments)

    def _check_path(self, arguments: tuple[object, ...]) -> None:
        path = arguments[0] if arguments else None
        if path is None or isinstance(path, int):
            # An open file, or the working folder that a listing without a name means.
            path = None if isinstance(path, int) else os.curdir
        if path is None:
            return
        # realpath follows links: a link inside a named folder does not lead out of it.
        place = os.path.realpath(
            os.fsdecode(path) if isinstance(path, str | bytes | os.PathLike) else str(path)
        )
        mode = arguments[1] if len(arguments) > 1 else None
        flags = arguments[2] if len(arguments) > 2 else 0
        writing = isinstance(mode, str) and bool(set(mode) & set("wax+"))
        writing = writing or (isinstance(flags, int) and bool(flags & _WRITING))
        if writing or not any(_inside(place, root) for root in self._roots):
            # The sentence leaves out what lies there: it must not tell which files exist.
            raise InputError(
                "a cell function tried to write a file"
                if writing
                else "a cell function tried to read a file",
                allowed="reading, in the folders named with --folder when the server was started"
                if self._named
                else "nothing, unless the server was started with --folder",
            )


def lay_fence(folders: Iterable[Path]) -> None:
    """Hold this process to the rule from now on.

    Parameters
    ----------
    folders : iterable of Path
        Folders that the owner named at the start.
    """
    # Otherwise a late import would want to write its compiled form.
    sys.dont_write_bytecode = True
    # The folder in which the server was started is often that of the workbooks: no place to find code in.
    sys.path[:] = [entry for entry in sys.path if _holds_libraries(entry)]
    own = Path(__file__).resolve().parents[2]
    sys.addaudithook(Fence(folders, [own, *map(Path, (sys.prefix, sys.base_prefix, *sys.path))]).check)


def _holds_libraries(entry: str) -> bool:
    place = os.path.realpath(entry)
    return bool(entry) and (
        any(_inside(place, os.path.realpath(prefix)) for prefix in (sys.prefix, sys.base_prefix))
        or Path(place).name in ("site-packages", "dist-packages")
        or (Path(place) / "dampcell" / "__init__.py").is_file()
    )


def _inside(place: str, root: str) -> bool:
    return place == root or place.startswith(root.rstrip(os.sep) + os.sep)
