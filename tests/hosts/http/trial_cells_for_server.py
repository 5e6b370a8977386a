"""Cell functions that misbehave, each in its own way; only the server's tests load them."""

from __future__ import annotations

import os
import re
import socket
import subprocess
from pathlib import Path

from dampcell.functions.registry import cell_function

__all__: list[str] = []


@cell_function(family="Trial", result="text")
def trial_hang(label: str = "") -> str:
    """Never come to an end.

    Parameters
    ----------
    label : text
        Anything.
    """
    while True:
        pass


@cell_function(family="Trial", result="text")
def trial_hang_compiled(label: str = "") -> str:
    """Never come to an end, inside one step of compiled code that holds the interpreter.

    Parameters
    ----------
    label : text
        Anything.
    """
    return str(re.fullmatch(r"(a|aa)+", "a" * 120 + "b"))


@cell_function(family="Trial", result="text")
def trial_die(label: str = "") -> str:
    """End the process.

    Parameters
    ----------
    label : text
        Anything.
    """
    os._exit(3)


@cell_function(family="Trial", result="text")
def trial_fault(label: str) -> str:
    """Fail with a fault of the program.

    Parameters
    ----------
    label : text
        Text of the fault.
    """
    raise RuntimeError(label)


@cell_function(family="Trial", result="text")
def trial_echo(label: str) -> str:
    """Give a text back.

    Parameters
    ----------
    label : text
        Anything.
    """
    return label


@cell_function(family="Trial", result="text")
def trial_read(label: str) -> str:
    """Read a file.

    Parameters
    ----------
    label : text
        Path.
    """
    return Path(label).read_text(encoding="utf-8")


@cell_function(family="Trial", result="text")
def trial_list(label: str) -> str:
    """List a folder.

    Parameters
    ----------
    label : text
        Path.
    """
    return ",".join(sorted(os.listdir(label)))


@cell_function(family="Trial", result="text")
def trial_write(label: str) -> str:
    """Write a file.

    Parameters
    ----------
    label : text
        Path.
    """
    Path(label).write_text("changed", encoding="utf-8")
    return "written"


@cell_function(family="Trial", result="text")
def trial_program(label: str) -> str:
    """Start a program.

    Parameters
    ----------
    label : text
        Its name.
    """
    return subprocess.run([label], capture_output=True, text=True, check=False).stdout


@cell_function(family="Trial", result="text")
def trial_connect(label: str) -> str:
    """Reach out over the network.

    Parameters
    ----------
    label : text
        Port on this machine.
    """
    with socket.create_connection(("127.0.0.1", int(label))):
        return "connected"
