"""Layers of a stack in one-sided contact: the equilibrium of the whole.

Every layer is a thin plate with closed-form influence functions (`plates`).
Layers press on each other, frictionless, on candidate circles: all edges, the
seat, and a few more between them. At each candidate either the gap is open and
the force zero, or the gap is closed and the force not negative: a linear
complementarity problem, solved by pivoting on the set of closed contacts.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from dampcell.functions.bending import Bending
from dampcell.functions.errors import NoSolutionError
from dampcell.functions.layers import Flags, Layer, Source, contact_circles, find_meetings
from dampcell.functions.plates import Floats, Plate
from dampcell.functions.states import Pace, States, carried

__all__ = ["Contacts"]

_GROUND = 1e-7
"""Spring that holds a loose ring in place until something touches it [N/mm]."""

_ALONE = 3  # loads that are solved without a look at each other
_REFERENCES = 8  # loads solved first, from which many others start
_TOLERANCE = 1e-7  # on the stiffening, relative
_SLACK = 1e-9  # of the largest gap or force, below which a wrong sign is rounding
_PATIENCE = 12  # block exchanges without progress before contacts are exchanged one at a time
_TOGETHER = 40  # sweeps in which contacts and stiffening are corrected side by side
_SWEEPS = 200


class Contacts:
    """The contact model of a stack for one kind of load.

    Parameters
    ----------
    layers : sequence of Layer
        From the face to the clamp; the first is clamped.
    source : Source
        Load on the face layer.
    seat_radius : float
        Radius of the seat circle [mm].
    seat_height : float
        Height of the seat over the flat face shim [mm].
    poisson : float
        Poisson's ratio [-].

    Notes
    -----
    All loads of a call are solved side by side in arrays with a leading axis n. Which others
    are asked for with a load changes its lift by no more than the tolerance on the stiffening.
    """

    def __init__(
        self,
        layers: Sequence[Layer],
        source: Source,
        *,
        seat_radius: float,
        seat_height: float,
        poisson: float,
    ) -> None:
        self.layers = tuple(layers)
        self.source = source
        circles = contact_circles(self.layers, seat_radius)
        self._plates = Bending(self.layers, circles, source.radii, poisson=poisson)
        self._radii = self._plates.radii
        self._count_circles = len(circles)
        self._loose = self._plates.loose
        self._meetings = find_meetings(self.layers, circles, seat_radius, seat_height)
        self._weigh_contacts()

    def _weigh_contacts(self) -> None:
        """Which way each contact pushes each layer, and what it does to every other contact's gap."""
        met, count, layers = self._meetings, len(self._meetings.gap), len(self.layers)
        influence = self._plates.influence
        signs = np.zeros((layers + 1, count))
        signs[met.upper, np.arange(count)] = 1.0
        signs[met.lower, np.arange(count)] = -1.0
        self._signs = signs[:-1]
        spread = np.zeros((count, layers, len(self._radii)))
        spread[np.arange(count), :, met.circle] = self._signs.T
        self._spread = spread.reshape(count, -1)
        # Only contacts of one layer act on each other: of all pairs few are kept, and where each stands.
        # One past the last contact is one that is not there, and acts on nothing.
        touched = self._signs != 0.0
        one, other = np.nonzero(touched.T.astype(float) @ touched)
        at = np.arange(layers)[:, None], met.circle[one], met.circle[other]
        self._parts = np.zeros((layers, len(one) + 1))
        self._parts[:, :-1] = influence[at] * self._signs[:, one] * self._signs[:, other]
        self._slot = np.full((count + 1, count + 1), len(one))
        self._slot[one, other] = np.arange(len(one))
        face = influence[0][:, self._count_circles :] @ self.source.weights
        self._push = np.append(self._signs[0] * face[met.circle], 0.0)
        self._gap = np.append(met.gap, 0.0)
        # Load is handed on no farther out than where it comes from and where both neighbours are.
        reach = np.zeros(layers)
        reach[0] = self.source.radii.max()
        outer = np.array([layer.outer for layer in self.layers])
        resting = np.flatnonzero(met.gap[:-1] <= 0.0)
        for lower, upper in sorted(
            set(zip(met.lower[resting].tolist(), met.upper[resting].tolist(), strict=True))
        ):
            reach[upper] = max(reach[upper], min(reach[lower], outer[lower], outer[upper]))
        within = self._radii[met.circle] <= reach[met.upper] * (1.0 + _SLACK)
        self._guess = (met.gap <= 0.0) & within
        self._guess[-1] = False

    # -- equilibrium ----------------------------------------------------------------------------------

    def solve(self, loads: Floats, *, large: bool, start: States | None = None) -> States:
        """Equilibrium at each load.

        Parameters
        ----------
        loads : ndarray, shape (n,)
            Total loads on the face layer [N], 0 or more.
        large : bool
            Whether plates stiffen with their lift.
        start : States, optional
            States at some loads to start from; the nearest is used. Those of another model serve
            where it has as many layers and contacts.

        Returns
        -------
        States

        Raises
        ------
        NoSolutionError
            If the contacts or the stiffening do not settle.
        """
        if start is not None and not self._fits(start):
            start = None
        if start is None and np.count_nonzero(loads) > _ALONE:
            some = np.sort(loads[loads > 0.0])
            middle = some[len(some) // 2 : len(some) // 2 + 1]
            start = self._settle(middle, large=large, opening=False)
            if len(some) > 2 * _REFERENCES:
                few = some[np.linspace(0, len(some) - 1, _REFERENCES).round().astype(int)]
                start = self._settle(few, large=large, opening=False, start=carried(start, few))
        if start is not None:
            start = carried(start, loads)
        return self._settle(loads, large=large, opening=False, start=start)

    def _fits(self, start: States) -> bool:
        """Whether states have as many layers and contacts as this model."""
        layers, contacts = start.stiffening.shape[1], start.closed.shape[1]
        return (layers, contacts) == (len(self.layers), len(self._meetings.gap))

    def opening(self, *, large: bool) -> float:
        """Load at which the face shim leaves its seat.

        Parameters
        ----------
        large : bool
            Whether plates stiffen with their lift.

        Returns
        -------
        float
            Load [N]; 0 if nothing presses the face shim on its seat.

        Raises
        ------
        NoSolutionError
            As for `solve`.
        """
        if not np.any(self._meetings.gap < 0.0):
            return 0.0  # nothing presses, so no force holds the face shim down
        return float(self._settle(np.zeros(1), large=large, opening=True).loads[0])

    def _settle(self, loads: Floats, *, large: bool, opening: bool, start: States | None = None) -> States:
        """Correct contacts and stiffening, over and over, for all loads that have not settled.

        Contacts are exchanged in blocks: Kostreva, Block pivot methods for solving the
        complementarity problem, Linear Algebra Appl. 21 (1978) 207-215. Where that does
        not help they are searched for one by one, and what rounding leaves of that is
        exchanged one at a time, always the last: Murty, Note on a Bard-type scheme for
        solving the complementarity problem, Opsearch 11 (1974) 123-130 (both from memory).
        """
        n, count = len(loads), len(self._meetings.gap)
        closed = np.tile(self._guess, (n, 1)) if start is None else start.closed
        stiffening = np.ones((n, len(self.layers))) if start is None else start.stiffening
        least, patience, searched = np.full(n, count + 1), np.full(n, _PATIENCE), np.zeros(n, dtype=bool)
        done = States.blank(n, len(self.layers), len(self._radii), len(self._loose), count)
        todo = np.arange(n)
        pace = Pace(stiffening)
        for sweep in range(_SWEEPS + 4 * count):
            trial, lifts, wrong = self._trial(loads, stiffening, closed, opening=opening)
            amount = wrong.sum(axis=1)
            patience = np.where(amount < least, _PATIENCE, patience - 1)
            least = np.minimum(amount, least)
            stuck = patience < 0
            if stuck.any():
                last_only = np.cumsum(wrong[:, ::-1], axis=1)[:, ::-1] == 1
                wrong &= last_only | ~stuck[:, None]
            closed = closed ^ wrong
            for row in np.flatnonzero(stuck & (amount > 0) & ~searched):
                closed[row] = self._search(float(loads[row]), stiffening[row], opening=opening)
                searched[row] = True
            settled = amount == 0
            if large:
                target, following = self._plates.stiffen(trial.shapes, lifts, stiffening)
                error = (np.abs(target - stiffening) / stiffening).max(axis=1)
                fresh = settled & (error >= _TOLERANCE)
                # Both at once is quick, but can chase each other round in circles: contacts that do not
                # settle are sorted out with the stiffening held.
                stiffening = pace.step(fresh | (~settled & ~stuck) if sweep < _TOGETHER else fresh, following)
                least[fresh], patience[fresh], searched[fresh] = count + 1, _PATIENCE, False
                settled &= ~fresh
            if settled.any():
                done.take_over(todo[settled], trial, settled)
                left = ~settled
                todo, loads, stiffening, closed = todo[left], loads[left], stiffening[left], closed[left]
                least, patience, searched = least[left], patience[left], searched[left]
                pace.keep(left)
                if not len(todo):
                    return done
        raise NoSolutionError(
            "the contacts of this stack did not settle", parameter="load", found=float(loads[0])
        )

    def _search(self, load: float, stiffening: Floats, *, opening: bool) -> Flags:
        """Find the closed contacts of one load by taking up the deepest overlap, time and again.

        Slow, but the energy falls with every step: the active set method of Lawson & Hanson, Solving
        Least Squares Problems, 1974, chapter 23 (from memory), for this quadratic programme, with the
        shifts of loose rings, and for the opening the load, as unknowns of any sign.
        """
        count, loose = len(self._meetings.gap), len(self._loose)
        pressed = self._pressed(1.0 / stiffening[None])[0]
        push = self._push[:-1] / stiffening[0]
        columns, rows = self._signs[self._loose].T, self._signs[self._loose]
        corner, fixed = -_GROUND * np.eye(loose), np.zeros(loose)
        right = self._meetings.gap + (0.0 if opening else load) * push
        may_close = np.ones(count, dtype=bool)
        if opening:
            columns, rows = np.column_stack([columns, push]), np.vstack([rows, pressed[-1]])
            corner = np.pad(corner, ((0, 1), (0, 1)))
            corner[-1, -1], fixed = push[-1], np.append(fixed, self._meetings.gap[-1])
            may_close[-1] = False

        def balance(closed: NDArray[np.intp]) -> tuple[Floats, Floats]:
            block = [[pressed[np.ix_(closed, closed)], columns[closed]], [rows[:, closed], corner]]
            answer = _solved(np.block(block), -np.concatenate([right[closed], fixed]))
            return answer[: len(closed)], answer[len(closed) :]

        closed = np.zeros(count, dtype=bool)
        forces, free = np.zeros(count), balance(np.flatnonzero(closed))[1]
        barred = ~may_close
        for _ in range(10 * count):
            gaps = right + pressed @ forces + columns @ free
            gaps[closed | barred] = 0.0
            deepest = int(gaps.argmin())
            if gaps[deepest] >= -_SLACK * (np.abs(gaps).max() + 1e-6):
                return closed
            closed[deepest] = True
            while True:
                inside = np.flatnonzero(closed)
                wanted, free_then = balance(inside)
                if np.all(wanted > 0.0):
                    forces[inside], free, barred = wanted, free_then, ~may_close
                    break
                if forces[deepest] == 0.0 and wanted[inside == deepest][0] <= 0.0:
                    closed[deepest], barred[deepest] = False, True  # rounding: leave it for now
                    break
                back = inside[wanted <= 0.0]
                share = np.min(forces[back] / (forces[back] - wanted[wanted <= 0.0]))
                forces[inside] += share * (wanted - forces[inside])
                dropped = back[forces[back] <= 1e-12 * forces.max()]
                forces[dropped], closed[dropped] = 0.0, False
        return closed

    def _pressed(self, soft: Floats) -> Floats:
        """Change of every gap by the force in every contact, shape (n, contacts, contacts) [mm/N]."""
        result: Floats = (soft @ self._parts)[:, self._slot[:-1, :-1]]
        return result

    def _picked(self, closed: Flags) -> tuple[NDArray[np.intp], Flags]:
        """Closed contacts of each state, first in its row, and where a row has fewer than the others.

        Such a row is filled up with the contact that is not there, whose equation is idle.
        """
        amount = closed.sum(axis=1)
        most = int(amount.max())
        idle = np.arange(most) >= amount[:, None]
        order = np.argsort(~closed, axis=1, kind="stable")[:, :most]
        return np.where(idle, closed.shape[1], order), idle

    def _matrix(self, parts: Floats, picked: NDArray[np.intp], idle: Flags, size: int) -> Floats:
        """Equations of the picked contacts and of the loose rings, shape (n, size, size)."""
        n, most = picked.shape
        matrix = np.zeros((n, size, size))
        slots = self._slot.take(picked[:, :, None] * len(self._slot) + picked[:, None, :])
        slots += np.arange(n)[:, None, None] * parts.shape[1]
        matrix[:, :most, :most] = parts.take(slots)
        matrix[:, np.arange(most), np.arange(most)] += idle
        for column, ring in enumerate(self._loose, start=most):
            sign = np.append(self._signs[ring], 0.0)[picked]
            matrix[:, :most, column] = matrix[:, column, :most] = sign
            matrix[:, column, column] = -_GROUND
        return matrix

    def _trial(
        self, loads: Floats, stiffening: Floats, closed: Flags, *, opening: bool
    ) -> tuple[States, Floats, Flags]:
        """Forces and elastic lifts for given closed contacts, and which contacts that contradicts."""
        n, count, loose = len(loads), len(self._meetings.gap), len(self._loose)
        if opening:
            # The load takes the place of the seat's force, and its size is the unknown.
            closed = closed.copy()
            closed[:, -1] = False
        picked, idle = self._picked(closed)
        most = picked.shape[1]
        rows = np.arange(n)[:, None]
        soft = 1.0 / stiffening
        parts = soft @ self._parts
        push = soft[:, :1] * self._push
        size = most + loose + int(opening)
        matrix = self._matrix(parts, picked, idle, size)
        right = np.zeros((n, size))
        right[:, :most] = (self._gap + loads[:, None] * push)[rows, picked]
        if opening:
            matrix[:, -1, :most] = parts[rows, self._slot[count - 1][picked]]
            matrix[:, :most, -1] = push[rows, picked]
            matrix[:, -1, -1] = push[:, -2]
            right[:, -1] = self._gap[-2]
        answer = _solved(matrix, -right[:, :, None])[:, :, 0]
        if opening:
            loads = answer[:, -1]
        forces = np.zeros((n, count + 1))
        forces[rows, picked] = answer[:, :most]
        forces = forces[:, :-1]
        shapes: Floats = (forces @ self._spread).reshape(n, len(self.layers), -1)
        shapes[:, 0, self._count_circles :] += loads[:, None] * self.source.weights
        shapes /= stiffening[:, :, None]
        shifts = answer[:, most : most + loose]
        lifts = self._plates.lifts(shapes)
        met = self._meetings
        gaps = met.gap + lifts[:, met.upper, met.circle]
        gaps[:, :-1] -= lifts[:, met.lower[:-1], met.circle[:-1]]  # the seat stays where it is
        if loose:
            gaps += shifts @ self._signs[self._loose]
        slack = _SLACK * (np.abs(gaps).max(axis=1, keepdims=True) + 1e-6)
        strain = _SLACK * (np.abs(forces).max(axis=1, keepdims=True) + 1e-3)
        wrong = np.where(closed, forces < -strain, gaps < -slack)
        if opening:
            wrong[:, -1] = False
        return States(loads, shapes, shifts, stiffening, closed), lifts, wrong

    # -- what a state means ---------------------------------------------------------------------------

    def lift(self, states: States, radius: float) -> Floats:
        """Lift of the face shim over its flat position at a radius [mm], shape (n,)."""
        result: Floats = states.shapes[:, 0] @ self._read(radius)
        return result

    def _read(self, radius: float) -> Floats:
        """Lift of the face shim at a radius per force on any circle, shape (circles,) [mm/N]."""
        face = self.layers[0]
        plate = Plate(face.inner, face.outer, self._plates.poisson)
        result: Floats = plate.deflection(radius, np.minimum(self._radii, face.outer))[0] / face.rigidity
        return result

    def compliance(self, states: States, radius: float, *, large: bool) -> Floats:
        """Change of lift at a radius with the load, with the contacts as they are.

        Parameters
        ----------
        states : States
            States of this model, with a load that lifts.
        radius : float
            Where the lift is read [mm].
        large : bool
            Whether plates stiffen with their lift.

        Returns
        -------
        ndarray, shape (n,)
            dw/dF [mm/N]; exact for this model, because a layer's stiffening depends on its own
            shape f alone: s df = dp − f (g·dp)/(s + g·f) for a change dp of its forces, with the
            gradient g of the stiffening.

        Raises
        ------
        NoSolutionError
            If the contacts are not solvable.
        """
        soft = 1.0 / states.stiffening
        gradient = self._plates.gradient(states) if large else np.zeros_like(states.shapes)
        share = soft / (states.stiffening + (gradient * states.shapes).sum(axis=2))
        picked, idle = self._picked(states.closed)
        rows, most = np.arange(len(soft))[:, None], picked.shape[1]

        def at_contacts(values: Floats) -> Floats:
            there = np.zeros((*values.shape[:2], len(self._gap)))
            there[:, :, :-1] = self._signs * values[:, :, self._meetings.circle]
            return np.take_along_axis(there, picked[:, None, :], axis=2)

        lifted, felt = at_contacts(self._plates.lifts(states.shapes)), at_contacts(gradient)
        matrix = self._matrix(soft @ self._parts, picked, idle, most + len(self._loose))
        matrix[:, :most, :most] -= np.matmul((lifted * share[:, :, None]).transpose(0, 2, 1), felt)
        own = gradient[:, 0, self._count_circles :] @ self.source.weights
        right = np.zeros(matrix.shape[:2])
        right[:, :most] = (soft[:, :1] * self._push)[rows, picked]
        right[:, :most] -= (share[:, 0] * own)[:, None] * lifted[:, 0]
        forces = np.zeros((len(soft), len(self._gap)))
        forces[rows, picked] = _solved(matrix, -right[:, :, None])[:, :most, 0]
        moved = forces[:, :-1] @ self._spread[:, : len(self._radii)]
        moved[:, self._count_circles :] += self.source.weights
        turned = share[:, 0] * (gradient[:, 0] * moved).sum(axis=1)
        result: Floats = (soft[:, :1] * moved - turned[:, None] * states.shapes[:, 0]) @ self._read(radius)
        return result

    def edge_ratio(self, states: States) -> Floats:
        """Largest edge lift over thickness of any clamped shim [-], shape (n,)."""
        return self._plates.edge_ratio(states)

    def stresses(self, states: States, modulus: float, *, large: bool) -> list[list[Floats]]:
        """Largest surface stress of every plate [MPa] by layer and plate; see `Bending.stresses`."""
        return self._plates.stresses(states, modulus, large=large)


def _solved(matrix: Floats, right: Floats) -> Floats:
    try:
        return np.asarray(np.linalg.solve(matrix, right), dtype=float)
    except np.linalg.LinAlgError as error:
        raise NoSolutionError("the contacts of this stack are not solvable", parameter="stack") from error
