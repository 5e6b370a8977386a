"""Times of the stack model, printed; run it by hand on a quiet machine: python tests/bench/bench_stacks.py.

Three stacks of twelve shims. "new stack" is a cell with a stack that was not asked for before, "asked
before" one whose answer is kept; "model alone" solves a load that is not quite the same each time. Set
OPENBLAS_NUM_THREADS=1, as the package does for itself where it is imported before numpy. Beside each time
stands its ratio to the plain solution of one matrix of the size of the closed contacts, once per load: what
nobody could save.
"""

from __future__ import annotations

import functools
import itertools
import platform
import time
from collections.abc import Callable

import numpy as np

from dampcell.functions.cells.stacks import STACK
from dampcell.functions.registry import evaluate
from dampcell.functions.stacks import StackModel, Theory, stack_from_rows

Rows = list[list[object]]


def shims(*outer: float) -> Rows:
    """One row of 0.15 mm per diameter."""
    return [["shim", diameter, 0.15, 1] for diameter in outer]


CLAMP: list[object] = ["clamp", 12, 0.3, 1]
STACKS: dict[str, Rows] = {
    "pyramid": [
        ["shim", 36, 0.15, 4],
        *shims(34, 32, 30, 28, 26),
        ["shim", 24, 0.2, 1],
        ["shim", 20, 0.2, 1],
        ["shim", 16, 0.25, 1],
        CLAMP,
    ],
    "two stages": [
        ["shim", 36, 0.1, 4],
        ["shim", 18, 0.1, 1],
        *shims(34, 30, 26, 24, 22),
        ["shim", 20, 0.2, 1],
        ["shim", 16, 0.3, 1],
        CLAMP,
    ],
    "ring": [
        ["shim", 36, 0.15, 2],
        ["centering", 18, 0.2, 1],
        ["ring", 33, 0.23, 1, 24],
        *shims(36, 36, 32, 32, 28, 28),
        ["shim", 22, 0.2, 1],
        ["shim", 16, 0.3, 1],
        CLAMP,
    ],
}
SEAT, LOAD, LOADS = 33.0, 60.0, np.linspace(0.0, 120.0, 60)


def best(work: Callable[[], object], repeats: int = 15) -> tuple[float, float]:
    """Least process time and least wall time of several runs [ms]."""
    process, wall = [], []
    for _ in range(repeats):
        started = time.process_time(), time.perf_counter()
        work()
        process.append(time.process_time() - started[0])
        wall.append(time.perf_counter() - started[1])
    return 1e3 * min(process), 1e3 * min(wall)


def show(words: str, floor: float, work: Callable[[], object]) -> None:
    """Run and print one line."""
    process, wall = best(work)
    print(f"  {words:38s} {process:8.2f} ms {wall:8.2f} ms {process / floor:8.0f}x")


def run(rows: Rows, theory: Theory, floor: float) -> None:
    """Print the times of one stack and theory."""
    # A seat that is not quite the same each time keeps the function from using a model that it has kept.
    seats = (SEAT + 1e-7 * count for count in itertools.count(1))
    model = StackModel(stack_from_rows(STACK.parse(rows, parameter="stack")), SEAT, theory=theory)
    show(
        "STACK_LIFT, new stack",
        floor,
        lambda: evaluate("STACK_LIFT", [rows, LOAD, next(seats), None, theory]),
    )
    show("STACK_LIFT, asked before", floor, lambda: evaluate("STACK_LIFT", [rows, LOAD, SEAT, None, theory]))
    show(
        "STACK_OPENING, new stack",
        floor,
        lambda: evaluate("STACK_OPENING", [rows, next(seats), 0.05, theory]),
    )
    show(
        "STACK_CURVE, 60 loads, new stack",
        60 * floor,
        lambda: evaluate("STACK_CURVE", [rows, next(seats), 120, 60, theory]),
    )
    loads = (LOAD + 1e-7 * count for count in itertools.count(1))
    show("model alone, one load", floor, lambda: model.states(next(loads)))
    show("model alone, 60 loads", 60 * floor, lambda: model.states(LOADS))


def main() -> None:
    """Print all times."""
    print(f"Python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    print(f"  {'':38s} {'process':>11s} {'wall':>11s} {'to plain':>9s}")
    for name, rows in STACKS.items():
        model = StackModel(stack_from_rows(STACK.parse(rows, parameter="stack")), SEAT)
        closed = int(model.states(LOAD).closed.sum())
        matrix, right = np.eye(closed) + 0.1, np.ones(closed)
        floor = best(functools.partial(np.linalg.solve, matrix, right), 200)[0]
        theories: tuple[Theory, ...] = ("small", "large")
        for theory in theories:
            print(f"{name}, {theory} lift, {closed} closed contacts")
            run(rows, theory, floor)


if __name__ == "__main__":
    main()
