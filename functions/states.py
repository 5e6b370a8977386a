"""Equilibrium states of a stack at many loads, and how one leads to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dampcell.functions.layers import Flags
from dampcell.functions.plates import Floats

__all__ = ["LEAST", "Pace", "States", "carried"]

LEAST = 1e-12
"""Load [N] or lift [mm] below which there is none: its inverse would overflow."""


@dataclass(frozen=True, slots=True)
class States:
    """Equilibrium states of one stack at n loads.

    Parameters
    ----------
    loads : ndarray, shape (n,)
        Total loads on the face layer [N].
    shapes : ndarray, shape (n, layers, circles)
        Net upward force on every layer and circle over the layer's stiffening [N].
    shifts : ndarray, shape (n, loose rings)
        Rigid lifts of the loose rings [mm].
    stiffening : ndarray, shape (n, layers)
        Factor on each layer's rigidity for its lift [-], 1 for small lift.
    closed : ndarray of bool, shape (n, contacts)
        Which contacts are closed; the last one is the seat.
    """

    loads: Floats
    shapes: Floats
    shifts: Floats
    stiffening: Floats
    closed: Flags

    @classmethod
    def blank(cls, loads: int, layers: int, circles: int, rings: int, contacts: int) -> States:
        """Make room for states at so many loads, to be filled by `take_over`."""
        return cls(
            np.zeros(loads),
            np.zeros((loads, layers, circles)),
            np.zeros((loads, rings)),
            np.ones((loads, layers)),
            np.zeros((loads, contacts), dtype=bool),
        )

    def take_over(self, rows: NDArray[np.intp], states: States, which: Flags) -> None:
        """Fill rows with those of other states that are marked."""
        for name in ("loads", "shapes", "shifts", "stiffening", "closed"):
            getattr(self, name)[rows] = getattr(states, name)[which]

    @property
    def seated(self) -> Flags:
        """Whether the face shim touches its seat, shape (n,)."""
        result: Flags = self.closed[:, -1]
        return result


def carried(states: States, loads: Floats) -> States:
    """Take known states over to other loads, each from the nearest, as a start for solving those."""
    nearest = np.abs(loads[:, None] - states.loads).argmin(axis=1)
    known, stiffening = states.loads[nearest], states.stiffening[nearest]
    # For a plate that keeps its shape the excess goes with w² and the load with w times the stiffening.
    ratio = (loads / np.where(known > LEAST, known, 1.0))[:, None]
    grown = (stiffening - 1.0) * ratio ** (2.0 * stiffening / (3.0 * stiffening - 2.0))
    return States(loads, states.shapes[nearest], states.shifts[nearest], 1.0 + grown, states.closed[nearest])


class Pace:
    """Speeds up a fixed-point iteration, each number by itself, from its last two steps (Aitken)."""

    def __init__(self, start: Floats) -> None:
        self._at = start.copy()
        self._before = start.copy()
        self._move = np.zeros_like(start)

    def step(self, rows: Flags, proposed: Floats) -> Floats:
        """Take the marked rows on, given what the iteration proposes, and return where all are then."""
        at, before = self._at, self._move
        move = proposed - at
        went = at - self._before
        slope = (move - before) / np.where(went != 0.0, went, np.inf)
        gain = 1.0 / np.minimum(np.maximum(-slope, 0.6), 2.0)
        following = np.maximum(1.0, np.where(before != 0.0, at + gain * move, proposed))
        if rows.all():
            self._before, self._move, self._at = at, move, following
        else:
            which = rows[:, None]
            self._before = np.where(which, at, self._before)
            self._move = np.where(which, move, before)
            self._at = np.where(which, following, at)
        return self._at

    def keep(self, rows: Flags) -> None:
        """Go on with the marked rows only."""
        self._at, self._before, self._move = self._at[rows], self._before[rows], self._move[rows]
