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

    def step(self, rows: NDArray[np.intp], proposed: Floats) -> Floats:
        """Return where to go next, given what the iteration proposes for these rows."""
        at, before = self._at[rows], self._move[rows]
        move = proposed - at
        went = at - self._before[rows]
        slope = (move - before) / np.where(went != 0.0, went, np.inf)
        gain = 1.0 / np.clip(-slope, 0.6, 2.0)
        following = np.where(before != 0.0, at + gain * move, proposed)
        self._before[rows], self._move[rows], self._at[rows] = at, move, np.maximum(1.0, following)
        return self._at[rows]
