"""Tables of constants and names, one CSV file each, with its source in the header."""

from __future__ import annotations

import csv
from importlib.resources import files

__all__ = ["read_table"]


def read_table(name: str) -> list[dict[str, str]]:
    """Read one of the CSV files of this folder.

    Parameters
    ----------
    name : text
        File name without its ending.

    Returns
    -------
    list of dict
        One dictionary per row, keyed by the column heads. Lines that start
        with ``#`` are the header with source and edition, and are left out.
    """
    text = files(__name__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return list(csv.DictReader(lines))
