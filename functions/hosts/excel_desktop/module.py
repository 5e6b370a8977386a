"""Write the Python module that xlwings turns into functions of Excel, from the registry.

xlwings makes a VBA function of each Python function with its decorator, under
the same name and with the same names of arguments. So these must be names in
VBA as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from dampcell import __version__
from dampcell.functions.calls import NAMESPACE, Argument, CellFunction
from dampcell.functions.errors import InputError
from dampcell.functions.hosts.help_text import argument_help, function_help

__all__ = ["HELP", "MODULE", "cell_name", "module_text", "vba_name"]

MODULE: Final = "dampcell_functions"
"""Name of the module that is written."""

HELP: Final = 255
"""Most characters of a help text; xlwings cuts off what is longer."""

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,254}")

# Reserved identifiers of the language (MS-VBAL, VBA Language Specification, section 3.3.5.2; the list is
# from memory), and what the VBA code of xlwings itself uses.
_WORDS = """
abs addressof and any array as attribute boolean byref byte byval call case cbool cbyte ccur cdate cdbl
cdec cdecl cint circle clng clnglng clngptr close const csng cstr currency cvar cverr date debug decimal
declare defbool defbyte defcur defdate defdbl defdec defint deflng deflnglng deflngptr defobj defsng
defstr defvar dim do doevents double each else elseif empty end endif enum eqv erase error event exit
false fix for friend function get global gosub goto if imp implements in input inputb int integer is
lbound len lenb let like line lineinput lock long longlong longptr loop lset me mod name new next not
nothing null on open option optional or paramarray preserve print private property pset public put
raiseevent redim rem resume return rset scale seek select set sgn shared single spc static step stop
string sub tab then to true type typeof ubound unlock until variant wend while with withevents write xor
app application argsarray caller err failed k range thisworkbook activeworkbook xlpy
"""
_RESERVED = frozenset(_WORDS.split())

_HEAD = '''"""Cell functions of Dampcell {version} for Excel on Windows.

Written by "dampcell connect excel-desktop"; do not edit, but write it again after an update.
"""

import xlwings as xw

from dampcell.functions.hosts.excel_desktop.bridge import Cells, answer, check_version

check_version("{version}")
'''


def module_text(functions: Iterable[CellFunction], version: str = __version__) -> str:
    """Write the module.

    Parameters
    ----------
    functions : iterable of CellFunction
        Those of the registry.
    version : text
        Version of Dampcell that it belongs to.

    Returns
    -------
    text
        Python source; the same functions give the same text.

    Raises
    ------
    InputError
        If a name cannot be one in VBA.
    """
    return "\n\n".join([_HEAD.format(version=version), *map(_function, functions)])


def cell_name(function: CellFunction) -> str:
    """Give the name of a function in a cell of this host; a dot cannot be part of it."""
    return f"{NAMESPACE}_{function.name}"


def vba_name(name: str) -> str:
    """Give the name of an argument in VBA.

    Parameters
    ----------
    name : text
        Name in the registry.

    Returns
    -------
    text
        The same, with an underscore behind it where VBA keeps the word for itself.

    Raises
    ------
    InputError
        If it cannot be a name in VBA.

    Examples
    --------
    >>> vba_name("thickness"), vba_name("function")
    ('thickness', 'function_')
    """
    if _NAME.fullmatch(name) is None:
        raise InputError(
            "cannot be a name in VBA", found=name, allowed="a letter, then letters, digits and underscores"
        )
    return f"{name}_" if name.casefold() in _RESERVED else name


def _function(function: CellFunction) -> str:
    names = [vba_name(argument.name) for argument in function.arguments]
    decorators = [
        f"@xw.arg({name!r}, Cells, doc={argument_help(argument, HELP)!r})"
        for name, argument in zip(names, function.arguments, strict=True)
    ]
    parameters = [_parameter(name, a) for name, a in zip(names, function.arguments, strict=True)]
    handed = [("*" if a.variadic else "") + name for name, a in zip(names, function.arguments, strict=True)]
    return "\n".join(
        [
            f"@xw.func(category={f'Dampcell: {function.family}'!r})",
            *decorators,
            "@xw.ret(Cells)",
            f"def {vba_name(cell_name(function))}({', '.join(parameters)}):",
            f"    {function_help(function, HELP)!r}",
            f"    return answer({', '.join([repr(function.name), *handed])})",
            "",
        ]
    )


def _parameter(name: str, argument: Argument) -> str:
    if argument.variadic:
        return f"*{name}"
    return name if argument.required else f"{name}=None"
