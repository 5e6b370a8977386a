"""Times of damping, printed; run it by hand on a quiet machine: python tests/bench/bench_damping.py.

A build of twelve shims. "new stack" has a clamp that was not asked for before, "asked before" one whose lift
table is kept. The sheet holds five variants of 60 velocities, one formula for each force, recalculated by the
headless engine. The drawer holds 30 kinds, four of each.
"""

from __future__ import annotations

import io
import itertools
import platform
import time
from collections.abc import Callable

import numpy as np
import openpyxl

from dampcell.functions.cells.builds import lift_table
from dampcell.functions.registry import evaluate
from dampcell.workbooks.engine import recalculate

Rows = list[list[str | float]]

SHIMS: Rows = [
    ["shim", 30, 0.2, 3],
    ["shim", 27, 0.2, 2],
    ["shim", 24, 0.15, 2],
    ["shim", 21, 0.15, 2],
    ["shim", 18, 0.2, 2],
    ["shim", 15, 0.25, 1],
]
VALVE: Rows = [
    ["face", "a"],
    ["a window inner diameter", 18],
    ["a window outer diameter", 25],
    ["a open fraction", 0.6],
    ["a seat diameter", 26],
    ["a throat area", 60],
    ["displaced diameter", 29],
    ["rod diameter", 12],
    ["bleed diameter", 1],
    ["needle seat diameter", 3],
    ["needle clicks", 14],
]
OIL: Rows = [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]]
DRAWER: Rows = [
    [diameter, thickness, 4]
    for diameter in (14, 16, 18, 20, 22, 24, 26, 27, 28, 30)
    for thickness in (0.1, 0.15, 0.2)
]
VARIANTS, VELOCITIES = 5, 60

_clamps = (12.0 + 1e-6 * count for count in itertools.count(1))


def stack(clamp: float = 12.0) -> Rows:
    """The twelve shims on a clamp."""
    return [*SHIMS, ["clamp", clamp]]


def show(words: str, work: Callable[[], object], repeats: int = 5) -> None:
    """Run and print one line: least process and wall time of several runs."""
    process, wall = [], []
    for _ in range(repeats):
        started = time.process_time(), time.perf_counter()
        work()
        process.append(time.process_time() - started[0])
        wall.append(time.perf_counter() - started[1])
    print(f"{words:52s} {1e3 * min(process):9.1f} ms {1e3 * min(wall):9.1f} ms")


def curve(clamp: float, thickness_tolerance: object) -> None:
    """60 points up to 4 m/s; a tolerance of the text "0" leaves out the two further tables of the band."""
    given = [stack(clamp), VALVE, OIL, 30, 6, 4, VELOCITIES, thickness_tolerance]
    if evaluate("DAMPING_CURVE", given).first_error() is not None:
        raise SystemExit("DAMPING_CURVE gave an error")


def sheet() -> bytes:
    """A workbook of five variants that differ in their face shim, and 60 velocities."""
    book = openpyxl.Workbook()
    page = book.active
    if page is None:
        raise SystemExit("the workbook has no sheet")
    for row in [*VALVE, *OIL]:
        page.append(row)
    oil_first = len(VALVE) + 1
    valve, oil = f"$A$1:$B${len(VALVE)}", f"$A${oil_first}:$B${oil_first + len(OIL) - 1}"
    clamp = next(_clamps)
    for variant in range(VARIANTS):
        at = 20 + 10 * variant
        for offset, row in enumerate(stack(clamp)):
            for column, value in enumerate(row, start=1):
                page.cell(at + offset, column, 0.2 + 0.01 * variant if (offset, column) == (0, 3) else value)
        rows = f"$A${at}:$D${at + len(SHIMS)}"
        for number, velocity in enumerate(np.linspace(0.05, 4.0, VELOCITIES), start=1):
            page.cell(number, 8, float(velocity))
            page.cell(number, 9 + variant, f"=DAMP.DAMPING_FORCE($H{number},{rows},{valve},{oil},30,6)")
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def recalculated(data: bytes) -> None:
    """Recalculate the sheet as a batch does."""
    found = recalculate(data, "bench.xlsx").cells
    if len(found) != VARIANTS * VELOCITIES:
        raise SystemExit(f"{len(found)} forces were calculated")


def match(*wish: list[float]) -> None:
    """Search the drawer."""
    if evaluate("STACK_MATCH", [DRAWER, stack(), VALVE, OIL, 30, 6, list(wish)]).first_error() is not None:
        raise SystemExit("STACK_MATCH gave an error")


def main() -> None:
    """Print all times."""
    print(f"Python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    print(f"{'':52s} {'process':>12s} {'wall':>12s}")
    show("60-point curve, no band, new stack", lambda: curve(next(_clamps), "0"))
    show("60-point curve, no band, asked before", lambda: curve(12.0, "0"))
    show("60-point curve with band, new stack", lambda: curve(next(_clamps), 0.005))
    show("60-point curve with band, asked before", lambda: curve(12.0, 0.005))
    books = [sheet() for _ in range(4)]
    new = iter(books)
    show("5 x 60 forces on a sheet, new stacks", lambda: recalculated(next(new)), repeats=len(books) - 1)
    show("5 x 60 forces on a sheet, asked before", lambda: recalculated(books[0]))
    lift_table.cache_clear()
    show("STACK_MATCH, 30 kinds, -15 % at 2 m/s", lambda: match([2, -15]), repeats=2)
    show("STACK_MATCH, 30 kinds, three velocities", lambda: match([0.1, -5], [0.5, -15], [2, -20]), repeats=2)


if __name__ == "__main__":
    main()
