"""What a person does to have the cell functions in Excel on Windows through xlwings."""

from __future__ import annotations

from pathlib import Path

from dampcell.functions.hosts.excel_desktop.module import MODULE

__all__ = ["steps"]

_STEPS = """The functions for Excel on Windows lie in {file}

1. In a terminal:
       "{python}" -m pip install "dampcell[excel-desktop]"
       xlwings addin install
2. In Excel, once: File, Options, Trust Center, Trust Center Settings, Macro Settings:
   tick "Trust access to the VBA project object model".
3. Open the workbook, save it as .xlsm, and on the tab xlwings enter
       Interpreter    {python}
       PYTHONPATH     {folder}
       UDF Modules    {module}
   then press Import Functions.
4. Try in a cell:
       {example}

No server is needed. Press Restart UDF Server on that tab if Python was updated, and after an update of
Dampcell run "dampcell connect excel-desktop" and Import Functions again.
A cell that cannot be calculated shows an error value; DAMP_WHY tells the sentence that belongs to it:
       {why}
"""


def steps(file: Path, *, python: str, example: str, why: str) -> str:
    """Write the steps.

    Parameters
    ----------
    file : Path
        The module that was written.
    python : text
        Path of the Python interpreter.
    example, why : text
        Formulas to try.

    Returns
    -------
    text
    """
    return _STEPS.format(
        file=file, folder=file.parent, module=MODULE, python=python, example=example, why=why
    )
