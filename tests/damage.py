"""Damaged job workbooks by the thousand, made from one small sound one and a fixed seed.

Most damage is done inside the parts, which are then packed soundly: so it reaches what reads
the XML, and is not stopped by a checksum. Some is done to the zip container itself.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from tests import damage_cells, damage_packages

__all__ = ["KINDS", "Damaged", "damaged_workbooks"]

SEED = 20_250_304


@dataclass(frozen=True, slots=True)
class Damaged:
    """A workbook to be refused or understood: its file name, what was done to it, and its bytes."""

    name: str
    kind: str
    data: bytes


def damaged_workbooks() -> Iterator[Damaged]:
    """Make all damaged workbooks, the same ones every time."""
    number = 0
    for kind, (count, make) in KINDS.items():
        for nth in range(count):
            number += 1
            # Each has a seed of its own, so that one more of a kind changes none of the others.
            data = make(nth, random.Random(f"{SEED} {kind} {nth}"))
            yield Damaged(
                f"{number:04} {kind}{'.xlsm' if 'macro' in kind and nth % 2 else '.xlsx'}", kind, data
            )


KINDS: Mapping[str, tuple[int, Callable[[int, random.Random], bytes]]] = {
    "bytes of the container": (80, damage_packages.container_bytes),
    "cut short": (60, damage_packages.cut_short),
    "bytes within a part": (167, damage_packages.part_bytes),
    "broken XML": (90, damage_packages.broken_xml),
    "part missing": (45, damage_packages.part_missing),
    "part twice": (25, damage_packages.part_twice),
    "wrong relations": (50, damage_packages.wrong_relations),
    "zip bomb": (16, damage_packages.zip_bomb),
    "external link": (30, damage_cells.external_link),
    "macros": (30, damage_cells.macros),
    "huge range": (72, damage_cells.huge_range),
    "circular cells": (40, damage_cells.circular),
    "a million rows": (10, damage_cells.million_rows),
    "deep nesting": (18, damage_cells.deep),
    "document type, entities": (24, damage_cells.entities),
    "wrong encoding": (35, damage_cells.encodings),
    "absurd numbers": (58, damage_cells.numbers),
    "texts and styles": (42, damage_cells.texts_and_styles),
    "names to nowhere": (40, damage_cells.names),
    "endless formulas": (48, damage_cells.endless),
    "no workbook": (20, damage_cells.no_workbook),
}
"""How many of each kind, and what makes them; a thousand together."""
